"""What each mark means: the strip under the table, and small pictures for a legend in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from calibration.table import PointMm
from service.words.lengths import Lengths
from service.words.verdicts import arrival_words, headline
from vision.layout import Layout

from . import palette
from .balls import moved_balls
from .frame import View
from .hidden import BLIND, HIDDEN
from .marks import exaggeration
from .svg import SVG_NAMESPACE, add, number, text_of

if TYPE_CHECKING:
    from service.position import LandingZone, Verdict

_GLYPH_SHARE = 0.56
"""Mean width of a letter over its size in the fonts asked for."""


STRIP = ("zone", "wanted", "arrival", "before", "hidden", "blind", "ellipse")
"""Kinds of marks that the strip under a drawing has room for."""
PLANNING = (
    ("chosen", "chosen ball"),
    ("way", "its way to the pocket"),
    ("ghost", "where the cue ball meets it"),
    ("zone", "landing zone"),
    ("wanted", "wanted spot"),
    ("grip", "drag: cut and distance"),
)
"""Marks that a page adds while a shot is planned."""


def marks_shown(
    layout: Layout,
    *,
    before: Layout | None = None,
    verdict: Verdict | None = None,
    zone: LandingZone | None = None,
    arrival_line_mm: tuple[PointMm, PointMm] | None = None,
    blind_mm: Sequence[Sequence[PointMm]] = (),
) -> list[tuple[str, str]]:
    """The marks that a top view of these has: (kind, words), in the order of the legend."""
    cue = layout.ball("cue")
    marks: list[tuple[str, str]] = []
    if zone is not None and not zone.is_empty:
        marks.append(("zone", "zone"))
        if zone.wanted_mm is not None:
            marks.append(("wanted", "wanted spot"))
    if arrival_line_mm is not None:
        marks.append(("arrival", arrival_words(verdict)))
    if before is not None and moved_balls(before, layout):
        marks.append(("before", "before the shot"))
    if layout.hidden_mm:
        marks.append(("hidden", HIDDEN))
    if blind_mm:
        marks.append(("blind", BLIND))
    if verdict is not None and cue is not None:
        if verdict.miss_mm:
            marks.append(("miss", "miss, from the zone to the stop"))
        factor = exaggeration(cue)
        marks.append(("ellipse", "95 % error" + (f", drawn ×{factor}" if factor > 1 else "")))
    if any(ball.doubtful for ball in layout.balls):
        marks.append(("doubt", "name in doubt"))
    return marks


def swatch_svg(kind: str) -> str:
    """A mark alone on cloth as a small <svg> without words: its words stand beside it."""
    size = 34.0
    svg = ET.Element(
        "svg",
        {
            "xmlns": SVG_NAMESPACE, "viewBox": "-12 -26 66 52", "class": "swatch",
            "aria-hidden": "true",
        },
    )  # fmt: skip
    add(svg, "rect", x=-12, y=-26, width=66, height=52, rx=9, fill=palette.CLOTH, class_="cloth")
    if kind in _OF_PAGES:
        _swatch_of_page(svg, kind, size)
    else:
        _swatch(svg, kind, size)
    return text_of(svg)


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


def draw_bands(
    svg: ET.Element, view: View, words: str, bands: Iterable[tuple[tuple[str, str], str]]
) -> None:
    """What the colours of a map mean: ``words``, then one square a band: ((fill, ink), limit)."""
    left, top, _, high = view.box
    middle = top + high - view.legend_mm / 2 - view.edge_mm * 0.3
    size = 12.5 * view.mm_per_px
    strip = add(svg, "g", class_="legend", font_size=size)
    x = left + 2 * view.edge_mm
    add(strip, "text", words, x=x, y=middle + size * 0.35, fill=palette.FRAME_MUTED)
    x += size * (len(words) * 0.54 + 1.5)
    for (fill, _), text in bands:
        add(strip, "rect", x=x, y=middle - size * 0.5, width=size, height=size, fill=fill)
        add(
            strip, "text", text, x=x + size * 1.35, y=middle + size * 0.35,
            fill=palette.FRAME_MUTED,
        )  # fmt: skip
        x += size * (2.4 + 0.56 * len(text))


def _swatch(parent: ET.Element, kind: str, size: float) -> None:
    r = size * 0.5
    if kind == "zone":
        add(
            parent, "rect", x=0, y=-r, width=size * 1.25, height=2 * r, fill=palette.ZONE_FILL,
            fill_opacity=0.5, stroke=palette.ZONE_EDGE, stroke_width=3,
        )  # fmt: skip
    elif kind in ("hidden", "blind"):
        group = add(parent, "g", stroke=palette.DOUBT, stroke_width=3, fill="none")
        add(group, "rect", x=0, y=-r, width=size * 1.25, height=2 * r, stroke_dasharray="8 5")
        for x in (0.0, 0.5):
            add(group, "line", x1=x * size, y1=r, x2=x * size + 2 * r * 0.75, y2=-r)
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


_OF_PAGES = ("miss", "doubt", "chosen", "way", "ghost", "grip")


def _swatch_of_page(parent: ET.Element, kind: str, size: float) -> None:
    """Marks that have no place in the strip under a drawing."""
    r = size * 0.5
    if kind == "miss":
        add(parent, "line", x1=0, y1=0, x2=size, y2=0, stroke=palette.VERDICT["out"],
            stroke_width=6)  # fmt: skip
        add(parent, "circle", cx=0, cy=0, r=5, fill=palette.VERDICT["out"])
        add(
            parent, "polygon", points=f"{number(size * 1.25)},0 {number(size * 0.8)},{number(-r)} "
            f"{number(size * 0.8)},{number(r)}", fill=palette.VERDICT["out"],
        )  # fmt: skip
    elif kind == "doubt":
        add(parent, "circle", cx=size * 0.45, cy=0, r=r, fill="none", stroke=palette.DOUBT,
            stroke_width=4, stroke_dasharray="8 5")  # fmt: skip
        add(parent, "text", "?", x=size * 1.0, y=size * 0.2, font_size=size, font_weight="700",
            fill=palette.DOUBT)  # fmt: skip
    elif kind == "chosen":
        add(parent, "circle", cx=size * 0.6, cy=0, r=r, fill="none", stroke=palette.ZONE_FILL,
            stroke_width=6)  # fmt: skip
    elif kind == "way":
        add(parent, "line", x1=0, y1=0, x2=size * 1.3, y2=0, stroke=palette.ZONE_FILL,
            stroke_width=5, stroke_dasharray="3 10", stroke_linecap="round")  # fmt: skip
    elif kind == "ghost":
        add(parent, "circle", cx=size * 0.6, cy=0, r=r, fill="none", stroke="#ffffff",
            stroke_width=3.5, stroke_dasharray="6 5")  # fmt: skip
    elif kind == "grip":
        add(parent, "circle", cx=size * 0.6, cy=0, r=r, fill=palette.FRAME, stroke=palette.WANTED,
            stroke_width=4)  # fmt: skip
        add(parent, "path", d=f"M{number(size * 0.35)},0H{number(size * 0.85)}",
            stroke=palette.WANTED, stroke_width=4)  # fmt: skip
