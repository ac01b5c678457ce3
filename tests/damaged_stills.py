"""Healthy stills of rendered tables, damaged as files are, and whether a reading hides it.

A damaged still must be refused, warned of, or read as the healthy one is. What is read otherwise
without a word that has to do with the place is a finding.
"""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image, JpegPresets

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.demo.samples import sample_folder
from vision.layout import Ball, Layout
from vision.read import Reader
from vision.truth.file import read_truth

FAR_MM, FAR_SIGMA = 1.5, 4.0
"""A ball is displaced where it lies farther than both from where the healthy still shows it."""
SAME_MM = 40.0
"""A ball farther off than that is another one: one is missing and one invented."""
NEAR_MM = 100.0
"""A word about one ball counts for what lies so near to it."""
OF_ONE_BALL = ("name-in-doubt", "seen-poorly")


@dataclass(frozen=True, slots=True)
class Healthy:
    """A sound still: how it was coded, and what reads it."""

    name: str
    way: str
    data: bytes
    calibration: Calibration


@dataclass(frozen=True, slots=True)
class Came:
    """What became of a damaged still: ``refused``, ``warned``, ``alike`` or ``wrong``."""

    fate: str
    how: str = ""


# -- healthy ones --------------------------------------------------------------------------


def clear_stills(*folders: Path) -> list[Healthy]:
    """Every still that nothing obstructs and that holds balls, of folders with their truth."""
    out = []
    for folder in folders:
        for name, truth in read_truth(folder).items():
            if not truth.obstructed and truth.balls and (folder / name).suffix == ".jpg":
                calibration = Calibration.exact(truth.camera, truth.table, head=truth.head)
                out.append(Healthy(name, "as it came", (folder / name).read_bytes(), calibration))
    return out


def shipped() -> list[Healthy]:
    """The clear ones of the sample stills."""
    return clear_stills(sample_folder("practice") / "shots", sample_folder("others"))


def own_tables(chance: random.Random) -> list[list[int]]:
    """Two tables as an encoder of its own kind may make them: smooth, but like no example."""
    row, column = np.mgrid[:8, :8]
    out = []
    for _ in range(2):
        least, rise = chance.uniform(1, 7), chance.uniform(0.05, 0.5)
        power, lean = chance.uniform(0.8, 1.6), chance.uniform(0.8, 1.25)
        table = least * (1 + rise * (row * lean + column / lean) ** power)
        table *= np.array([chance.uniform(0.88, 1.12) for _ in range(64)]).reshape(8, 8)
        out.append(np.clip(np.round(table), 1, 255).astype(int).ravel().tolist())
    # brightness is kept as fine as colour, or finer, by every encoder
    return [out[0], np.maximum(*out).tolist()]


def coded_anew(still: Healthy, chance: random.Random) -> Healthy:
    """The same picture by another encoder: quality, colour, order, restarts or own tables."""
    way = chance.choice(("as it came", "example", "own", "own", "preset", "restarts", "in steps"))
    if way == "as it came":
        return still
    options: dict[str, object] = {
        "quality": chance.randint(72, 97), "subsampling": chance.randrange(3)
    }  # fmt: skip
    if way == "own":
        options = {"qtables": own_tables(chance), "subsampling": chance.randrange(3)}
    elif way == "preset":
        name = chance.choice(sorted(each for each in JpegPresets.presets if each != "keep"))
        options = {"quality": name}
    elif way == "restarts":
        options["restart_marker_rows"] = chance.randint(1, 8)
    elif way == "in steps":
        options |= {"progressive": True, "optimize": True}
    out = io.BytesIO()
    with Image.open(io.BytesIO(still.data)) as image:
        image.save(out, "JPEG", **options)
    return Healthy(still.name, way, out.getvalue(), still.calibration)


# -- damage --------------------------------------------------------------------------------


def tables_in(data: bytes) -> list[tuple[int, int]]:
    """Where the values of each 8-bit quantisation table begin, and its number."""
    out, at = [], 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        if data[at + 1] == 0xDB:
            out += [(each + 1, data[each]) for each in range(at + 4, at + 2 + size - 64, 65)]
        at += 2 + size
    return out


