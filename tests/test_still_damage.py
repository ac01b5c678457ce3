"""Damage inside picture files, sizes that a header states, orientation, and HEIC."""

from __future__ import annotations

import builtins
import io
import os
import struct
import zlib
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, JpegPresets

from calibration.errors import CalibrationError
from calibration.kept.calibration import Calibration
from calibration.watch.drift import DriftWatch
from service.demo.samples import sample_folder
from vision.damage import steps_between_blocks, warned_of
from vision.jpeg_file import block_rows_px, coding, is_whole, odd_tables
from vision.read import Reader
from vision.still import MOST_PIXELS, StillError, decode_still
from vision.truth.file import read_truth

_FINER = (cv2.IMWRITE_JPEG_SAMPLING_FACTOR_422, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444)
SHOTS = Path(sample_folder("practice")) / "shots"
STILL = SHOTS / "shot-01-after.jpg"


@pytest.fixture(scope="module")
def reader() -> Reader:
    truth = read_truth(SHOTS)[STILL.name]
    return Reader(Calibration.exact(truth.camera, truth.table, head=truth.head))


def stated(width: int, height: int) -> bytes:
    """A PNG of a few bytes that states a size and holds nothing."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return struct.pack(">I", len(data)) + body + struct.pack(">I", zlib.crc32(body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(b"\0")) + chunk(b"IEND", b"")


def turned(data: bytes, tag: int, kind: str = "JPEG") -> bytes:
    """The same pixels with another note on how the camera was held."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = tag
    out = io.BytesIO()
    Image.open(io.BytesIO(data)).save(out, kind, quality=95, exif=exif)
    return out.getvalue()


# -- sizes ---------------------------------------------------------------------------------


def test_a_huge_picture_is_refused_before_it_is_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cv2, "imdecode", lambda *_: pytest.fail("it was decoded"))
    with pytest.raises(StillError, match=r"bomb: got 30000x30000 px; allowed: at most 64 million"):
        decode_still(stated(30_000, 30_000), name="bomb")
    with pytest.raises(StillError, match=r"got 30000x30000 px; allowed: 1920x1080 px"):
        decode_still(stated(30_000, 30_000), size_px=(1920, 1080))
    jpeg = bytearray(STILL.read_bytes())
    at = jpeg.index(b"\xff\xc0") + 5
    jpeg[at : at + 4] = struct.pack(">HH", 60_000, 60_000)
    with pytest.raises(StillError, match="got 60000x60000 px"):
        decode_still(bytes(jpeg))
    assert MOST_PIXELS > 8000 * 6000  # what phones take today passes


def test_the_reader_asks_the_size_first(reader: Reader, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cv2, "imdecode", lambda *_: pytest.fail("it was decoded"))
    with pytest.raises(StillError, match="allowed: 1920x1080 px"):
        reader.read_still(stated(4000, 3000))


# -- damage --------------------------------------------------------------------------------


def test_undamaged_stills_pass() -> None:
    for path in sorted(sample_folder("practice").parent.rglob("*.jpg")):
        assert decode_still(path.read_bytes()).shape[2] == 3, path


@pytest.mark.parametrize("quality", [40, 60, 75, 90, 100])
def test_coarse_coding_is_no_damage(quality: int) -> None:
    picture = decode_still(STILL.read_bytes())
    coded = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    decode_still(coded.tobytes())


def test_a_piece_cut_out_is_refused() -> None:
    data = STILL.read_bytes()
    for at in np.linspace(0.1, 0.95, 12):
        start = int(at * len(data))
        with pytest.raises(StillError, match="damaged") as caught:
            decode_still(data[:start] + data[start + 512 :], name="a.jpg")
        assert caught.value.code == "bad-still"


def test_a_flipped_bit_that_tints_the_rest_is_refused() -> None:
    # found by flipping every bit at random: no code breaks, all below is brighter or darker
    data = bytearray((SHOTS / "shot-05-before.jpg").read_bytes())
    clean = decode_still(bytes(data))
    rng = np.random.default_rng(3)
    tinted = 0
    for _ in range(160):
        spoilt = bytearray(data)
        spoilt[int(rng.integers(2000, len(data) - 2))] ^= 1 << int(rng.integers(8))
        picture = cv2.imdecode(np.frombuffer(spoilt, np.uint8), cv2.IMREAD_COLOR)
        if picture is None or picture.shape != clean.shape:
            continue
        off = np.abs(picture.astype(np.int16) - clean).min(axis=2)
        if np.median(off, axis=1)[:-40].max() < 12:  # less tint does not mislead
            continue
        tinted += 1
        with pytest.raises(StillError, match="damaged"):
            decode_still(bytes(spoilt))
    assert tinted > 5


