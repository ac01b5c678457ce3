"""The strip under the table: the verdict in words and what each mark means."""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from service.words.lengths import Lengths
from service.words.verdicts import headline

from . import palette
from .frame import View
from .svg import add, number

if TYPE_CHECKING:
    from service.position import Verdict

_GLYPH_SHARE = 0.56
"""Mean width of a letter over its size in the fonts asked for."""


def draw_legend(
    svg: ET.Element,
    view: View,
    verdict: Verdict | None,
    marks: list[tuple[str, str]],
    lengths: Lengths,
) -> None:
    """Verdict on the left, then one entry a mark: (kind, words)."""
    left, top, wide, high = view.box
    middle = top + high - view.legend_mm / 2 - view.edge_mm * 0.3
    x = left + 2 * view.edge_mm
    strip = add(svg, "g", class_="legend")
    if verdict is not None:
        size = 19 * view.mm_per_px
        words = headline(verdict, lengths)
        add(
            strip, "text", words, x=x, y=middle + size * 0.35, font_size=size,
            font_weight="700", fill=palette.verdict_colour(verdict.verdict),
        )  # fmt: skip
        x += size * (len(words) * 0.6 + 2.2)
    size = 12.5 * view.mm_per_px
    for kind, words in marks:
        width = size * (2.1 + len(words) * _GLYPH_SHARE)
        if x + width > left + wide - view.edge_mm:
            break
        entry = add(strip, "g", transform=f"translate({number(x)} {number(middle)})")
        _swatch(entry, kind, size)
        add(
            entry, "text", words, x=size * 1.65, y=size * 0.35, font_size=size,
            fill=palette.FRAME_MUTED,
        )  # fmt: skip
        x += width + size * 0.9


def _swatch(parent: ET.Element, kind: str, size: float) -> None:
    r = size * 0.5
    if kind == "zone":
        add(
            parent, "rect", x=0, y=-r, width=size * 1.25, height=2 * r, fill=palette.ZONE_FILL,
            fill_opacity=0.5, stroke=palette.ZONE_EDGE, stroke_width=3,
        )  # fmt: skip
    elif kind == "wanted":
        group = add(parent, "g", stroke=palette.WANTED, stroke_width=4)
        add(group, "line", x1=size * 0.1, y1=0, x2=size * 1.1, y2=0)
        add(group, "line", x1=size * 0.6, y1=-r, x2=size * 0.6, y2=r)
    elif kind.startswith("#"):  # a route, by its colour
        add(parent, "line", x1=0, y1=0, x2=size * 1.3, y2=0, stroke=kind, stroke_width=7)
    elif kind == "dots":
        add(
            parent, "line", x1=0, y1=0, x2=size * 1.3, y2=0, stroke=palette.GHOST,
            stroke_width=7, stroke_dasharray="2 10",
        )  # fmt: skip
    elif kind == "arrival":
        add(
            parent, "line", x1=0, y1=0, x2=size * 1.3, y2=0, stroke=palette.ARRIVAL,
            stroke_width=4, stroke_dasharray="12 7",
        )  # fmt: skip
    else:
        dash = {"before": "6 5", "ellipse": "8 4"}.get(kind, "none")
        add(
            parent, "ellipse", cx=size * 0.6, cy=0, rx=r * (1.25 if kind == "ellipse" else 1),
            ry=r * (0.8 if kind == "ellipse" else 1), fill="none", stroke=palette.GHOST,
            stroke_width=3.2, stroke_dasharray=dash,
        )  # fmt: skip