def _coded_at(data: bytes) -> int:
    """Where the first scan's coded data begin."""
    at = 2
    while data[at + 1] != 0xDA:
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")


def flipped(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    spoilt, start = bytearray(data), _coded_at(data)
    for _ in range(chance.choice((1, 1, 1, 2, 4, 16, 100))):
        spoilt[chance.randrange(start, len(data) - 2)] ^= 1 << chance.randrange(8)
    return bytes(spoilt)


def flipped_head(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    spoilt = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4))):
        spoilt[chance.randrange(2, _coded_at(data))] ^= 1 << chance.randrange(8)
    return bytes(spoilt)


def _piece(data: bytes, chance: random.Random) -> tuple[int, int]:
    """Start and length of a piece of the coded data; often whole sectors of a disk."""
    start = _coded_at(data)
    size = chance.choice((1, 2, 7, 64, 512, 512, 4096, 4096, 16384, 65536))
    at = chance.randrange(start, len(data) - 2)
    if size % 512 == 0 and chance.random() < 0.7:
        at = max(start, at // size * size)
    return at, min(size, len(data) - 2 - at)


def cut_out(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    at, size = _piece(data, chance)
    return data[:at] + data[at + size :]


def cut_off(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    return data[: chance.randrange(2, len(data) - 2)] + chance.choice((b"", b"\xff\xd9"))


def overwritten(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    at, size = _piece(data, chance)
    with_what = chance.choice((b"\0", b"\xff", b"\x55", None))
    run = chance.randbytes(size) if with_what is None else with_what * size
    return data[:at] + run + data[at + size :]


def doubled(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    at, size = _piece(data, chance)
    return data[: at + size] + data[at:]


def swapped(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    first, size = _piece(data, chance)
    second = chance.randrange(_coded_at(data), len(data) - 2)
    first, second = sorted((first, second))
    size = min(size, second - first, len(data) - 2 - second)
    one, other = data[first : first + size], data[second : second + size]
    between = data[first + size : second]
    return data[:first] + other + between + one + data[second + size :]


def spliced(data: bytes, chance: random.Random, other: bytes) -> bytes:
    """The head of this still and the tail of another, at any byte."""
    at = chance.randrange(_coded_at(data), len(data) - 2)
    return data[:at] + other[min(at, len(other) - 2) :]


def joined(data: bytes, chance: random.Random, other: bytes) -> bytes:
    """As spliced, but with another still of the same camera, coded alike."""
    return spliced(data, chance, other)


def tables_altered(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    spoilt, tables = bytearray(data), tables_in(data)
    start, _ = chance.choice(tables)
    act = chance.randrange(6)
    # what lies first counts for the most of the picture
    places = [min(63, int(64 * chance.random() ** 2)) for _ in range(chance.choice((1, 1, 2, 5)))]
    if act == 5 and len(tables) > 1:
        one, other = tables[0][0], tables[1][0]
        spoilt[one : one + 64], spoilt[other : other + 64] = (
            data[other : other + 64], data[one : one + 64],
        )  # fmt: skip
        return bytes(spoilt)
    for place in places:
        at, old = start + place, data[start + place]
        spoilt[at] = {
            0: old ^ (1 << chance.randrange(8)),
            1: min(255, max(1, round(old * chance.choice((0.25, 0.5, 0.7, 1.5, 2, 3, 4))))),
            2: chance.randrange(1, 256),
            3: data[start + chance.randrange(64)],
        }.get(act, old ^ (1 << chance.randrange(3)))
    return bytes(spoilt)


def codes_altered(data: bytes, chance: random.Random, _other: bytes) -> bytes:
    """A value of the tables of codes, or of who uses which."""
    spoilt, at = bytearray(data), 2
    places: list[int] = []
    while data[at + 1] != 0xDA:
        size = int.from_bytes(data[at + 2 : at + 4], "big")
        if data[at + 1] in (0xC4, 0xC0, 0xC1, 0xC2, 0xDD):
            places += range(at + 4, at + 2 + size)
        at += 2 + size
    for _ in range(chance.choice((1, 1, 2))):
        spoilt[chance.choice(places)] ^= 1 << chance.randrange(8)
    return bytes(spoilt)


DAMAGES: tuple[Callable[[bytes, random.Random, bytes], bytes], ...] = (
    flipped, flipped, flipped_head, cut_out, cut_off, overwritten, overwritten, doubled, swapped,
    spliced, joined, tables_altered, tables_altered, tables_altered, codes_altered,
)  # fmt: skip
UNSEEN = "joined"
"""Two sound stills of one camera that meet where both show the same are a sound file: nothing in
it can tell. They are counted by themselves."""


@dataclass(frozen=True, slots=True)
class Damaged:
    """A damaged file, what it was and how it was damaged."""

    healthy: Healthy
    kind: str
    data: bytes


def damaged(stills: list[Healthy], chance: random.Random, *, each: int = 6) -> Iterator[Damaged]:
    """Without end: each still coded anew is damaged ``each`` times."""
    while True:
        still = chance.choice(stills)
        healthy = coded_anew(still, chance)
        strangers = [one for one in stills if one.calibration != still.calibration]
        kin = [one for one in stills if one.calibration == still.calibration]
        for _ in range(each):
            way = chance.choice(DAMAGES)
            other = chance.choice(kin if way is joined else strangers or kin).data
            spoilt = way(healthy.data, chance, other)
            if spoilt != healthy.data:
                yield Damaged(healthy, way.__name__, spoilt)


# -- readings ------------------------------------------------------------------------------


@cache
def reader_of(calibration: Calibration) -> Reader:
    return Reader(calibration)


@cache
def read_healthy(healthy: Healthy) -> Layout:
    """What the undamaged file shows; raises where it is refused, which is a fault, too."""
    return reader_of(healthy.calibration).read_still(healthy.data, name=healthy.name, afresh=True)


def came_of(one: Damaged) -> Came:
    """What became of it, against the reading of the healthy file."""
    sound = read_healthy(one.healthy)
    try:
        layout = reader_of(one.healthy.calibration).read_still(
            one.data, name=one.healthy.name, afresh=True
        )
    except RestmarkError as refused:
        return Came("refused", refused.detail)
    return compared(sound, layout)


def compared(sound: Layout, layout: Layout) -> Came:
    """Whether a layout says what the sound one says, or says that it may not."""
    said = {_word(each) for each in layout.notices} - {_word(each) for each in sound.notices}
    wide = sorted(code for code, place in said if place is None or code not in OF_ONE_BALL)
    if wide or (layout.obstructed and not sound.obstructed):
        return Came("warned", ", ".join(wide) or "obstructed")
    near = [np.array(place) for _, place in said if place is not None]
    found = [
        (at, how)
        for at, how in _differences(sound, layout)
        if not any(np.hypot(*(at - each)) <= NEAR_MM for each in near)
    ]
    if found:
        return Came("wrong", "; ".join(how for _, how in found))
    return Came("warned" if said else "alike")


def _word(notice) -> tuple[str, tuple[float, float] | None]:
    places = notice.fields.get("places_mm")
    return notice.code, None if not places else tuple(round(each, -2) for each in places[0])


def _differences(sound: Layout, layout: Layout) -> Iterator[tuple[np.ndarray, str]]:
    """Place and words of every ball that is not where, or not what, it was."""
    left = list(layout.balls)
    for ball in sound.balls:
        at = np.array(ball.centre_mm)
        near = [each for each in left if _far_mm(ball, each) <= SAME_MM]
        if not near:
            yield at, f"ball {ball.id} is missing"
            continue
        seen = min(near, key=lambda each: _far_mm(ball, each))
        left.remove(seen)
        far_mm = _far_mm(ball, seen)
        off = np.array(seen.centre_mm) - at
        sigma = float(np.sqrt(off @ np.linalg.solve(np.array(seen.cov_mm2), off)))
        if far_mm > FAR_MM and sigma > FAR_SIGMA:
            yield at, f"ball {ball.id} is {far_mm:.1f} mm and {sigma:.1f} sigma off"
        elif seen.id != ball.id and not (seen.doubtful or ball.doubtful):
            yield at, f"ball {ball.id} is called {seen.id}"
    for ball in left:
        yield np.array(ball.centre_mm), f"ball {ball.id} is invented"


def _far_mm(one: Ball, other: Ball) -> float:
    return float(np.hypot(*(np.array(one.centre_mm) - np.array(other.centre_mm))))
