"""Recipe for stills of many random rooms, never part of the samples.

``python -m vision.training.dataset --out DIR --set dev --rooms 40 --seed 5000`` packs tars;
with ``--workers W`` as many processes write plain folders instead, for use where they are made.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import defaultdict
from functools import partial
from pathlib import Path
from typing import Any

from vision.training.scenes.assemble import FINENESS
from vision.training.scenes.batch import Effort, Job, TarWriter, run_jobs, truth_file
from vision.training.scenes.describe.room import Scene, draw_room, draw_scene
from vision.training.scenes.describe.worlds import FAMILIES
from vision.training.scenes.optics.render import Renderer

from .built_rooms import built_jobs, relit_jobs
from .odd_sets import odd_jobs
from .paired_rooms import paired_jobs
from .practice_room import board_poses, practice_room
from .wide_sets import measure_jobs, train_jobs
from .workers import Crew, render_with_workers, share_of
from .world_sets import held_jobs, world_jobs

SETS_HELP = (
    "train, measure, worlds, held-worlds, odd-sets, pairs, practice, twins, dev, empties, built, "
    "relit; "
    "joined by +"
)


def practice_jobs(seed: int) -> list[Job]:
    """Drafts of the practice room: empty, twelve boards, ten layouts."""
    room = practice_room()
    jobs = [Job(path="practice/empty.jpg", scene=Scene(room=room, still_seed=seed))]
    for k, pose in enumerate(board_poses(room.camera), 1):
        scene = Scene(room=room, board=pose, still_seed=seed + k)
        jobs.append(Job(path=f"boards/board-{k:02d}.jpg", scene=scene))
    for k in range(10):
        scene = draw_scene(room, seed + 50 + k, clutter=0.3)
        jobs.append(
            Job(path=f"practice/still-{k:02d}.jpg", scene=scene, exposure_of="practice/empty.jpg")
        )
    return jobs


def twin_jobs(seed: int, rooms: int) -> list[Job]:
    """One still with balls and its empty twin per room."""
    jobs = []
    for k in range(rooms):
        room = draw_room(seed + k)
        full, empty = draw_scene(room, 1), draw_scene(room, 2, count=0, clutter=0.3)
        jobs.append(Job(path=f"rooms/{k:03d}-empty.jpg", scene=empty))
        jobs.append(Job(path=f"rooms/{k:03d}.jpg", scene=full, exposure_of=jobs[-1].path))
    return jobs


def dev_jobs(seed: int, rooms: int, each: int) -> list[Job]:
    """Several stills per room."""
    jobs: list[Job] = []
    for k in range(rooms):
        room = draw_room(seed + k)
        for j in range(each):
            # every tenth still has an arm over the bed
            scene = draw_scene(room, 10 + j, obstructed=len(jobs) % 10 == 7)
            jobs.append(Job(path=f"dev/{len(jobs):03d}.jpg", scene=scene))
    return jobs


def empty_jobs(seed: int, rooms: int) -> list[Job]:
    """Empty tables of many rooms."""
    return [
        Job(path=f"empties/{k:03d}.jpg", scene=draw_scene(draw_room(seed + k), 2, count=0))
        for k in range(rooms)
    ]


def all_jobs(given: argparse.Namespace, worker: int, workers: int) -> list[Job]:
    """The jobs of all sets asked for that fall to one worker of so many."""
    seed, rooms, each = given.seed, given.rooms, given.each
    numbers = range(worker, rooms, workers)
    families = given.families.split("+") if given.families else list(FAMILIES)
    wide = {
        "train": lambda: train_jobs(seed, numbers, each),
        "measure": lambda: measure_jobs(seed, numbers, each),
        "worlds": lambda: world_jobs(seed, numbers, each, families),
        "held-worlds": lambda: held_jobs(seed, numbers, each, families),
        "odd-sets": lambda: odd_jobs(seed, numbers, each),
        "pairs": lambda: paired_jobs(seed, numbers, each, given.width),
    }
    others = {
        "practice": lambda: practice_jobs(seed),
        "twins": lambda: twin_jobs(seed, rooms),
        "dev": lambda: dev_jobs(seed, rooms, each),
        "empties": lambda: empty_jobs(seed, rooms),
        "built": lambda: built_jobs(seed, rooms),
        "relit": lambda: relit_jobs(seed, rooms),
    }
    jobs: list[Job] = []
    for name in given.set.split("+"):
        jobs += wide[name]() if name in wide else share_of(others[name](), worker, workers)
    return jobs


def main(arguments: list[str] | None = None) -> None:
    """Render a set with its truth."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True, help="folder for the files")
    parser.add_argument("--set", required=True, help=SETS_HELP)
    parser.add_argument("--rooms", type=int, default=24)
    parser.add_argument("--each", type=int, default=2, help="stills per room (dev and wide sets)")
    parser.add_argument("--families", default="", help="of worlds, joined by +; all if not given")
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--width", type=int, default=1920, help="of the pictures of pairs, 16:9")
    parser.add_argument("--spp", type=int, default=24, help="samples per pinhole pixel")
    parser.add_argument("--fineness", type=float, default=FINENESS,
                        help="scale of the pinhole picture against the still")  # fmt: skip
    parser.add_argument("--workers", type=int, default=0,
                        help="processes that write folders; 0 packs tars in this one")  # fmt: skip
    parser.add_argument("--limit-s", type=float, default=1e9, help="stop after so many seconds")
    parser.add_argument("--variant", default="cuda_ad_rgb")
    given = parser.parse_args(arguments)
    given.out.mkdir(parents=True, exist_ok=True)
    if given.workers > 0:
        crew = Crew(
            out=given.out, workers=given.workers, variant=given.variant, limit_s=given.limit_s,
            effort=Effort(spp=given.spp, fineness=given.fineness, threads=2, keep_going=True),
            made_by=made_by(given),
        )  # fmt: skip
        if not render_with_workers(crew, partial(all_jobs, given)):
            sys.exit(1)
    else:
        render_to_tars(all_jobs(given, 0, 1), given)


def made_by(given: argparse.Namespace) -> dict[str, Any]:
    """What truth files say about their making."""
    return {
        "how": "rendered with mitsuba 3.5.2, path tracing",
        "recipe": f"python -m vision.training.dataset --set {given.set} --rooms {given.rooms} "
        f"--each {given.each} --seed {given.seed} --spp {given.spp} --fineness {given.fineness:g}",
        "seed": given.seed,
    }


def render_to_tars(jobs: list[Job], given: argparse.Namespace) -> None:
    """Render jobs and write tars."""
    writer = TarWriter(given.out, "stills")
    start = time.monotonic()
    truths: dict[str, dict[str, Any]] = defaultdict(dict)
    effort = Effort(spp=given.spp, fineness=given.fineness)
    for path, data, truth in run_jobs(jobs, Renderer(given.variant), effort):
        folder, name = path.split("/")
        truths[folder][name] = truth
        writer.add(path, data)
        if time.monotonic() - start > given.limit_s:
            print(f"stopped at the limit after {path}", file=sys.stderr)
            break
    for folder, stills in truths.items():
        writer.add(f"{folder}/truth.json", truth_file(made_by(given), stills))
    writer.close()


if __name__ == "__main__":
    main()