def test_a_step_in_colour_alone_is_seen() -> None:
    # found by flipping bits: half a row stepped above, half below, and only in colour
    picture = decode_still(STILL.read_bytes())
    tinted = cv2.cvtColor(picture, cv2.COLOR_BGR2YCrCb)
    tinted[656:, :, 1] = np.clip(tinted[656:, :, 1].astype(int) - 30, 0, 255)
    tinted[640:656, 1030:, 1] = np.clip(tinted[640:656, 1030:, 1].astype(int) - 30, 0, 255)
    spoilt = cv2.imencode(".jpg", cv2.cvtColor(tinted, cv2.COLOR_YCrCb2BGR))[1].tobytes()
    with pytest.raises(StillError, match="steps between two rows of blocks"):
        decode_still(spoilt)


@pytest.mark.parametrize("name", ["other-04.jpg", "other-06.jpg"])
def test_a_rail_along_a_row_of_blocks_is_no_damage(name: str) -> None:
    # these were called damaged: the picture made smaller, the rail's edge is as sharp as a step
    picture = decode_still((sample_folder("others") / name).read_bytes())
    small = cv2.resize(picture, (1280, 720), interpolation=cv2.INTER_AREA)
    for light in (0.38, 0.93):
        for quality in (20, 50):
            for sampling in (cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420, *_FINER):
                options = [cv2.IMWRITE_JPEG_QUALITY, quality]
                options += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
                dimmed = np.asarray(small * light, np.uint8)
                decode_still(cv2.imencode(".jpg", dimmed, options)[1].tobytes())


def test_a_step_between_blocks_is_seen_and_an_edge_of_a_thing_is_not() -> None:
    plain = np.full((480, 640, 3), 90, np.uint8)
    stepped = plain.copy()
    stepped[160:] += 6
    assert steps_between_blocks(stepped)
    shifted = plain.copy()
    shifted[163:] += 60  # not where blocks meet
    assert not steps_between_blocks(shifted)
    edge = plain.copy()
    edge[160:] += 60
    assert not steps_between_blocks(np.asarray(cv2.GaussianBlur(edge, (0, 0), 1.0), np.uint8))


def test_what_others_write_meanwhile_is_passed_on(capfd: pytest.CaptureFixture[str]) -> None:
    def decode() -> None:
        os.write(2, b"somebody else's words\nCorrupt JPEG data: 3 extraneous bytes\n")

    assert warned_of(decode) == (None, "Corrupt JPEG data: 3 extraneous bytes")
    assert capfd.readouterr().err.strip() == "somebody else's words"
    assert warned_of(lambda: None) == (None, "")


# -- tables of a JPEG's header -------------------------------------------------------------


def _tables_at(data: bytes) -> int:
    """Where the first quantisation table's values begin."""
    return data.index(b"\xff\xdb") + 5


def test_any_flipped_bit_in_the_tables_is_refused_but_small_ones() -> None:
    data = STILL.read_bytes()
    start, passed = _tables_at(data), []
    for place in range(64):
        for bit in range(8):
            spoilt = bytearray(data)
            spoilt[start + place] ^= 1 << bit
            if not odd_tables(bytes(spoilt)):
                passed.append((place, bit))
                assert not coding(bytes(spoilt)).by_example  # the picture is looked at
    # encoders round differently by one, and some choose the first value
    assert {place for place, bit in passed if bit} <= {0}
    assert len([1 for _, bit in passed if bit]) <= 1
    spoilt = bytearray(data)
    spoilt[start + 3] ^= 0x40
    with pytest.raises(StillError, match=r"quantisation table 0 holds .* where no encoder puts it"):
        decode_still(bytes(spoilt))


def test_tables_of_other_encoders_are_not_odd() -> None:
    image = Image.new("RGB", (320, 240), (9, 90, 60))
    ways: list[dict[str, Any]] = [{"quality": quality} for quality in range(1, 101)]
    ways += [{"quality": name} for name in JpegPresets.presets]
    row, column = np.mgrid[:8, :8]
    for least, rise in ((1, 0.3), (2, 0.1), (5, 0.4)):
        own = np.clip(np.round(least * (1 + rise * (row + column) ** 1.3)), 1, 255).astype(int)
        ways.append({"qtables": [own.ravel().tolist(), [99] * 64]})
    with Image.open(STILL) as sample:
        luma = np.array(sample.quantization[0])
    capped = np.minimum(luma, int(np.sort(luma)[-4]))  # one limit for all values
    ways.append({"qtables": [capped.tolist(), capped.tolist()]})
    for way in ways:
        out = io.BytesIO()
        image.save(out, "JPEG", **way)
        assert odd_tables(out.getvalue()) == "", way


def test_colour_parts_that_use_other_tables_than_each_other_are_odd() -> None:
    data = bytearray(STILL.read_bytes())
    at = data.index(b"\xff\xc0")
    assert odd_tables(bytes(data)) == ""
    data[at + 10 + 3 + 2] ^= 1  # the second part's table
    assert "different quantisation tables" in odd_tables(bytes(data))


