"""Our own SVG on a PDF canvas: the elements and attributes that `drawing` uses, no others.

Drawings are made once, as SVG; paper and pictures show that very drawing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal
from xml.etree import ElementTree as ET

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfgen.canvas import Canvas

from .errors import SheetError
from .fonts import fitted, width_pt

_SILENT = ("title", "desc", "metadata", "defs")
_STYLE = re.compile(r"([\w-]+)\s*:\s*([^;]+)")
_FALLBACK = re.compile(r"var\([\w-]+,\s*((?:[^()]|\([^()]*\))*)\)")
_TRANSFORM = re.compile(r"(translate|rotate|scale|matrix)\(([^)]*)\)")
_PATH = re.compile(r"([MLAZ])([^MLAZ]*)")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?")
_COLOUR = re.compile(r"(?<==\")#[0-9a-f]{3,6}(?=\")")
_CAPS = {"butt": 0, "round": 1, "square": 2}
_JOINS = {"miter": 0, "round": 1, "bevel": 2}
_MIDDLE_LINE = 0.35
"""From a text's middle down to its base line, in font sizes."""
_ARC_STEP_RAD = math.radians(5)


@dataclass(frozen=True, slots=True)
class _Style:
    """What children inherit from their groups."""

    fill: str = "#000"
    stroke: str = "none"
    stroke_width: float = 1.0
    fill_opacity: float = 1.0
    stroke_opacity: float = 1.0
    opacity: float = 1.0
    """Of all groups together; a group's parts that overlap each show through."""
    dash: tuple[float, ...] = ()
    cap: int = 0
    join: int = 0
    even_odd: bool = False
    font_size: float = 16.0
    bold: bool = False
    anchor: str = "start"
    letter_spacing: float = 0.0


def draw_svg(
    canvas: Canvas,
    svg: str,
    *,
    left_pt: float,
    top_pt: float,
    width_pt: float,
    ink: Mapping[str, str] | None = None,
) -> float:
    """Draw ``svg`` with its top left corner there, so wide; returns its height in points.

    ``ink`` gives other colours for the drawing's own, as ``ink.ON_PAPER`` does.

    Raises:
        SheetError: an element or attribute that no drawing of ours has.
    """
    root = ET.fromstring(_inked(svg, ink or {}))
    x, y, wide, high = _numbers(root.get("viewBox", "0 0 1 1"))
    scale = width_pt / wide
    canvas.saveState()
    canvas.translate(left_pt, top_pt)
    canvas.scale(scale, -scale)
    canvas.translate(-x, -y)
    clip = canvas.beginPath()
    clip.rect(x, y, wide, high)
    canvas.clipPath(clip, stroke=0, fill=0)
    for child in root:
        _element(canvas, child, _styled(_Style(), root))
    canvas.restoreState()
    return float(high * scale)


def svg_box(svg: str) -> tuple[float, ...]:
    """Left, top, width and height of a drawing, in its own units."""
    return tuple(_numbers(ET.fromstring(svg).get("viewBox", "0 0 1 1")))


def _inked(svg: str, ink: Mapping[str, str]) -> str:
    return _COLOUR.sub(lambda found: ink.get(found[0], found[0]), svg)


def _element(canvas: Canvas, element: ET.Element, above: _Style) -> None:
    tag = element.tag.rpartition("}")[2]
    if tag in _SILENT:
        return
    if tag not in ("g", "a", *_SHAPES):
        raise SheetError(
            f"svg: got <{tag}>; allowed: {', '.join(('g', *_SHAPES))}. Draw it with those."
        )
    style = _styled(above, element)
    canvas.saveState()
    _transform(canvas, element.get("transform", ""))
    if tag in ("g", "a"):
        for child in element:
            _element(canvas, child, style)
    else:
        _pen(canvas, style)
        _SHAPES[tag](canvas, element, style)
    canvas.restoreState()


# -- style -------------------------------------------------------------------------------------


