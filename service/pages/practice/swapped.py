"""Two balls whose names look exchanged: one tap puts both right, another says they are right."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from service.desk.names.said import spoken_of
from service.desk.scene import Scene
from service.store import CorrectionRecord
from service.words.balls import ball_name
from vision.layout import Ball

from .naming import ball_look


@dataclass(frozen=True, slots=True, kw_only=True)
class Swap:
    """Two balls, what is said of them, and what each of the two taps sends."""

    balls: tuple[str, str]
    words: str
    path: str
    looks: tuple[list[float], list[float]]
    exchanged: str
    """Names for the API as JSON: each has the other's."""
    right: str
    """The same as they were read."""
    where_mm: tuple[float, float]


def swaps(scene: Scene, said: Sequence[CorrectionRecord]) -> tuple[Swap, ...]:
    """Pairs in doubt of which each may be the other, as after their places changed.

    What a person spoke of is settled.
    """
    layout = scene.reading.layout
    settled = {ball.id for ball in spoken_of(layout, said)}
    found: list[Swap] = []
    for one, other in combinations(layout.balls, 2):
        names = {one.id, other.id}
        if names & settled or any(names & set(swap.balls) for swap in found):
            continue
        if _may_be_each_other(one, other):
            found.append(_swap(scene, one, other, f"{_both(one, other)} may be each other."))
    return tuple(found)


def _may_be_each_other(one: Ball, other: Ball) -> bool:
    """Both in doubt, each with the other's name as the next likely."""
    return (
        one.doubtful
        and other.doubtful
        and any(name == other.id for name, _ in one.runners_up[:1])
        and any(name == one.id for name, _ in other.runners_up[:1])
    )


def _both(one: Ball, other: Ball) -> str:
    return f"{ball_name(one.id).capitalize()} and {ball_name(other.id)}"


def _swap(scene: Scene, one: Ball, other: Ball, words: str) -> Swap:
    return Swap(
        balls=(one.id, other.id),
        words=words,
        path=f"/api/v1/readings/{scene.reading.id}/names",
        looks=(ball_look(one, scene.calibration), ball_look(other, scene.calibration)),
        exchanged=_names((one, other.id), (other, one.id)),
        right=_names((one, one.id), (other, other.id)),
        where_mm=one.centre_mm,
    )


def _names(*given: tuple[Ball, str]) -> str:
    return json.dumps([{"id": name, "x_mm": ball.x_mm, "y_mm": ball.y_mm} for ball, name in given])
