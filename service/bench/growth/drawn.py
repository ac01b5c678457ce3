"""Attempts at random, as rows of the store: sessions of several players, evening by evening."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import Any

import numpy as np

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import Table
from service.position import Intent, Player, score_shot
from service.position.meant.player_file import player_document
from service.store.plain import plain_columns
from vision.layout import Ball, Layout

PLAYERS = 10
A_SESSION = 60
"""Attempts of one player in one evening."""
STARTED = datetime(2019, 1, 7, 18, tzinfo=UTC)
_COV_MM2 = ((0.1, 0.02), (0.02, 0.2))
_BEFORE = {"cue": (1500.0, 400.0), "3": (2100.0, 900.0), "4": (900.0, 300.0), "9": (300.0, 1000.0)}
_LEFT = {"4": _BEFORE["4"], "9": _BEFORE["9"]}
_INTENTS: tuple[dict[str, Any], ...] = tuple(
    {
        "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
        "cut_deg": [5, cut], "distance_mm": [150, far],
    }
    for cut in (40, 50, 60)
    for far in (900, 1200)
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """One attempt as rows; numbers of other rows are put in when those are known."""

    player: int
    """0 … ``PLAYERS`` − 1."""
    at: datetime
    intent: dict[str, Any]
    layout: dict[str, Any]
    """After the shot."""
    figures: dict[str, Any]
    """Everything of the attempt's row but where it belongs."""


def calibration() -> dict[str, Any]:
    """A document of a table seen from above."""
    camera = Camera.looking(
        position_mm=(1270.0, 635.0, 2600.0), target_mm=(1270.0, 635.0, 0.0), up=(0.0, 1.0, 0.0),
        image_size_px=(1920, 1080), focal_px=1590.0,
    )  # fmt: skip
    return Calibration.exact(camera, Table()).to_dict()


def before() -> Layout:
    """The layout that every shot starts from."""
    return _layout(_BEFORE)


def drawn(count: int, *, seed: int = 1) -> Iterator[Drawn]:
    """So many attempts in the order of play; each evening is one player's."""
    rng = np.random.default_rng(seed)
    settings = player_document(Player())
    for number in range(count):
        evening, turn = divmod(number, A_SESSION)
        at = STARTED + timedelta(days=evening / PLAYERS, seconds=45 * turn)
        which = int(rng.integers(len(_INTENTS)))
        verdict, offsets = _verdict(which, rng)
        stop = verdict["cue_stop_mm"]
        yield Drawn(
            player=evening % PLAYERS,
            at=at,
            intent=_INTENTS[which],
            layout=_layout({**_LEFT, "cue": (stop[0], stop[1])}).to_dict(),
            figures={
                "made_at": at,
                "verdict": verdict,
                "offset_along_mm": offsets[0],
                "offset_across_mm": offsets[1],
                "travel_mm": float(rng.uniform(200, 2600)),
                "cut_deg": float(rng.uniform(2, 70)),
                "rails": int(rng.integers(4)),
                "spin": str(rng.choice(["follow", "stun", "draw"])),
                "side_spin": str(rng.choice(["none", "left", "right"])),
                "player": settings,
                "player_source": "given",
                **plain_columns(verdict, _INTENTS[which], offsets_mm=offsets),
            },
        )  # fmt: skip


def still_name(key: str) -> tuple[str, str]:
    """Name and hash of a still that is nowhere."""
    return f"{key}.jpg", hashlib.sha256(key.encode()).hexdigest()


def _verdict(which: int, rng: np.random.Generator) -> tuple[dict[str, Any], tuple[float, float]]:
    """A verdict as one that was scored, with another stop and other figures."""
    out = dict(_scored(which))
    along, across = float(rng.normal(25, 90)), float(rng.normal(-5, 45))
    x, y = out["wanted_mm"]
    off = float(np.hypot(along, across))
    miss = max(off - 80.0, 0.0)
    out |= {
        "verdict": "too close to call" if 0 < miss < 2 else "in" if miss == 0 else "out",
        "p_in": float(miss == 0),
        "miss_mm": miss,
        "miss_vector_mm": [along * miss / off, across * miss / off],
        "cue_stop_mm": [float(np.clip(x + along, 30, 2510)), float(np.clip(y + across, 30, 1240))],
        "arrival_from": "cut",
        "potted": ["3"] if rng.random() < 0.7 else [],
        "scratch": bool(rng.random() < 0.03),
        "pot_chance": float(rng.random()),
        "pot_chance_given_up": float(max(rng.normal(0.05, 0.1), 0)),
    }
    return out, (along, across)


@cache
def _scored(which: int) -> dict[str, Any]:
    after = _layout({**_LEFT, "cue": (1300.0, 600.0)})
    return score_shot(before(), after, Intent.from_dict(_INTENTS[which]), Table()).to_dict()


def _layout(places: dict[str, tuple[float, float]]) -> Layout:
    return Layout(
        still="",
        surface_mm=(2540.0, 1270.0),
        balls=tuple(
            Ball(id=name, x_mm=x, y_mm=y, cov_mm2=_COV_MM2) for name, (x, y) in places.items()
        ),
    )
