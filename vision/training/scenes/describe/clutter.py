"""What lies about round a table, drawn from a generator: nothing of it over the bed."""

from __future__ import annotations

import numpy as np

from calibration.table import Table
from vision.training.scenes.looks import Thing


def draw_things(rng: np.random.Generator, table: Table, clutter: float) -> tuple[Thing, ...]:
    """Things round the table; none of them over the bed."""
    length, width, out = table.length_mm, table.width_mm, table.rail_width_mm
    cap = table.rail_cap_height_mm
    things: list[Thing] = []
    seed = int(rng.integers(2**31))
    if rng.random() < clutter:
        x, y = rng.uniform(0.1, 0.9) * length, -rng.uniform(70, 120)
        if rng.random() < 0.5:
            y = width - y
        if abs(x - length / 2) > 130:
            things.append(
                Thing(kind="chalk", x_mm=float(x), y_mm=float(y), z_mm=cap,
                      turn_deg=float(rng.uniform(0, 90)), seed=seed)
            )  # fmt: skip
    if rng.random() < 0.35 * clutter:
        y = -rng.uniform(75, out - 20)
        things.append(
            Thing(kind="cue", x_mm=float(rng.uniform(0.05, 0.35) * length),
                  y_mm=float(y if rng.random() < 0.5 else width - y), z_mm=cap + 15.2,
                  turn_deg=float(rng.normal(0, 0.8)), lean_deg=-0.31, seed=seed + 1)
        )  # fmt: skip
    if rng.random() < 0.35 * clutter:
        things.append(
            Thing(kind="stool", x_mm=float(rng.uniform(-0.2, 1.2) * length),
                  y_mm=float(rng.choice([-out - 330, width + out + 330])), z_mm=-60.0,
                  seed=seed + 2)
        )  # fmt: skip
    if rng.random() < 0.3 * clutter:
        things.append(
            Thing(kind="drink", x_mm=float(rng.choice([-out - 380, length + out + 380])),
                  y_mm=float(rng.uniform(0, 1) * width), z_mm=-40.0, seed=seed + 3)
        )  # fmt: skip
    if rng.random() < 0.25 * clutter:
        things.append(
            Thing(kind="rack", x_mm=float(rng.uniform(0.1, 0.9) * length),
                  y_mm=float(rng.choice([-out - 260, width + out + 260])), z_mm=-769.0,
                  turn_deg=float(rng.uniform(0, 120)), seed=seed + 4)
        )  # fmt: skip
    if rng.random() < 0.2 * clutter:
        things.append(
            Thing(kind="towel", x_mm=float(rng.choice([0.22, 0.3, 0.7, 0.78]) * length),
                  y_mm=float(rng.choice([-out + 15, width + out - 15])), z_mm=cap,
                  turn_deg=float(rng.normal(0, 6)), seed=seed + 5)
        )  # fmt: skip
    return tuple(things)
