"""Simulated views of two cameras: errors and names alone and joined, and knocks by their size."""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

import numpy as np

from calibration.table import Table
from vision.join.together import join_views
from vision.truth.file import TruthBall
from vision.truth.measure import Matched, match_layout, summary
from vision.truth.simulated_pair import balls_of, knocked, seen_by, set_up

from .rendered import JOINED, gain, hidden_share, rms_mm

ENDS = {"a": 0.2, "b": 0.8}
BALLS = 9
KNOCKS_MM = (1.0, 2.0, 4.0, 8.0)
"""How far a camera is pushed; it turns by a thousandth of a radian besides."""
KNOCK_TURN_RAD = 1e-3
SAID = ("cameras-apart", "camera-moved")


def simulated_figures(moments: int, seed: int = 830_000) -> dict[str, Any]:
    """Figures over so many moments, each with calibrations and balls of its own."""
    rng = np.random.default_rng(seed)
    table = Table()
    matched: dict[str, list[Matched]] = defaultdict(list)
    blind: dict[str, list[float]] = defaultdict(list)
    false_alarms = 0
    for _ in range(moments):
        balls = balls_of(rng, table, BALLS)
        truth = [TruthBall(id=name, x_mm=x, y_mm=y) for name, (x, y) in balls.items()]
        views = [seen_by(rng, name, of, balls) for name, of in set_up(rng, table, ENDS).items()]
        joined = join_views(views)
        false_alarms += any(notice.code in SAID for notice in joined.notices)
        for name, layout in (*((v.camera, v.layout) for v in views), (JOINED, joined)):
            matched[name].append(match_layout(layout, truth))
        shaded = set_up(rng, table, ENDS, shade=True)
        views = [seen_by(rng, name, of, balls) for name, of in shaded.items()]
        for view in views:
            blind[view.camera].append(hidden_share(view.layout))
        blind[JOINED].append(hidden_share(join_views(views)))
    rms = {name: rms_mm(every) for name, every in matched.items()}
    return {
        "moments": moments,
        "accuracy": {name: summary(every).to_dict() for name, every in matched.items()},
        "rms_mm": rms,
        "gain": gain(rms),
        "blind_share": {name: float(np.mean(values)) for name, values in blind.items()},
        "said_to_disagree_though_still": false_alarms,
        "knocked": [_knocks(rng, table, size, max(moments // 4, 1)) for size in KNOCKS_MM],
    }


def _knocks(rng: np.random.Generator, table: Table, shift_mm: float, count: int) -> dict[str, Any]:
    """How often the camera that was pushed so far is named in the first still after it."""
    named = wrong = apart = 0
    for k in range(count):
        who = "ab"[k % 2]
        cameras = set_up(rng, table, ENDS)
        balls = balls_of(rng, table, BALLS)
        before = join_views([seen_by(rng, name, of, balls) for name, of in cameras.items()])
        off = knocked(
            cameras[who].camera, shift_mm, KNOCK_TURN_RAD, float(rng.uniform(0, 2 * math.pi))
        )
        played = {**balls, "cue": balls_of(rng, table, 1)["cue"]}
        if min(math.dist(played["cue"], at) for name, at in balls.items() if name != "cue") < 60:
            played = balls
        views = [
            seen_by(rng, name, of, played, camera=off if name == who else None)
            for name, of in cameras.items()
        ]
        told = [n for n in join_views(views, previous=before).notices if n.code in SAID]
        named += any(n.fields.get("camera") == who for n in told)
        wrong += any(n.fields.get("camera") not in (who, None) for n in told)
        apart += any(n.code == "cameras-apart" for n in told)
    return {
        "pushed_mm": shift_mm, "knocks": count, "named": named, "other_named": wrong,
        "only_said_to_disagree": apart,
    }  # fmt: skip
