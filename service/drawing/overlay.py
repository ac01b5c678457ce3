"""The still itself with what was read from it drawn over it, in the still's own pixels.

Everything goes through the full camera: balls as their projected outlines, zone and miss
vector at the height of ball centres, nose lines at nose height. Nothing is bent to fit.
"""

from __future__ import annotations

import base64
import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from calibration.errors import RestmarkError
from calibration.table import BALL_CENTRE_HEIGHT_MM, Table
from service.words.lengths import Lengths, Units
from service.words.verdicts import headline
from vision.layout import Layout

from . import palette
from .hidden import hatching
from .svg import add, arrow_head, path, points, root, text_of

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from service.position import LandingZone, Verdict

_STEP_MM = 40.0
_JPEG_QUALITY = 82


class DrawingError(RestmarkError):
    """A still cannot be drawn on."""

    code = "bad-still"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Canvas:
    """From table millimetres to pixels of the still as scaled down."""

    camera: Camera
    scale: float
    unit_px: float
    """Pixels of the drawing in a nominal px of a picture 900 px wide: line widths follow it."""

    def at(self, points_mm: Iterable[Sequence[float]], height_mm: float) -> NDArray[np.float64]:
        flat = np.array([[p[0], p[1], height_mm] for p in points_mm], dtype=float).reshape(-1, 3)
        return self.scaled(self.camera.project(flat))

    def scaled(self, pixels_px: NDArray[np.float64]) -> NDArray[np.float64]:
        """Integer = pixel centre before; SVG puts the first pixel's corner at 0."""
        return np.asarray((pixels_px + 0.5) * self.scale, dtype=float)


def overlay_svg(
    still: bytes,
    calibration: Calibration,
    layout: Layout,
    *,
    verdict: Verdict | None = None,
    zone: LandingZone | None = None,
    units: Units = Units.MM,
    width_px: int = 1280,
) -> str:
    """An <svg> element: the still (scaled down, embedded) under its reading.

    ``still``: the file's bytes as they were read. ``zone`` defaults to the verdict's own.
    """
    zone = zone if zone is not None or verdict is None else verdict.zone
    jpeg, (wide, high), scale = _shrink(still, layout.still, width_px)
    lengths = Lengths.on(calibration.table, units)
    words = f" Verdict: {headline(verdict, lengths)}." if verdict is not None else ""
    svg = root(
        (0, 0, wide, high),
        wide,
        title=f"Still {layout.still} with its reading",
        description=f"{len(layout.balls)} balls outlined where they were read.{words}",
        kind="overlay",
    )
    add(
        svg, "image", width=wide, height=high,
        href="data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii"),
    )  # fmt: skip
    canvas = _Canvas(camera=calibration.camera, scale=scale, unit_px=wide / 900)
    _draw_noses(svg, canvas, calibration.table)
    if zone is not None and not zone.is_empty:
        _draw_zone(svg, canvas, zone)
    _draw_hidden(svg, canvas, layout)
    _draw_balls(svg, canvas, layout)
    if verdict is not None:
        _draw_miss(svg, canvas, verdict, lengths)
    return text_of(svg)


def _shrink(still: bytes, name: str, width_px: int) -> tuple[bytes, tuple[int, int], float]:
    """JPEG of at most ``width_px`` wide, its size, and px of it per px of the still."""
    array = np.frombuffer(still, dtype=np.uint8)
    picture = cv2.imdecode(array, cv2.IMREAD_COLOR) if len(array) else None
    if picture is None:
        raise DrawingError(
            f"{name or 'still'}: got bytes that are no picture; allowed: JPEG or PNG. Give the "
            "still that was read."
        )
    high, wide = picture.shape[:2]
    scale = min(1.0, width_px / wide)
    size = (max(1, round(wide * scale)), max(1, round(high * scale)))
    if scale < 1:
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    _, out = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, _JPEG_QUALITY])
    return out.tobytes(), size, scale


def dense_ring(ring: Sequence[Sequence[float]], *, closed: bool = True) -> list[list[float]]:
    """A ring with no edge longer than 40 mm: straight on the table, bent by the lens."""
    ends = list(ring) + ([ring[0]] if closed and len(ring) else [])
    out: list[list[float]] = []
    for (ax, ay), (bx, by) in itertools.pairwise(ends):
        steps = max(1, math.ceil(math.hypot(bx - ax, by - ay) / _STEP_MM))
        out += [[ax + (bx - ax) * i / steps, ay + (by - ay) * i / steps] for i in range(steps)]
    if ends and not closed:
        out.append([float(ends[-1][0]), float(ends[-1][1])])
    return out


