"""The sample clip: two shots of simulated video, made of the sample stills, as one file.

``python tests/sample_clip.py`` writes it and its truth into ``sample_frames/practice/clip`` again
(about two minutes on one core; mp4v as OpenCV writes it, so bytes may differ between versions).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import simulated_video
from rolling import Places, Roll, roll
from simulated_video import SAMPLES, Play, Room, Told

from calibration.jsonfile import write_json
from calibration.table import BALL_DIAMETER_MM, Table
from vision.sources.frame import Frame

FOLDER = SAMPLES / "clip"
SIZE_PX = (1920, 1080)
FPS = 10.0
SEED = 20262
FLICKER, NOISE_LEVELS = 0.004, 0.5
"""Little, as a video's packing leaves little."""
BALLS: Places = {
    "cue": (700.0, 420.0), "1": (1620.0, 330.0), "2": (1960.0, 900.0), "3": (560.0, 960.0),
    "5": (1180.0, 1010.0), "9": (300.0, 300.0),
}  # fmt: skip
PLAYED = (("1", "foot-right", 900.0), ("2", "foot-left", 700.0))
"""Ball, pocket and the cue ball's speed, mm/s."""
SHOTS: tuple[dict[str, Any], ...] = (
    {"pot": "1", "pocket": "foot-right", "next": "2", "next_pocket": "foot-left",
     "cut_deg": [8, 30], "side": "right", "distance_mm": [250, 800], "cushion_mm": 60},
    {"pot": "2", "pocket": "foot-left", "next": "3", "next_pocket": "head-left",
     "cut_deg": [8, 24], "side": "right", "distance_mm": [400, 1400], "cushion_mm": 60},
)  # fmt: skip
"""What the player meant: the first stop is in its zone, the second is not."""


@dataclass(slots=True, kw_only=True)
class Clip(Play):
    """Two shots that are played as they stand above, each pot made."""

    shots: int = len(PLAYED)

    def frames(self) -> Iterator[Frame]:
        from simulated_video import _Clock

        rng = np.random.default_rng(self.seed)
        clock, balls = _Clock(fps=self.fps), BALLS
        yield from self._wait(balls, 1.5, clock, rng)
        for name, pocket, speed in PLAYED:
            towards, shot = struck(balls, name, pocket, speed, self.room.table)
            yield from self._bends(balls, balls["cue"], towards, 0.6, clock, rng)
            began = clock.now_s
            after = yield from self._rolls(balls, shot, towards, clock, rng)
            self.told.append(
                Told(
                    before=balls, after=after, struck_s=began, rest_s=began + shot.lasts_s,
                    heading_deg=shot.heading_deg, straight_mm=shot.straight_mm, roll=shot,
                )
            )  # fmt: skip
            balls = after
            yield from self._wait(balls, 2.0, clock, rng)


def struck(
    balls: Places, name: str, pocket: str, speed_mm_s: float, table: Table
) -> tuple[float, Roll]:
    """The cue ball sent to where it drives that ball into that pocket."""
    aim = next(p.aim_mm for p in table.pockets if p.name == pocket)
    way = np.subtract(aim, balls[name])
    meeting = np.array(balls[name]) - BALL_DIAMETER_MM * way / np.hypot(*way)
    line = meeting - balls["cue"]
    line /= np.hypot(*line)
    shot = roll(balls, (speed_mm_s * line[0], speed_mm_s * line[1]), table)
    return float(np.arctan2(line[1], line[0])), shot


def write_clip(path: Path) -> list[Told]:
    """The clip at ``path``; what happens in it."""
    simulated_video.FLICKER, simulated_video.NOISE_LEVELS = FLICKER, NOISE_LEVELS
    play = Clip(room=Room.of(SIZE_PX), seed=SEED, fps=FPS)
    film = cv2.VideoWriter(str(path), cv2.VideoWriter.fourcc(*"mp4v"), FPS, SIZE_PX)
    for frame in play.frames():
        film.write(frame.picture)
    film.release()
    return play.told


def told_dict(told: list[Told]) -> dict[str, Any]:
    """What ``played.json`` beside the clip says."""
    return {
        "format": "restmark-clip-truth",
        "version": 1,
        "made_by": {
            "how": "simulated: balls cut out of the sample stills roll over their empty table; "
            "nothing was filmed",
            "recipe": "python tests/sample_clip.py",
            "units": "mm in the table frame, seconds from the clip's start, degrees",
        },
        "shots": [
            {
                "before": {name: list(np.round(at, 2)) for name, at in shot.before.items()},
                "after": {name: list(np.round(at, 2)) for name, at in shot.after.items()},
                "struck_s": round(shot.struck_s, 2),
                "rest_s": round(shot.rest_s, 2),
                "heading_deg": round(shot.heading_deg, 2),
            }
            for shot in told
        ],
    }


def main() -> None:
    """Write the clip anew."""
    FOLDER.mkdir(exist_ok=True)
    told = write_clip(FOLDER / "clip.mp4")
    write_json(FOLDER / "played.json", told_dict(told))
    write_json(FOLDER / "plan.json", {"shots": list(SHOTS)})


if __name__ == "__main__":
    main()
