"""A little of ``hostile_files.py`` in every run of the tests, and that it finds what is wrong."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import islice
from pathlib import Path

import cv2
import hostile_parts as parts
import numpy as np
import pytest
from damaged_stills import Damaged, came_of, coded_anew, compared, read_healthy, shipped, tables_in
from hostile_pictures import BOMBS, hostile, many_scans
from PIL import JpegPresets

from service.cli import main
from vision.coefficients import multiplied
from vision.jpeg_file import coding, scans
from vision.moved_rows import stand_beside
from vision.still import MOST_SCANS, StillError, decode_still

COUNTS = {"pictures": 250, "damaged": 60, "served": 60, "commands": 40}
COSTLY = ("8000 x 8000 of 16 bits", "64000 x 1000 of one bit", "jpeg of 7900 x 8100")
"""Bombs that take seconds; the script sends them."""


@pytest.mark.parametrize("part", sorted(parts.PARTS))
def test_nothing_crashes_and_nothing_lies(
    part: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in COSTLY:
        monkeypatch.delitem(BOMBS, name)
    monkeypatch.setattr(parts, "ENDLESS_SHARE", 0)
    monkeypatch.setattr(parts, "LONG_SHARE", 0)
    monkeypatch.setattr(parts, "MOST_MEMORY_MB", 4000)  # the tests' own process did more before
    findings = parts.Findings(tmp_path)
    parts.PARTS[part](COUNTS[part], 3, findings, [])
    assert findings.told == []


def test_inputs_are_the_same_for_the_same_seed() -> None:
    one, other = (list(islice(hostile(random.Random(5)), 60)) for _ in range(2))
    assert one == other
    assert len({data for _, data in one}) > 40


def test_what_is_elsewhere_missing_or_invented_without_a_word_is_found() -> None:
    still = shipped()[0]
    sound = read_healthy(still)
    assert compared(sound, sound).fate == "alike"
    first, *others = sound.balls
    for balls in ((replace(first, x_mm=first.x_mm + 3.0), *others), tuple(others)):
        assert compared(sound, replace(sound, balls=balls)).fate == "wrong"
    assert compared(replace(sound, balls=tuple(others)), sound).fate == "wrong"
    # a word about a far ball is none about this one
    other = Damaged(still, "as it was", still.data)
    assert came_of(other).fate == "alike"


def test_a_picture_in_endless_steps_is_refused_before_it_is_decoded(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    data = many_scans(640, 360, 2000)
    assert scans(data) > 2000
    monkeypatch.setattr(cv2, "imdecode", lambda *_: pytest.fail("it was decoded"))
    with pytest.raises(StillError, match=rf"scans over the picture; allowed: at most {MOST_SCANS}"):
        decode_still(data)


def test_rows_of_blocks_that_stand_beside_are_seen() -> None:
    picture = decode_still(shipped()[0].data)
    assert not stand_beside(picture, 16)
    for push_px in (8, -16, 64):
        moved = picture.copy()
        moved[640:] = np.roll(moved[640:], push_px, axis=1)
        moved[624:640, 900:] = np.roll(moved[624:640], push_px, axis=1)[:, 900:]
        assert stand_beside(moved, 16), push_px
    # edges that are moved where no blocks meet are things
    moved = picture.copy()
    moved[645:] = np.roll(moved[645:], 8, axis=1)
    assert not stand_beside(moved, 16)


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize("table", [0, 1])
def test_a_wave_that_is_multiplied_is_seen_in_the_picture(table: int, place: int) -> None:
    chance = random.Random(8)
    still = shipped()[0]
    while still.way not in ("own", "preset"):
        still = coded_anew(shipped()[0], chance)
    coded = coding(still.data)
    assert coded is not None
    assert not coded.by_example
    plain = decode_still(still.data)
    assert multiplied(plain, coded.tables, coded.coarser) == ""
    at = tables_in(still.data)[table][0] + place
    for factor in (0.4, 2.5):
        spoilt = bytearray(still.data)
        spoilt[at] = max(1, round(spoilt[at] * factor))
        picture = cv2.imdecode(np.frombuffer(spoilt, np.uint8), cv2.IMREAD_COLOR)
        coded = coding(bytes(spoilt))
        assert coded is not None
        assert multiplied(picture, coded.tables, coded.coarser)
        with pytest.raises(StillError, match="damaged"):
            decode_still(bytes(spoilt))


def test_tables_of_one_example_quality_are_known() -> None:
    assert coding(shipped()[0].data).by_example
    assert len(JpegPresets.presets) > 2


def test_a_file_that_goes_while_a_command_reads_is_told_in_a_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    still = tmp_path / "a.jpg"
    still.write_bytes(b"")

    def fails(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device", str(still))

    monkeypatch.setattr("service.cli.reading.read_bytes", fails)
    assert main(["read", str(still), "--calibration", str(still)]) == 1
    said = capsys.readouterr().err
    assert said.startswith("error: ")
    assert said.rstrip().endswith(".")
