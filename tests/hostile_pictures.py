"""Picture files without end that no camera sends: random, cut, spoilt, spliced, bombs, odd kinds.

Each comes with the name of how it was made, so that a finding says what it was.
"""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Callable, Iterator
from functools import cache

import cv2
import numpy as np
from PIL import ExifTags, Image

SIDE_PX = (640, 360)
"""Width and height of what is whole in them: what a calibration of such a camera reads."""
STARTS = (
    b"\xff\xd8\xff", b"\xff\xd8\xff\xe0\0\x10JFIF\0", b"\xff\xd8\xff\xe1\0\x20Exif\0\0",
    b"\x89PNG\r\n\x1a\n", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", b"RIFF\xff\xff\0\0WEBPVP8 ",
    b"RIFF\xff\xff\0\0WEBPVP8X", b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"GIF89a", b"BM",
    b"\0\0\0\x18ftypheic\0\0\0\0", b"\0\0\0\x1cftypmif1\0\0\0\0", b"%PDF-1.7\n", b"<svg", b"PK\3\4",
)  # fmt: skip
ENDLESS_BYTES = 20_000_000
"""As much of an endless body as the service takes."""


def _scene(chance: random.Random) -> Image.Image:
    """A green bed with a few balls: something to code."""
    width, height = SIDE_PX
    pixels = np.full((height, width, 3), (60, 130, 70), np.uint8)
    cv2.rectangle(pixels, (20, 20), (width - 20, height - 20), (40, 90, 110), 16)
    for _ in range(8):
        at = (chance.randrange(60, width - 60), chance.randrange(60, height - 60))
        cv2.circle(pixels, at, 9, [chance.randrange(256) for _ in range(3)], -1, cv2.LINE_AA)
    noise = np.random.default_rng(chance.randrange(2**32)).normal(0, 2, pixels.shape)
    return Image.fromarray(np.clip(pixels + noise, 0, 255).astype(np.uint8))


def _saved(image: Image.Image, kind: str, **options: object) -> bytes:
    out = io.BytesIO()
    image.copy().save(out, kind, **options)  # saving leaves a mark on an image
    return out.getvalue()


