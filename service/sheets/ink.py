"""Colours for white paper: the drawings' own are made for screens, on dark cloth."""

from __future__ import annotations

from collections.abc import Mapping

from service.drawing import palette

ON_PAPER: Mapping[str, str] = {
    palette.FRAME: "#ffffff",
    palette.FRAME_MUTED: "#3c4548",
    palette.WOOD: "#efe9df",
    palette.WOOD_EDGE: "#8d8375",
    palette.CAP_LINE: "#b9ae9d",
    palette.CLOTH: "#ffffff",
    palette.CUSHION: "#dfe8e8",
    palette.NOSE: "#3f6a6e",
    palette.CLOTH_LINE: "#9fb4b6",
    palette.HOLE: "#30363a",
    palette.LINER: "#8d8375",
    palette.SIGHT: "#30363a",
    palette.ZONE_FILL: "#ffcf4a",
    palette.ZONE_EDGE: "#8a6100",
    palette.WANTED: "#5d4100",
    palette.ARRIVAL: "#30595d",
    palette.DOUBT: "#a35c00",
    palette.GHOST: "#444c50",
    palette.BALL_WHITE: "#ffffff",
    palette.BALL["cue"]: "#ffffff",
    **{colour: "#17191b" for colour in palette.VERDICT.values()},
}
"""Cloth and wood become white and pale, so that a page takes little ink; marks become dark."""
