"""The whole way from a scene to a reading, small enough for a processor: does every step work?

``python -m vision.training.smoke`` renders a few tiny stills, cuts them and some sample stills
into sets, trains both networks for moments, exports them, makes the finder's convolutions
8-bit, and reads a sample still with what came. How well networks read is not its matter, except
where the shipped checkpoint is exported again, that one must find every ball, and where the shipped
networks are trained further on stills of one's own: places must stay and no name be lost.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import sample_frames
from calibration.camera import Camera
from vision.training.nets import smoke_checks, smoke_sketches
from vision.training.nets.cut_sets import cut_folders
from vision.training.scenes.batch import Effort, FolderWriter, Job, run_jobs, truth_file
from vision.training.scenes.describe.room import Room, Scene
from vision.training.scenes.optics.render import Renderer
from vision.truth.file import TruthStill, read_truth

from .wide_sets import train_jobs

SEED = 300_000
SMALL_PX = 480
"""Width of the rendered pictures."""
CHECKED = ("other-01.jpg", "other-03.jpg")
"""Sample stills that training does not see."""
CROP_EPOCHS, FINDER_EPOCHS, OWN_EPOCHS = 8, 1, 3


def small_room(room: Room) -> Room:
    """The same room through a camera of few pixels."""
    wide, high = room.camera.image_size_px
    share = SMALL_PX / max(wide, high)
    camera: Camera = replace(
        room.camera, image_size_px=(round(wide * share), round(high * share)),
        fx_px=room.camera.fx_px * share, fy_px=room.camera.fy_px * share,
        cx_px=(room.camera.cx_px + 0.5) * share - 0.5,
        cy_px=(room.camera.cy_px + 0.5) * share - 0.5,
    )  # fmt: skip
    return replace(room, camera=camera)


def rendered(out: Path, *, variant: str) -> Path:
    """Two tiny stills of the training recipe, each by four cameras, at the least effort."""
    writer, told = FolderWriter(out), {}
    jobs: list[Job] = []
    for job in train_jobs(SEED, range(2), 1):
        scene: Scene = replace(job.scene, room=small_room(job.scene.room))
        jobs.append(replace(job, scene=scene))
    effort = Effort(spp=1, fineness=1.3, threads=1)
    for path, data, truth in run_jobs(jobs, Renderer(variant, max_depth=2), effort):
        writer.add(path, data)
        told[Path(path).name] = truth
    writer.add("train/truth.json", truth_file({"seed": SEED}, told))
    return out / "train"


def samples(out: Path, *, checked: bool) -> Path:
    """The sample stills of other rooms that are for checking, or the rest; their folder."""
    source = Path(sample_frames.__file__).parent / "others"
    stills = json.loads((source / "truth.json").read_text(encoding="utf-8"))["stills"]
    out.mkdir()
    kept = {name: stills[name] for name in stills if (name in CHECKED) == checked}
    for name in kept:
        (out / name).write_bytes((source / name).read_bytes())
    (out / "truth.json").write_bytes(truth_file({"seed": 0}, kept))
    return out


def own_stills(out: Path, stills: Path, truth: Mapping[str, TruthStill]) -> Path:
    """A still as a practice keeps and exports it, by the commands that a school would type."""
    name, still = next(iter(truth.items()))
    (out / "stills").mkdir(parents=True)
    (out / "stills" / name).write_bytes((stills / name).read_bytes())
    still.calibration.write(out / "table.json")
    data = ("--data", str(out / "data"))
    commands = (
        ("session", str(out / "stills"), "--calibration", str(out / "table.json"), *data),
        ("export-stills", *data, "--out", str(out / "own")),
    )
    for command in commands:
        subprocess.run([sys.executable, "-m", "service", *command], check=True, stdout=sys.stderr)
    return out / "own"


@contextmanager
def step(name: str) -> Iterator[None]:
    """Tell how long a step took."""
    started = time.monotonic()
    yield
    print(f"smoke: {name} {time.monotonic() - started:.0f} s", flush=True)


def smoke(out: Path, *, variant: str) -> None:
    """Every step in order; ``SmokeError`` where one gives what it must not."""
    with step("render"):
        small = rendered(out, variant=variant)
    with step("cut"):
        training = [small, samples(out / "samples", checked=False)]
        checking = samples(out / "checked", checked=True)
        stills = cut_folders(training, out / "set", workers=2)
        smoke_checks.demand(stills == 18, "stills cut", stills, "eighteen")
        cut_folders([checking], out / "check", workers=1)
    with step("crop network"):
        smoke_checks.window_moves_as_told(out / "set")
        smoke_checks.crops_train(out / "set", out / "check", out / "nets", epochs=CROP_EPOCHS)
    with step("sketches"):
        smoke_sketches.sketches_are_true()
        smoke_sketches.sketches_teach(out / "set", out / "check", out / "nets")
    with step("finder"):
        smoke_checks.finder_trains(out / "set", out / "check", out / "nets", epochs=FINDER_EPOCHS)
    truth = read_truth(checking)
    with step("trained files read a still"):
        smoke_checks.trained_files_run(out / "nets", checking, truth)
    with step("shipped networks, trained further on stills of one's own"):
        own = own_stills(out / "kept", checking, truth)
        cut_folders([own], out / "own-set", workers=1)
        smoke_checks.crops_go_on(out / "own-set", out / "check", out / "own", epochs=OWN_EPOCHS)
        smoke_checks.finder_goes_on(out / "own-set", out / "check", out / "own")
        smoke_checks.own_weights_read(out / "own", checking, truth)
    with step("shipped checkpoint, exported again"):
        smoke_checks.checkpoint_finds_all(out, out / "set" / "images", checking, truth)


def main(arguments: list[str] | None = None) -> None:
    """Run the smoke in a folder that goes afterwards."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variant", default="scalar_rgb", help="mitsuba variant")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as folder:
        smoke(Path(folder), variant=given.variant)
    print("smoke: the whole path works")


if __name__ == "__main__":
    main()