def turned(image: Image.Image, tag: int, kind: str = "JPEG") -> bytes:
    """With a note on how the camera was held."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = tag
    return _saved(image, kind, exif=exif)


@cache
def whole_ones() -> dict[str, bytes]:
    """A whole file of every kind and way, by its name."""
    chance = random.Random("whole")
    image = _scene(chance)
    grey, deep = image.convert("L"), np.asarray(image, np.uint16) * 257
    more = [_scene(chance) for _ in range(3)]

    def moving(kind: str) -> bytes:
        return _saved(image, kind, save_all=True, append_images=[each.copy() for each in more])

    out = {
        "jpeg": _saved(image, "JPEG", quality=90),
        "jpeg in steps": _saved(image, "JPEG", progressive=True),
        "jpeg with restarts": _saved(image, "JPEG", restart_marker_rows=1),
        "jpeg of greys": _saved(grey, "JPEG"),
        "jpeg of inks": _saved(image.convert("CMYK"), "JPEG"),
        "jpegs in one": moving("MPO"),
        "png": _saved(image, "PNG"),
        "png of 16 bits": cv2.imencode(".png", deep)[1].tobytes(),
        "png of 16 bit greys": cv2.imencode(".png", deep[..., 0])[1].tobytes(),
        "png of a palette": _saved(image.quantize(64), "PNG"),
        "png of one bit": _saved(image.convert("1"), "PNG"),
        "png of greys": _saved(grey, "PNG"),
        "png one sees through": _saved(image.convert("RGBA"), "PNG"),
        "png that moves": moving("PNG"),
        "webp": _saved(image, "WEBP"),
        "webp without loss": _saved(image, "WEBP", lossless=True),
        "webp that moves": moving("WEBP"),
        "tiff": _saved(image, "TIFF"),
        "tiff packed": _saved(image, "TIFF", compression="tiff_lzw"),
        "tiff of 16 bits": cv2.imencode(".tiff", deep)[1].tobytes(),
        "tiff of pages": moving("TIFF"),
        "gif that moves": moving("GIF"),
        "bmp": _saved(image, "BMP"),
        "heic": _heic(image),
    }
    return out | {f"jpeg turned {tag}": turned(image, tag) for tag in range(10)}


def _heic(image: Image.Image) -> bytes:
    import pillow_heif

    out = io.BytesIO()
    pillow_heif.from_pillow(image).save(out, quality=80)
    return out.getvalue()


# -- made wrong ----------------------------------------------------------------------------


def _any(chance: random.Random) -> tuple[str, bytes]:
    return chance.choice(sorted(whole_ones().items()))


def random_bytes(chance: random.Random) -> tuple[str, bytes]:
    return "", chance.randbytes(chance.choice((1, 3, 12, 100, 3000)))


def random_behind_a_start(chance: random.Random) -> tuple[str, bytes]:
    start = chance.choice(STARTS)
    return repr(start[:8]), start + chance.randbytes(chance.choice((0, 1, 12, 100, 3000)))


def untouched(chance: random.Random) -> tuple[str, bytes]:
    return _any(chance)


def truncated(chance: random.Random) -> tuple[str, bytes]:
    name, data = _any(chance)
    head = chance.random() < 0.5
    return name, data[: chance.randrange(min(len(data), 800) if head else len(data))]


def flipped(chance: random.Random) -> tuple[str, bytes]:
    name, data = _any(chance)
    spoilt = bytearray(data)
    head = chance.random() < 0.6
    for _ in range(chance.choice((1, 2, 8, 64))):
        at = chance.randrange(min(len(data), 800) if head else len(data))
        spoilt[at] ^= 1 << chance.randrange(8)
    return name, bytes(spoilt)


def spliced(chance: random.Random) -> tuple[str, bytes]:
    (one, head), (other, tail) = _any(chance), _any(chance)
    at = chance.randrange(min(len(head), 2000) if chance.random() < 0.5 else len(head))
    return f"{one} + {other}", head[:at] + tail[chance.randrange(len(tail)) :]


def numbers_spoilt(chance: random.Random) -> tuple[str, bytes]:
    """Words of two or four bytes in a header become the least, the greatest or a little off."""
    name, data = _any(chance)
    spoilt = bytearray(data)
    for _ in range(chance.choice((1, 1, 3))):
        size = chance.choice((1, 2, 4))
        at = chance.randrange(2, min(len(data), 700) - 4)
        old = int.from_bytes(data[at : at + size], "big")
        top = 256**size
        new = chance.choice((0, 1, top - 1, top // 2, top // 2 - 1, old + 1, old - 1, old * 2))
        spoilt[at : at + size] = (new % top).to_bytes(size, chance.choice(("big", "little")))
    return name, bytes(spoilt)


def chunk(kind: bytes, content: bytes) -> bytes:
    """A PNG chunk with a right checksum."""
    body = kind + content
    return struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body))


def _chunks(data: bytes) -> list[tuple[bytes, bytes]]:
    out, at = [], 8
    while at + 12 <= len(data):
        length, kind = struct.unpack(">I4s", data[at : at + 8])
        out.append((kind, data[at + 8 : at + 8 + length]))
        at += 12 + length
    return out


def png_with_right_sums(chance: random.Random) -> tuple[str, bytes]:
    """A PNG whose chunks are spoilt, doubled, gone or in disorder, each with its right checksum."""
    name = chance.choice([each for each in whole_ones() if each.startswith("png")])
    chunks = _chunks(whole_ones()[name])
    at, act = chance.randrange(len(chunks)), chance.randrange(6)
    kind, content = chunks[at]
    if act == 0:
        del chunks[at]
    elif act == 1:
        chunks.insert(chance.randrange(len(chunks) + 1), chunks[at])
    elif act == 2:
        chance.shuffle(chunks)
    elif act == 3 and content:
        spoilt = bytearray(content)
        for _ in range(chance.choice((1, 2, 8))):
            spoilt[chance.randrange(min(len(spoilt), 64))] = chance.randrange(256)
        chunks[at] = (kind, bytes(spoilt))
    elif act == 4:
        chunks[at] = (kind, content[: chance.randrange(len(content) + 1)])
    else:
        odd = chance.choice((b"zTXt", b"iCCP", b"eXIf", b"tRNS", b"acTL", b"fcTL", b"PLTE"))
        chunks.insert(1, (odd, chance.randbytes(chance.choice((0, 4, 26, 200)))))
    return name, b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*each) for each in chunks)


def jpeg_segments_spoilt(chance: random.Random) -> tuple[str, bytes]:
    """A JPEG's segments doubled, gone, in disorder, or of another kind."""
    name = chance.choice([each for each in whole_ones() if each.startswith("jpeg")])
    data = whole_ones()[name]
    parts, at = [], 2
    while data[at + 1] != 0xDA:
        size = 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        parts.append(bytearray(data[at : at + size]))
        at += size
    one, act = chance.randrange(len(parts)), chance.randrange(5)
    if act == 0:
        del parts[one]
    elif act == 1:
        parts.insert(chance.randrange(len(parts) + 1), parts[one])
    elif act == 2:
        chance.shuffle(parts)
    elif act == 3:
        parts[one][1] = chance.choice((*range(0xC0, 0xD0), 0xDB, 0xDD, 0xDE, 0xE1, 0xFE, 0x01))
    else:
        spoilt = parts[one]
        spoilt[chance.randrange(2, min(len(spoilt), 40))] = chance.randrange(256)
    return name, data[:2] + b"".join(parts) + data[at:]


def note_on_turning_spoilt(chance: random.Random) -> tuple[str, bytes]:
    """An EXIF note with wrong places, counts and circles."""
    data = bytearray(turned(_small(), chance.randrange(10)))
    start = data.index(b"Exif\0\0") + 6
    for _ in range(chance.randint(1, 6)):
        data[chance.randrange(start, start + 34)] = chance.randrange(256)
    return "jpeg turned", bytes(data)


@cache
def _small() -> Image.Image:
    return _scene(random.Random("small"))


