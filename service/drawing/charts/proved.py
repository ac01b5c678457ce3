"""The bed by parts: measured over stated error, and where the gauges lay."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from calibration.table import BALL_RADIUS_MM, Table
from service.proving.proof import ACROSS, ALONG, Proof

from .. import palette
from ..frame import View, draw_table
from ..svg import add, root, text_of


def proof_svg(proof: Proof, table: Table, *, width_px: int = 960) -> str:
    """An <svg> element: each part of the bed with its figures in mm, a ring for every gauge."""
    view = View(table=table, width_px=width_px, legend=False)
    svg = root(
        view.box,
        width_px,
        title="Measured and stated error over the bed",
        description=" ".join(
            f"{along} {across}: {_said(proof, along, across)}."
            for along in ALONG
            for across in ACROSS
        ),
        kind="proof-map",
    )
    draw_table(svg, view)
    _draw_gauges(svg, view, proof)
    length, width = table.surface_mm
    size = 0.045 * length / 2.2
    texts = add(svg, "g", text_anchor="middle", font_size=size, fill="#ffffff")
    for i, along in enumerate(ALONG):
        for j, across in enumerate(ACROSS):
            x, y = view.at(((i + 0.5) * length / 3, (j + 0.5) * width / 2))
            add(texts, "text", _said(proof, along, across), x=x, y=y)
    return text_of(svg)


def _draw_gauges(svg: ET.Element, view: View, proof: Proof) -> None:
    length, width = view.table.surface_mm
    lines = add(svg, "g", stroke=palette.CLOTH_LINE, stroke_width=4, fill="none")
    for x in (length / 3, 2 * length / 3):
        add(lines, "line", x1=x, y1=0, x2=x, y2=width)
    add(lines, "line", x1=0, y1=width / 2, x2=length, y2=width / 2)
    rings = add(svg, "g", stroke=palette.GHOST, stroke_width=3, fill="none", stroke_opacity=0.6)
    for one in proof.weighed:
        x, y = view.at(one.gauge.at_mm)
        add(rings, "circle", cx=x, cy=y, r=BALL_RADIUS_MM / 2)


def _said(proof: Proof, along: str, across: str) -> str:
    figure = proof.regions[along, across]
    if figure is None:
        return "nothing lay here"
    return f"{figure.measured_mm:.2f} of {figure.stated_mm:.2f} mm"
