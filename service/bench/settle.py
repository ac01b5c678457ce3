"""What watching a table costs: processor time a frame at full HD, and time from rest to layout.

The sample shots are shown as a camera would, ten frames a second: each still for some seconds with
new noise, between a shot's two the cue ball rolls. ``python -m service.bench.settle [--json]``.
Processor time counts all threads and is not disturbed by other programs but for their caches.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from calibration.camera import Camera
from calibration.from_still import watched
from calibration.table import BALL_CENTRE_HEIGHT_MM, PointMm
from service.bench.practice import machine, print_machine
from service.demo.samples import EMPTY_STILL, SHOTS_FOLDER, sample_folder
from vision.read import Reader
from vision.settle.watcher import Watcher
from vision.sources.frame import Frame
from vision.still import Picture, decode_still
from vision.truth.file import TruthStill, read_truth

SETTLE_FORMAT, SETTLE_VERSION = "restmark-bench-settle", 1
FPS = 10.0
REST_S, ROLL_S = 4.0, 3.0
"""How long a table lies still in the show, and how long a ball rolls."""
NOISES, NOISE_LEVELS = 6, 2
SHOTS = 6
QUALITY = 90


@dataclass(frozen=True, slots=True, kw_only=True)
class Show:
    """Frames as JPEG bytes, as a USB camera sends them, and when the balls come to rest."""

    frames: tuple[bytes, ...] = field(repr=False)
    rests_s: tuple[float, ...]


def show_of(shots: int = SHOTS) -> Show:
    """The first sample shots, one after the other."""
    folder = sample_folder(SHOTS_FOLDER)
    truths = read_truth(folder)
    frames: list[bytes] = []
    rests = []
    grain = _grain()
    for k in range(1, shots + 1):
        names = [f"shot-{k:02d}-{turn}.jpg" for turn in ("before", "after")]
        before, after = (decode_still((folder / name).read_bytes(), name=name) for name in names)
        for picture in _still(before, grain):
            frames.append(_packed(picture))
        for picture in _rolling(before, truths[names[0]], truths[names[1]], grain):
            frames.append(_packed(picture))
        rests += [len(frames) / FPS]
        for picture in _still(after, grain):
            frames.append(_packed(picture))
    return Show(frames=tuple(frames), rests_s=tuple(rests))


def settle_figures(shots: int = SHOTS) -> dict[str, Any]:
    """Processor time a frame and its share of one core at ten frames a second; latencies."""
    show = show_of(shots)
    watcher = Watcher(_reader())
    decode_ms, watch_ms, read_ms, read_cpu_ms, handed = [], [], [], [], []
    for k, data in enumerate(show.frames):
        begun = time.process_time()
        picture = np.asarray(
            cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR), np.uint8
        )
        decoded, started = time.process_time(), time.perf_counter()
        rest = watcher.feed(Frame(picture=picture, at_s=k / FPS, name=f"frame {k}"))
        took_ms = (time.process_time() - decoded) * 1e3
        decode_ms.append((decoded - begun) * 1e3)
        watch_ms.append(took_ms)
        if rest is not None:
            read_ms.append((time.perf_counter() - started) * 1e3)
            read_cpu_ms.append(took_ms)
            handed.append(rest.at_s)
    latency = [_latency(rest_s, handed) for rest_s in show.rests_s]
    return {
        "format": SETTLE_FORMAT,
        "version": SETTLE_VERSION,
        "machine": machine(),
        "frames": len(show.frames),
        "fps": FPS,
        "shots": shots,
        "handed_on": len(handed),
        "watch_cpu_ms": {"median": float(np.median(watch_ms)), "mean": float(np.mean(watch_ms))},
        "decode_cpu_ms": float(np.mean(decode_ms)),
        "core_share_watching": float(np.mean(watch_ms)) * FPS / 1e3,
        "core_share_with_decoding": float(np.mean(watch_ms) + np.mean(decode_ms)) * FPS / 1e3,
        "rest_to_frame_s": {"median": float(np.median(latency)), "worst": float(max(latency))},
        "frame_to_layout_ms": {"median": float(np.median(read_ms)), "worst": float(max(read_ms))},
        "frame_to_layout_cpu_ms": float(np.median(read_cpu_ms)),
    }


def print_settle(figures: dict[str, Any], console: Console) -> None:
    """The figures for people."""
    print_machine(figures["machine"], console)
    watch = figures["watch_cpu_ms"]
    console.print(
        f"{figures['frames']} frames at 1080p, {figures['fps']:g} a second, {figures['shots']} "
        f"shots: {figures['handed_on']} rests handed on"
    )
    console.print(
        f"watching: {watch['median']:.1f} ms of processor a frame in the median, "
        f"{watch['mean']:.1f} in the mean with all readings: "
        f"{figures['core_share_watching']:.1%} of one core; "
        f"{figures['core_share_with_decoding']:.1%} with decoding each frame's JPEG "
        f"({figures['decode_cpu_ms']:.1f} ms)"
    )
    late, read = figures["rest_to_frame_s"], figures["frame_to_layout_ms"]
    console.print(
        f"from rest to the frame that shows it: {late['median']:.2f} s in the median, "
        f"{late['worst']:.2f} at worst; from there to the layout {read['median']:.0f} ms, "
        f"{read['worst']:.0f} at worst by the clock, "
        f"{figures['frame_to_layout_cpu_ms']:.0f} ms of processor"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shots", type=int, default=SHOTS, help="of the twelve sample shots")
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args(arguments)
    figures = settle_figures(chosen.shots)
    if chosen.json:
        print(json.dumps(figures))
    else:
        print_settle(figures, Console())
    return 0


def _reader() -> Reader:
    empty = sample_folder(EMPTY_STILL)
    truth = read_truth(empty.parent)[empty.name]
    return Reader(watched(truth.calibration, decode_still(empty.read_bytes(), name=empty.name)))


def _latency(rest_s: float, handed: Sequence[float]) -> float:
    return min((at_s - rest_s for at_s in handed if at_s > rest_s), default=float("inf"))


def _grain() -> list[NDArray[np.int16]]:
    rng = np.random.default_rng(0)
    shape = (1080, 1920, 3)
    return [rng.normal(0, NOISE_LEVELS, shape).astype(np.int16) for _ in range(NOISES)]


def _packed(picture: Picture) -> bytes:
    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])[1].tobytes())


def _noisy(picture: Picture, grain: NDArray[np.int16]) -> Picture:
    return np.clip(picture.astype(np.int16) + grain, 0, 255).astype(np.uint8)


def _still(picture: Picture, grain: list[NDArray[np.int16]]) -> Iterator[Picture]:
    for k in range(round(REST_S * FPS)):
        yield _noisy(picture, grain[k % NOISES])


def _rolling(
    before: Picture, was: TruthStill, now: TruthStill, grain: list[NDArray[np.int16]]
) -> Iterator[Picture]:
    """A white disc rolls, slowing down, from where the cue ball lay to where it will lie."""
    start, end = (np.array(_cue(truth)) for truth in (was, now))
    count = round(ROLL_S * FPS)
    for k in range(count):
        left = (1 - k / count) ** 2
        picture = before.copy()
        _disc(picture, was.camera, tuple(end + left * (start - end)))
        yield _noisy(picture, grain[k % NOISES])


def _cue(truth: TruthStill) -> PointMm:
    ball = next((ball for ball in truth.balls if ball.id == "cue"), truth.balls[0])
    return ball.x_mm, ball.y_mm


def _disc(picture: Picture, camera: Camera, place: PointMm) -> None:
    u, v = camera.project([(*place, BALL_CENTRE_HEIGHT_MM)])[0]
    outline = camera.ball_outline(place)
    radius = float(np.hypot(*(outline - (u, v)).T).mean())
    centre = (round(u * 16), round(v * 16))
    cv2.circle(picture, centre, round(radius * 16), (215, 235, 240), -1, cv2.LINE_AA, 4)


if __name__ == "__main__":
    raise SystemExit(main())