def _styled(above: _Style, element: ET.Element) -> _Style:
    given = dict(element.attrib)
    for name, value in _STYLE.findall(element.get("style", "")):
        given[name] = value.strip()
    changes: dict[str, Any] = {}
    for name, (field, made) in _INHERITED.items():
        if name in given:
            changes[field] = made(given[name])
    if "opacity" in given:
        changes["opacity"] = above.opacity * float(given["opacity"])
    return replace(above, **changes)


def _dashes(text: str) -> tuple[float, ...]:
    return () if text == "none" else tuple(_numbers(text))


def _colour_text(text: str) -> str:
    while (found := _FALLBACK.search(text)) is not None:
        text = text[: found.start()] + found[1] + text[found.end() :]
    return text.strip()


_INHERITED: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "fill": ("fill", _colour_text),
    "stroke": ("stroke", _colour_text),
    "stroke-width": ("stroke_width", float),
    "fill-opacity": ("fill_opacity", float),
    "stroke-opacity": ("stroke_opacity", float),
    "stroke-dasharray": ("dash", _dashes),
    "stroke-linecap": ("cap", _CAPS.__getitem__),
    "stroke-linejoin": ("join", _JOINS.__getitem__),
    "fill-rule": ("even_odd", "evenodd".__eq__),
    "font-size": ("font_size", float),
    "font-weight": ("bold", "700".__eq__),
    "text-anchor": ("anchor", str),
    "letter-spacing": ("letter_spacing", float),
}


def _pen(canvas: Canvas, style: _Style) -> None:
    canvas.setLineWidth(style.stroke_width)
    canvas.setLineCap(style.cap)
    canvas.setLineJoin(style.join)
    canvas.setDash(list(style.dash), 0)
    fill = _colour(style.fill, style.opacity * style.fill_opacity)
    stroke = _colour(style.stroke, style.opacity * style.stroke_opacity)
    if fill is not None:
        canvas.setFillColor(fill)
    if stroke is not None:
        canvas.setStrokeColor(stroke)


def _colour(text: str, alpha: float) -> Color | None:
    if text in ("none", "transparent") or alpha <= 0:
        return None
    short = re.fullmatch(r"#([0-9a-fA-F]{3})", text)
    whole = "#" + "".join(2 * digit for digit in short[1]) if short else text
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", whole):
        raise SheetError(f"svg: got the colour {text!r}; allowed: #rgb and #rrggbb. Write it so.")
    made = HexColor(whole)
    return Color(made.red, made.green, made.blue, alpha=min(alpha, 1.0))


def _paints(style: _Style) -> dict[str, int]:
    fill = _colour(style.fill, style.opacity * style.fill_opacity) is not None
    stroke = _colour(style.stroke, style.opacity * style.stroke_opacity) is not None
    return {"stroke": int(stroke and style.stroke_width > 0), "fill": int(fill)}


# -- places and shapes -------------------------------------------------------------------------


def _numbers(text: str) -> list[float]:
    return [float(part) for part in _NUMBER.findall(text)]


def _transform(canvas: Canvas, text: str) -> None:
    for name, inside in _TRANSFORM.findall(text):
        values = _numbers(inside)
        if name == "translate":
            canvas.translate(*(values if len(values) == 2 else (values[0], 0.0)))
        elif name == "scale":
            canvas.scale(values[0], values[-1])
        elif name == "matrix":
            canvas.transform(*values)
        else:
            x, y = values[1:] or (0.0, 0.0)
            canvas.translate(x, y)
            canvas.rotate(values[0])
            canvas.translate(-x, -y)


def _get(element: ET.Element, name: str) -> float:
    return float(element.get(name, "0"))


