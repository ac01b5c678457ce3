"""What is said beside a layout of its balls and of what could lie unseen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calibration.arrays import FloatArray
from calibration.notices import Notice

from .layout import Ball, Polygon
from .name.identify import Name

POOR_MM = 1.5
"""Sigma from which a ball's place is called poor."""


def doubts(balls: Sequence[Ball]) -> list[Notice]:
    """A notice for each ball whose name is in doubt."""
    out = []
    for ball in balls:
        if ball.doubtful:
            others = ", ".join(f"{name} ({p:.0%})" for name, p in ball.runners_up)
            text = f"Ball {ball.id} at x {ball.x_mm:.0f}, y {ball.y_mm:.0f} mm is in doubt" + (
                f"; it could be {others}." if others else "."
            )
            fields = {"id": ball.id, "places_mm": [list(ball.centre_mm)]}
            out.append(Notice(code="name-in-doubt", text=text, fields=fields))
    return out


def poor(names: tuple[Name, ...], centres_mm: FloatArray, cov_mm2: FloatArray) -> list[Notice]:
    """A notice for each ball that the picture itself shows poorly, whatever the calibration."""
    sigma_mm = np.sqrt(np.linalg.eigvalsh(cov_mm2)[:, 1]) if names else ()
    return [
        Notice(
            code="seen-poorly",
            text=f"Ball {name.id} at x {x:.0f}, y {y:.0f} mm is seen poorly: {sigma:.1f} mm, "
            "1 sigma.",
            fields={"id": name.id, "places_mm": [[float(x), float(y)]], "sigma_mm": float(sigma)},
        )
        for name, (x, y), sigma in zip(names, centres_mm, sigma_mm, strict=True)
        if sigma > POOR_MM
    ]


def hiding_notices(hidden_mm: tuple[Polygon, ...]) -> list[Notice]:
    """A notice where a ball could lie unseen."""
    if not hidden_mm:
        return []
    middles = [np.mean(polygon, axis=0) for polygon in hidden_mm]
    places = ", ".join(f"x {x:.0f}, y {y:.0f}" for x, y in middles)
    text = f"Something lies over the bed near {places} mm: a ball could lie there unseen."
    fields = {"places_mm": [[float(x), float(y)] for x, y in middles]}
    return [Notice(code="hidden", text=text, fields=fields)]
