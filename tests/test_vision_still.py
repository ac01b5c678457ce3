"""Stills from bytes: whole pictures pass, everything else is refused by name."""

import cv2
import numpy as np
import pytest

from vision.still import MIN_SIDE_PX, StillError, check_size, decode_still


def picture(width: int = 320, height: int = 240) -> np.ndarray:
    rng = np.random.default_rng(5)
    small = rng.integers(0, 255, (12, 16, 3), dtype=np.uint8)
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)


def encoded(kind: str, *options: int) -> bytes:
    return cv2.imencode(kind, picture(), list(options))[1].tobytes()


@pytest.mark.parametrize(
    "options",
    [(), (cv2.IMWRITE_JPEG_PROGRESSIVE, 1), (cv2.IMWRITE_JPEG_RST_INTERVAL, 4)],
    ids=["baseline", "progressive", "restart markers"],
)
def test_whole_jpeg_is_decoded(options: tuple[int, ...]) -> None:
    out = decode_still(encoded(".jpg", *options))
    assert out.shape == (240, 320, 3)
    assert out.dtype == np.uint8


def test_png_is_decoded_exactly() -> None:
    assert np.array_equal(decode_still(encoded(".png")), picture())


def test_bytes_after_the_end_marker_do_no_harm() -> None:
    assert decode_still(encoded(".jpg") + b"\0" * 64).shape == (240, 320, 3)


@pytest.mark.parametrize("kept", [0.3, 0.6, 0.9, 0.999])
@pytest.mark.parametrize("progressive", [0, 1])
def test_truncated_jpeg_is_refused(kept: float, progressive: int) -> None:
    data = encoded(".jpg", cv2.IMWRITE_JPEG_PROGRESSIVE, progressive)
    with pytest.raises(StillError, match=r"shot\.jpg: cut off or damaged .*Copy or take"):
        decode_still(data[: int(kept * len(data))], name="shot.jpg")


def test_jpeg_without_its_last_byte_is_refused() -> None:
    with pytest.raises(StillError, match="cut off or damaged"):
        decode_still(encoded(".jpg")[:-1])


def test_end_marker_inside_a_thumbnail_does_not_count() -> None:
    data = encoded(".jpg")
    thumbnail = b"\xff\xd8\xff\xd9"
    segment = b"\xff\xe1" + (len(thumbnail) + 2).to_bytes(2, "big") + thumbnail
    whole = data[:2] + segment + data[2:]
    assert decode_still(whole).shape == (240, 320, 3)
    with pytest.raises(StillError, match="cut off or damaged"):
        decode_still(whole[: len(whole) // 2])


@pytest.mark.parametrize("kept", [0.2, 0.7, 0.99])
def test_truncated_png_is_refused(kept: float) -> None:
    data = encoded(".png")
    with pytest.raises(StillError, match="cut off or damaged"):
        decode_still(data[: int(kept * len(data))])


def test_png_with_a_flipped_byte_is_refused() -> None:
    data = bytearray(encoded(".png"))
    data[len(data) // 2] ^= 0x10
    with pytest.raises(StillError, match="cut off or damaged"):
        decode_still(bytes(data))


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (b"", r"a\.jpg: empty, 0 bytes; allowed: a JPEG or PNG file"),
        (b"no picture, only words\n", r"a\.jpg: neither JPEG nor PNG"),
        (b"\xff\xd8\xff", r"a\.jpg: cut off or damaged"),
        (b"\xff\xd8\xff\xd9", r"a\.jpg: cut off or damaged"),
        (b"\x89PNG\r\n\x1a\n", r"a\.jpg: cut off or damaged"),
    ],
)
def test_what_is_no_picture_is_refused(data: bytes, text: str) -> None:
    with pytest.raises(StillError, match=text) as caught:
        decode_still(data, name="a.jpg")
    assert caught.value.code == "bad-still"


@pytest.mark.parametrize("kind", [".jpg", ".png"])
def test_one_pixel_is_refused(kind: str) -> None:
    data = cv2.imencode(kind, np.zeros((1, 1, 3), np.uint8))[1].tobytes()
    with pytest.raises(StillError, match=f"got 1x1 px; allowed: at least {MIN_SIDE_PX} px"):
        decode_still(data)


def test_size_other_than_the_calibrations_is_refused() -> None:
    check_size(picture(), (320, 240))
    with pytest.raises(StillError, match=r"b\.png: got 320x240 px; allowed: 1920x1080 px"):
        check_size(picture(), (1920, 1080), name="b.png")