def _draw_noses(svg: ET.Element, canvas: _Canvas, table: Table) -> None:
    group = add(
        svg, "g", class_="noses", fill="none", stroke="#fff", stroke_opacity=0.55,
        stroke_width=1.2 * canvas.unit_px, stroke_dasharray="7 5",
    )  # fmt: skip
    for segment in table.nose_segments_mm.values():
        line = canvas.at(dense_ring(segment, closed=False), table.nose_height_mm)
        add(group, "polyline", points=points(line.tolist()))


def _draw_zone(svg: ET.Element, canvas: _Canvas, zone: LandingZone) -> None:
    rings = [
        canvas.at(dense_ring(ring), BALL_CENTRE_HEIGHT_MM).tolist()
        for exterior, holes in zone.polygons_mm
        for ring in (exterior, *holes)
        if len(ring)
    ]
    add(
        svg, "path", class_="zone", d=path(rings), fill=palette.ZONE_FILL, fill_opacity=0.22,
        fill_rule="evenodd", stroke=palette.ZONE_FILL, stroke_width=1.6 * canvas.unit_px,
    )  # fmt: skip


def _draw_hidden(svg: ET.Element, canvas: _Canvas, layout: Layout) -> None:
    """Where a ball could lie unseen, hatched on the plane of the ball centres."""
    if not layout.hidden_mm:
        return
    group = add(
        svg, "g", class_="hidden", fill="none", stroke=palette.DOUBT,
        stroke_width=1.3 * canvas.unit_px,
    )  # fmt: skip
    for polygon in layout.hidden_mm:
        ring = canvas.at(dense_ring(polygon), BALL_CENTRE_HEIGHT_MM)
        add(group, "polygon", points=points(ring.tolist()), stroke_dasharray="8 5")
        for line in hatching(polygon):
            seen = canvas.at(dense_ring(line, closed=False), BALL_CENTRE_HEIGHT_MM)
            add(group, "polyline", points=points(seen.tolist()))


def _draw_balls(svg: ET.Element, canvas: _Canvas, layout: Layout) -> None:
    group = add(svg, "g", class_="balls", font_weight="700", font_size=14 * canvas.unit_px)
    for ball in layout.balls:
        outline = canvas.scaled(canvas.camera.ball_outline(ball.centre_mm, samples=48))
        colour = palette.DOUBT if ball.doubtful else "#fff"
        for stroke, width in (("#000", 2.6), (colour, 1.3)):
            add(
                group, "polygon", points=points(outline.tolist()), fill="none", stroke=stroke,
                stroke_width=width * canvas.unit_px, stroke_opacity=0.9,
            )  # fmt: skip
        x, y = float(outline[:, 0].max()) + 3, float(outline[:, 1].min()) + 3
        add(
            group, "text", ball.id + ("?" if ball.doubtful else ""), x=x, y=y, fill=colour,
            stroke="#101314", stroke_width=3 * canvas.unit_px, paint_order="stroke",
            stroke_linejoin="round",
        )  # fmt: skip


def _draw_miss(svg: ET.Element, canvas: _Canvas, verdict: Verdict, lengths: Lengths) -> None:
    stop, vector, miss_mm = verdict.cue_stop_mm, verdict.miss_vector_mm, verdict.miss_mm
    if stop is None:
        return
    colour = palette.verdict_colour(verdict.verdict)
    centre = canvas.scaled(canvas.camera.ball_outline(stop, samples=48))
    add(
        svg, "polygon", class_="stop", points=points(centre.tolist()), fill="none",
        stroke=colour, stroke_width=2.6 * canvas.unit_px,
    )  # fmt: skip
    if vector is None or not miss_mm:
        return
    ends = [(stop[0] - vector[0], stop[1] - vector[1]), (stop[0], stop[1])]
    line = canvas.at(dense_ring(ends, closed=False), BALL_CENTRE_HEIGHT_MM)
    group = add(svg, "g", class_="miss")
    for stroke, width in (("#101314", 4.6), (colour, 2.4)):
        add(
            group, "polyline", points=points(line.tolist()), fill="none", stroke=stroke,
            stroke_width=width * canvas.unit_px, stroke_linecap="round",
        )  # fmt: skip
    tip, tail = line[-1].tolist(), line[-2].tolist()
    if miss_mm > 30:
        add(
            group, "polygon", points=points(arrow_head(tip, tail, 10 * canvas.unit_px)), fill=colour
        )
    middle = line[len(line) // 2]
    add(
        group, "text", lengths.text(miss_mm), x=float(middle[0]) + 10 * canvas.unit_px,
        y=float(middle[1]) - 10 * canvas.unit_px, font_size=16 * canvas.unit_px,
        font_weight="700", fill=colour, stroke="#101314", stroke_width=4 * canvas.unit_px,
        paint_order="stroke", stroke_linejoin="round",
    )  # fmt: skip
