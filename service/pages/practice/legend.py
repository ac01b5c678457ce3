"""What the marks on the drawn table mean, mark by mark, in words beside their shapes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from markupsafe import Markup

from service.desk.scene import Scene
from service.drawing.legend import PLANNING, marks_shown, swatch_svg
from service.setup.blind import outside_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One mark: its shape, what it means, and when it is on the drawing."""

    swatch: Markup
    words: str
    on: str
    """``scene``: as the service drew it; ``plan``: while a shot is planned; ``both``."""


def legend_view(scene: Scene) -> tuple[Mark, ...]:
    """The marks of a scene's drawing and those of a shot that is planned on it."""
    shown = marks_shown(
        scene.reading.layout,
        before=scene.attempt.before.layout if scene.attempt else None,
        verdict=scene.verdict,
        zone=scene.zone,
        arrival_line_mm=scene.verdict.arrival_line_mm if scene.verdict else None,
        blind_mm=outside_mm(scene.calibration),
    )
    return (
        *(_mark(kind, words, "both" if kind in _STAYING else "scene") for kind, words in shown),
        *(_mark(kind, words, "plan") for kind, words in PLANNING),
    )


_STAYING = ("hidden", "blind", "doubt")
"""What is so whatever is planned."""


def _mark(kind: str, words: str, on: str) -> Mark:
    return Mark(swatch=_swatch(kind), words=words, on=on)


@cache
def _swatch(kind: str) -> Markup:
    return Markup(swatch_svg(kind))