# -- bombs ---------------------------------------------------------------------------------


def stated(width: int, height: int, *, depth: int = 8, colour: int = 2) -> bytes:
    """A PNG of a few bytes that says a size and holds nothing."""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    parts = ((b"IHDR", head), (b"IDAT", zlib.compress(b"\0")), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*each) for each in parts)


@cache
def plain_png(width: int, height: int, depth: int, colour: int) -> bytes:
    """A whole PNG of one colour: a few thousandths of its picture."""
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[colour]
    row = b"\0" + bytes((width * depth * channels + 7) // 8)
    packer, packed = zlib.compressobj(9), []
    for _ in range(height):
        packed.append(packer.compress(row))
    packed.append(packer.flush())
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0)
    palette = [(b"PLTE", bytes(3 * 256))] if colour == 3 else []
    parts = [(b"IHDR", head), *palette, (b"IDAT", b"".join(packed)), (b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*each) for each in parts)


@cache
def many_scans(width: int, height: int, scans: int) -> bytes:
    """A JPEG in steps whose last small scan is repeated: each goes over the whole picture."""
    data = _saved(Image.new("RGB", (width, height), (60, 130, 70)), "JPEG", progressive=True)
    last = data.rindex(b"\xff\xda")
    return data[:last] + data[last:-2] * scans + data[-2:]


@cache
def text_bomb() -> bytes:
    """A PNG whose packed note is 200 MB long."""
    parts = _chunks(whole_ones()["png"])
    note = b"note\0\0" + zlib.compress(bytes(200_000_000), 9)
    parts.insert(1, (b"zTXt", note))
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunk(*each) for each in parts)


@cache
def huge_jpeg(width: int, height: int) -> bytes:
    return _saved(Image.new("L", (width, height)), "JPEG", quality=30)


BOMBS: dict[str, Callable[[], bytes]] = {
    "states 30000 x 30000": lambda: stated(30_000, 30_000),
    "states 4 thousand million": lambda: stated(2**32 - 1, 2**32 - 1),
    "states 2^31 x 1": lambda: stated(2**31 - 1, 1),
    "states 640 x 360, holds nothing": lambda: stated(*SIDE_PX),
    "8000 x 8000 of zeros": lambda: plain_png(8000, 8000, 8, 2),
    "8000 x 8000 of 16 bits": lambda: plain_png(8000, 8000, 16, 6),
    "64000 x 1000 of one bit": lambda: plain_png(64_000, 1000, 1, 0),
    "20000 x 20000 of one bit": lambda: plain_png(20_000, 20_000, 1, 3),
    "2000 scans of 640 x 360": lambda: many_scans(*SIDE_PX, 2000),
    "200 scans of 4000 x 4000": lambda: many_scans(4000, 4000, 200),
    "text of 200 MB": text_bomb,
    "jpeg of 7900 x 8100": lambda: huge_jpeg(7900, 8100),
    "jpeg of 60000 x 1000": lambda: huge_jpeg(60_000, 1000),
}


def bomb(chance: random.Random) -> tuple[str, bytes]:
    name = chance.choice(sorted(BOMBS))
    return name, BOMBS[name]()


def nothing(_chance: random.Random) -> tuple[str, bytes]:
    return "", b""


@cache
def _long(way: int) -> bytes:
    jpeg = whole_ones()["jpeg"]
    return (
        bytes(ENDLESS_BYTES),
        b"\xff" * ENDLESS_BYTES,
        jpeg[:-2] + b"\0" * (ENDLESS_BYTES - len(jpeg)),
        (jpeg * (ENDLESS_BYTES // len(jpeg) + 1))[:ENDLESS_BYTES],
        (b"\xff\xd8" + b"\xff\xfe\0\x02" * (ENDLESS_BYTES // 4))[:ENDLESS_BYTES],
        b"\xff\xd8" + b"\xff" * ENDLESS_BYTES,
        b"\x89PNG\r\n\x1a\n" + chunk(b"tEXt", b"a") * (ENDLESS_BYTES // 13),
    )[way]


def endless(chance: random.Random) -> tuple[str, bytes]:
    """As much of a body without end as is taken."""
    way = chance.randrange(7)
    return f"way {way}", _long(way)


COMMON = (
    random_bytes, random_behind_a_start, random_behind_a_start, untouched, truncated, truncated,
    flipped, flipped, flipped, spliced, spliced, numbers_spoilt, numbers_spoilt,
    png_with_right_sums, png_with_right_sums, jpeg_segments_spoilt, jpeg_segments_spoilt,
    note_on_turning_spoilt,
)  # fmt: skip
RARE = (bomb, endless, nothing)
RARE_SHARE = 0.01
"""A bomb costs as much as hundreds of others."""


def hostile(chance: random.Random) -> Iterator[tuple[str, bytes]]:
    """Without end: how it was made, and its bytes. Every bomb comes first, once."""
    for name, make in BOMBS.items():
        yield f"bomb: {name}", make()
    while True:
        ways = RARE if chance.random() < RARE_SHARE else COMMON
        way = chance.choice(ways)
        name, data = way(chance)
        yield f"{way.__name__}: {name}", data
