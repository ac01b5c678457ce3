"""The colours of all drawings, in one place; the cloth and frame carry their own contrast."""

from __future__ import annotations

FRAME = "#20262b"
FRAME_MUTED = "#a9b0b3"
WOOD = "#6d4a35"
WOOD_EDGE = "#573a29"
CAP_LINE = "#8a6248"
CLOTH = "#2c7077"
CUSHION = "#225a61"
NOSE = "#4d949a"
CLOTH_LINE = "#3d848b"
HOLE = "#0d1012"
LINER = "#2b211c"
SIGHT = "#efe6d2"

ZONE_FILL = "#ffe38a"
ZONE_EDGE = "#ffeeb5"
WANTED = "#fff6d6"
ARRIVAL = "#cfe3e4"
DOUBT = "#ffc04d"
GHOST = "#f4efe3"
ELLIPSE = "#ffffff"

# Okabe–Ito hues: told apart with the common colour-vision deficiencies; words go beside them.
VERDICT = {"in": "#35d0a4", "out": "#ff8a5c", "too close to call": "#f2c14e"}
NO_VERDICT = "#e7e3d8"

# One hue from pale to dark, read as "more"; the ink on each keeps a contrast of 4.5 and more.
ERROR_LIMITS_MM = (0.25, 0.5, 1.0, 2.0, 4.0)
ERROR_BANDS = (
    ("#f7efe1", "#17191b"),
    ("#f0d9ad", "#17191b"),
    ("#e8b872", "#17191b"),
    ("#d98d45", "#17191b"),
    ("#8f4a1f", "#ffffff"),
    ("#4d2410", "#ffffff"),
)
"""Fill and ink of each band, one more than there are limits."""
ROUTES = ("#7fd3f7", "#f5b83d", "#f2a3c7", "#8fe0b0", "#ffffff")
"""Planned routes in the order given; told apart by their numbers too."""

BALL_WHITE = "#f6f1e4"
BALL_INK = "#17191b"
BALL = {
    "cue": "#faf6ea",
    "1": "#f3c21b",
    "2": "#1f4fa3",
    "3": "#d0312d",
    "4": "#5a3a86",
    "5": "#ee7a22",
    "6": "#1c8a55",
    "7": "#7d2430",
    "8": "#17191b",
}


def ball_colour(name: str) -> str:
    """The colour of a solid, or of a stripe's band."""
    if name != "cue" and int(name) > 8:
        return BALL[str(int(name) - 8)]
    return BALL[name]


def is_stripe(name: str) -> bool:
    """Whether the ball is white with a coloured band."""
    return name != "cue" and int(name) > 8


def verdict_colour(verdict: str | None) -> str:
    """The colour that goes with a verdict's words."""
    return VERDICT.get(verdict or "", NO_VERDICT)
