"""Recipe of the sample stills: practice (empty, boards, shots) and twelve other rooms.

``python -m vision.training.sample_frames --out DIR [--only practice|boards|shots|others …]``
writes the folders as they are shipped; ``--tar`` packs them into tar files instead. Needs the
extra ``train``; on a graphics card (``--variant cuda_ad_rgb``) it takes a few minutes.
"""

from __future__ import annotations

import argparse
import json
from collections import defaultdict
from pathlib import Path
from typing import Any

from vision.training.scenes.batch import Effort, FolderWriter, Job, TarWriter, run_jobs, truth_file
from vision.training.scenes.describe.room import Scene
from vision.training.scenes.optics.render import Renderer

from .other_rooms import OTHER_STILLS, other_scene
from .practice_room import SEED, board_poses, practice_room
from .session import read_session, shot_scenes

PARTS = ("practice", "boards", "shots", "others")
EMPTY = "practice/empty.jpg"


def sample_jobs(only: set[str]) -> list[Job]:
    """The jobs of the chosen parts; shots are exposed as the empty still is."""
    room = practice_room()
    jobs: list[Job] = []
    if only & {"practice", "shots"}:
        jobs.append(Job(path=EMPTY, scene=Scene(room=room, still_seed=1)))
    if "boards" in only:
        for k, pose in enumerate(board_poses(room.camera), 1):
            scene = Scene(room=room, board=pose, still_seed=100 + k)
            jobs.append(Job(path=f"practice/boards/board-{k:02d}.jpg", scene=scene))
    if "shots" in only:
        for name, scene, flicker in shot_scenes(room, read_session()):
            path = f"practice/shots/{name}"
            jobs.append(Job(path=path, scene=scene, flicker=flicker, exposure_of=EMPTY))
    if "others" in only:
        for k, still in enumerate(OTHER_STILLS, 1):
            jobs.append(Job(path=f"others/other-{k:02d}.jpg", scene=other_scene(still)))
    return jobs


def made_by(spp: int) -> dict[str, Any]:
    """What the truth files say about their making."""
    return {
        "how": "rendered with mitsuba 3.5.2 (path tracing), then the recorded lens and a camera's "
        "faults applied; places are exact",
        "recipe": f"python -m vision.training.sample_frames --spp {spp}",
        "seed": SEED,
        "units": "mm in the table frame, px at pixel centres",
    }


def main(arguments: list[str] | None = None) -> None:
    """Render the sample stills."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder to write")
    parser.add_argument("--only", nargs="+", choices=PARTS, default=list(PARTS))
    parser.add_argument("--spp", type=int, default=36, help="samples per pinhole pixel")
    parser.add_argument("--variant", default="llvm_ad_rgb", help="mitsuba variant")
    parser.add_argument("--tar", action="store_true", help="pack into tar files below 16 MB")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)
    writer = TarWriter(given.out, "samples") if given.tar else FolderWriter(given.out)
    truths: dict[str, dict[str, Any]] = defaultdict(dict)
    for path, data, truth in run_jobs(
        sample_jobs(set(given.only)), Renderer(given.variant), Effort(spp=given.spp)
    ):
        folder, name = path.rsplit("/", 1)
        truths[folder][name] = truth
        writer.add(path, data)
    for folder, stills in truths.items():
        writer.add(f"{folder}/truth.json", truth_file(made_by(given.spp), stills))
    if "shots" in given.only:
        plan = {"shots": [shot.intent for shot in read_session()]}
        writer.add("practice/shots/plan.json", (json.dumps(plan, indent=1) + "\n").encode())
    writer.close()


if __name__ == "__main__":
    main()