def _rect(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    x, y, wide, high, radius = (_get(element, n) for n in ("x", "y", "width", "height", "rx"))
    if radius > 0:
        canvas.roundRect(x, y, wide, high, min(radius, wide / 2, high / 2), **_paints(style))
    else:
        canvas.rect(x, y, wide, high, **_paints(style))


def _circle(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    canvas.circle(*(_get(element, n) for n in ("cx", "cy", "r")), **_paints(style))


def _ellipse(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    x, y, rx, ry = (_get(element, n) for n in ("cx", "cy", "rx", "ry"))
    canvas.ellipse(x - rx, y - ry, x + rx, y + ry, **_paints(style))


def _line(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    if _paints(style)["stroke"]:
        canvas.line(*(_get(element, n) for n in ("x1", "y1", "x2", "y2")))


def _polyline(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    values = _numbers(element.get("points", ""))
    corners = list(zip(values[::2], values[1::2], strict=True))
    _rings(canvas, [(corners, element.tag.endswith("polygon"))], style)


def _path(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    _rings(canvas, list(_subpaths(element.get("d", ""))), style)


def _rings(
    canvas: Canvas, rings: list[tuple[list[tuple[float, float]], bool]], style: _Style
) -> None:
    path = canvas.beginPath()
    for corners, is_closed in rings:
        for i, (x, y) in enumerate(corners):
            (path.lineTo if i else path.moveTo)(x, y)
        if is_closed:
            path.close()
    canvas.drawPath(path, fillMode=0 if style.even_odd else 1, **_paints(style))


def _subpaths(d: str) -> Iterator[tuple[list[tuple[float, float]], bool]]:
    """Corners of each subpath and whether it is closed; arcs as short lines."""
    corners: list[tuple[float, float]] = []
    for letter, inside in _PATH.findall(d):
        values = _numbers(inside)
        if letter == "Z":
            yield corners, True
            corners = []
        elif letter == "A":
            radius, sweep, end = values[0], bool(values[4]), (values[5], values[6])
            corners += _arc(corners[-1], end, radius, clockwise=sweep)
        else:
            if letter == "M" and corners:
                yield corners, False
                corners = []
            corners += zip(values[::2], values[1::2], strict=True)
    if corners:
        yield corners, False


def _arc(
    start: tuple[float, float], end: tuple[float, float], radius: float, *, clockwise: bool
) -> Iterator[tuple[float, float]]:
    """The shorter arc of a circle between two places, as seen with y down."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    chord = math.hypot(dx, dy)
    if chord == 0:
        return
    radius = max(radius, chord / 2)
    out = math.sqrt(max(radius**2 - (chord / 2) ** 2, 0.0)) / chord * (1 if clockwise else -1)
    middle = ((start[0] + end[0]) / 2 - out * dy, (start[1] + end[1]) / 2 + out * dx)
    first = math.atan2(start[1] - middle[1], start[0] - middle[0])
    turn = 2 * math.asin(min(chord / 2 / radius, 1.0)) * (1 if clockwise else -1)
    count = max(2, math.ceil(abs(turn) / _ARC_STEP_RAD))
    for i in range(1, count + 1):
        angle = first + turn * i / count
        yield middle[0] + radius * math.cos(angle), middle[1] + radius * math.sin(angle)


def _text(canvas: Canvas, element: ET.Element, style: _Style) -> None:
    words, font = fitted("".join(element.itertext()), bold=style.bold)
    size = style.font_size
    wide = width_pt(words, size, bold=style.bold) + style.letter_spacing * max(len(words) - 1, 0)
    shift = {"middle": wide / 2, "end": wide}.get(style.anchor, 0.0)
    drop = _MIDDLE_LINE * size if element.get("dominant-baseline") == "central" else 0.0
    canvas.translate(_get(element, "x") - shift, _get(element, "y") + drop)
    canvas.scale(1, -1)
    paints = _paints(style)
    # the outline first: it stands behind the letters
    modes: tuple[tuple[Literal[0, 1], int], ...] = ((1, paints["stroke"]), (0, paints["fill"]))
    for mode, is_wanted in modes:
        if is_wanted:
            line = canvas.beginText(0, 0)
            line.setFont(font, size)
            line.setCharSpace(style.letter_spacing)
            line.setTextRenderMode(mode)
            line.textOut(words)
            canvas.drawText(line)


_SHAPES: Mapping[str, Callable[[Canvas, ET.Element, _Style], None]] = {
    "rect": _rect,
    "circle": _circle,
    "ellipse": _ellipse,
    "line": _line,
    "polygon": _polyline,
    "polyline": _polyline,
    "path": _path,
    "text": _text,
}
