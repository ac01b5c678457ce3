"""A small builder over ElementTree: every text and attribute leaves it escaped."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable, Sequence
from xml.etree import ElementTree as ET

SVG_NAMESPACE = "http://www.w3.org/2000/svg"
FONT = "system-ui, -apple-system, 'Segoe UI', 'Noto Sans', 'DejaVu Sans', sans-serif"
_ILLEGAL = {code: "\N{REPLACEMENT CHARACTER}" for code in range(32) if code not in (9, 10, 13)}
_ILLEGAL |= {code: "\N{REPLACEMENT CHARACTER}" for code in range(0xD800, 0xE000)}
_ILLEGAL |= {code: "\N{REPLACEMENT CHARACTER}" for code in (0xFFFE, 0xFFFF)}


def number(value: float) -> str:
    """A coordinate as short text, two decimals at most."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def clean(text: str) -> str:
    """Text without the characters that XML 1.0 cannot hold, even escaped."""
    return text.translate(_ILLEGAL)


def add(
    parent: ET.Element, tag: str, text: str | None = None, /, **attributes: str | float
) -> ET.Element:
    """Append an element; ``stroke_width=2`` becomes ``stroke-width="2"``, ``class_`` class."""
    element = ET.SubElement(parent, tag)
    for name, value in attributes.items():
        key = name.rstrip("_").replace("_", "-")
        key = "viewBox" if key == "viewbox" else key
        element.set(key, clean(value) if isinstance(value, str) else number(value))
    if text is not None:
        element.text = clean(text)
    return element


def root(
    view_box: Sequence[float], width_px: int, *, title: str, description: str, kind: str
) -> ET.Element:
    """An accessible <svg>: role, title and description, ids that differ between drawings.

    No inline style: a page's content policy refuses it; pages and reports fit drawings by a rule.
    """
    _, _, wide, high = view_box
    name = kind + "-" + hashlib.sha1(f"{title}\n{description}".encode()).hexdigest()[:10]
    svg = ET.Element(
        "svg",
        {
            "xmlns": SVG_NAMESPACE,
            "viewBox": " ".join(number(value) for value in view_box),
            "width": str(width_px),
            "height": str(max(1, round(width_px * high / wide))),
            "role": "img",
            "aria-labelledby": f"{name}-title {name}-desc",
            "class": kind,
            "font-family": FONT,
        },
    )
    add(svg, "title", title, id=f"{name}-title")
    add(svg, "desc", description, id=f"{name}-desc")
    return svg


def path(rings: Iterable[Sequence[tuple[float, float]]]) -> str:
    """Path data of closed rings."""
    parts = []
    for ring in rings:
        points = " L".join(f"{number(x)},{number(y)}" for x, y in ring)
        if points:
            parts.append(f"M{points} Z")
    return " ".join(parts)


def points(pairs: Iterable[tuple[float, float]]) -> str:
    """The ``points`` attribute of a polyline or polygon."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in pairs)


def arrow_head(
    tip: tuple[float, float], tail: tuple[float, float], size: float
) -> list[tuple[float, float]]:
    """Triangle whose tip is ``tip``, pointing away from ``tail``."""
    along = math.atan2(tip[1] - tail[1], tip[0] - tail[0])
    return [tip] + [
        (
            tip[0] - size * math.cos(along + turn),
            tip[1] - size * math.sin(along + turn),
        )
        for turn in (0.42, -0.42)
    ]


def text_of(svg: ET.Element) -> str:
    """The finished element as text, ready to stand in a page or a file."""
    return ET.tostring(svg, encoding="unicode")