def test_the_height_of_block_rows_is_read_from_the_header() -> None:
    picture = np.zeros((240, 320, 3), np.uint8)
    for sampling, rows in ((cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420, 16), (_FINER[0], 8)):
        options = [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, sampling]
        assert block_rows_px(cv2.imencode(".jpg", picture, options)[1].tobytes()) == rows
    assert block_rows_px(cv2.imencode(".jpg", picture[..., 0])[1].tobytes()) == 8


@given(data=st.binary(max_size=200), at=st.integers(0, 700))
@settings(max_examples=300, deadline=None, derandomize=True)
def test_headers_of_any_bytes_are_looked_at(data: bytes, at: int) -> None:
    start = STILL.read_bytes()[:700]
    for content in (b"\xff\xd8\xff" + data, start[:at] + data + start[at:], start[:at] + data):
        assert is_whole(content) in (True, False)
        assert block_rows_px(content) >= 8
        assert isinstance(odd_tables(content), str)


# -- orientation ---------------------------------------------------------------------------


def test_orientation_is_applied() -> None:
    data = turned(STILL.read_bytes(), 6)
    assert decode_still(data).shape == (1920, 1080, 3)
    assert decode_still(data, as_stored=True).shape == (1080, 1920, 3)


@pytest.mark.parametrize("tag", [3, 6, 8])
def test_a_camera_that_looks_down_may_note_any_orientation(
    reader: Reader, tag: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = reader.read_still(turned(STILL.read_bytes(), 1))
    watch, seen = DriftWatch.check, []

    def check(self: DriftWatch, picture: Any, **more: Any) -> Any:
        seen.append(picture)
        if tag == 3 and len(seen) == 1:  # an exact calibration has no marks to miss
            raise CalibrationError("moved", code="moved")
        return watch(self, picture, **more)

    monkeypatch.setattr(DriftWatch, "check", check)
    again = reader.read_still(turned(STILL.read_bytes(), tag))
    assert [ball.id for ball in again.balls] == [ball.id for ball in plain.balls]
    places = [np.array([ball.centre_mm for ball in each.balls]) for each in (again, plain)]
    assert np.abs(places[0] - places[1]).max() < 0.05  # mm; a second coding moves edges by less


# -- what whoever took the still says ------------------------------------------------------


def test_a_reading_is_as_settled_as_it_is_said_to_be(reader: Reader) -> None:
    assert reader.read_still(STILL.read_bytes()).settled
    assert not reader.read_still(STILL.read_bytes(), settled=False).settled
    picture = decode_still(STILL.read_bytes())
    assert not reader.read_image(picture, settled=False).settled


# -- HEIC ----------------------------------------------------------------------------------


def test_heic_is_decoded_upright_with_its_colours() -> None:
    pillow_heif = pytest.importorskip("pillow_heif")
    rows = np.zeros((240, 320, 3), np.uint8)
    rows[:120, :160] = (200, 30, 30)  # red, in the picture's upper left quarter
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = 6  # to be turned by a quarter, clockwise
    out = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(rows)).save(out, quality=95, exif=exif.tobytes())
    picture = decode_still(out.getvalue())
    assert picture.shape == (320, 240, 3)
    # BGR; the quarter is now the upper right one
    assert np.abs(picture[40:120, 160:200].mean(axis=(0, 1)) - (30, 30, 200)).max() < 6
    assert picture[200:300, 20:220].max() < 12
    with pytest.raises(StillError, match=r"allowed: 1920x1080"):
        decode_still(out.getvalue(), size_px=(1920, 1080))
    with pytest.raises(StillError, match="damaged"):
        decode_still(out.getvalue()[: len(out.getvalue()) // 2])


def test_heic_without_the_extra_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = builtins.__import__

    def without(name: str, *more: Any) -> Any:
        if name.startswith("pillow_heif"):
            raise ImportError(name)
        return plain(name, *more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(StillError, match=r"pip install 'restmark\[heic\]'"):
        decode_still(b"\0\0\0\x18ftypheic" + b"\0" * 64)


@pytest.mark.parametrize("size_px", [(384, 216), (1280, 720)])
def test_a_noisy_coarsely_coded_still_is_not_damaged(size_px: tuple[int, int]) -> None:
    """Noise and coarse coding step a little at every border of blocks, damage at one."""
    rng = np.random.default_rng(5)
    wide, high = size_px
    for quality in (30, 55, 80):
        for sigma in (10.0, 25.0):
            plain = np.full((high, wide, 3), 60.0) + rng.normal(0, sigma, (high, wide, 3))
            picture = np.clip(cv2.GaussianBlur(plain, (0, 0), 0.8), 0, 255).astype(np.uint8)
            _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])
            assert decode_still(bytes(data)).shape == picture.shape
