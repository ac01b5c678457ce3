"""What a JPEG file says of itself before and beside its picture: wholeness, block rows, tables.

A quantisation table tells what each coefficient counts. One that is damaged draws the whole picture
wrongly, and no decoder can notice. Encoders make them smooth, and most scale the example tables of
the standard (ITU-T T.81, annex K) as the reference software does: one that is such a table but for
a few values, or holds a value far from all its neighbours, was not made so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .header import MOST_PARTS

Values = NDArray[np.int64]
_SCAN, _END, _TABLES = 0xDA, 0xD9, 0xDB
_FRAMES = frozenset({*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC})
# in entropy-coded data 0xFF is followed by a stuffed 0, a restart marker or a fill byte
_MARKER_AFTER_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)
_LUMA = """
    16 11 10 16 24 40 51 61  12 12 14 19 26 58 60 55  14 13 16 24 40 57 69 56
    14 17 22 29 51 87 80 62  18 22 37 56 68 109 103 77  24 35 55 64 81 104 113 92
    49 64 78 87 103 121 120 101  72 92 95 98 112 100 103 99
"""
_CHROMA = """
    17 18 24 47 99 99 99 99  18 21 26 66 99 99 99 99  24 26 56 99 99 99 99 99
    47 66 99 99 99 99 99 99
"""
MOST_ODD = 10
"""So many values of a scaled example table may be wrong, and it is still known for one."""
ROUNDED = 1
"""Encoders that scale the examples round them up or down; what such a value does is small, or seen
in the picture (``coefficients``)."""
SWAPPED = 1.3
"""Brightness is kept so much coarser than colour by no encoder; those known reach 1.0."""
RISEN = 12
"""Flatter tables, of the finest qualities, are like an example by chance, too."""
TIMES = 4.0
"""A value so many times above or below all its neighbours stands alone."""
OWN_FIRST = 0.3
"""The first value, of a block's brightness, may differ so much: some encoders choose their own."""


def segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Marker, start and end of the contents of every segment up to the end-of-image marker.

    A scan's coded data are passed over. What is no JPEG any more ends it without that marker.
    """
    at, count = 2, 0
    while at + 2 <= len(data) and data[at] == 0xFF:
        marker = data[at + 1]
        count += 1
        if count > MOST_PARTS:
            return
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == _END:
            yield marker, at + 2, at + 2
            return
        if at + 4 > len(data):
            return
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        yield marker, at + 4, end
        at = end
        if marker == _SCAN:
            found = _MARKER_AFTER_SCAN.search(data, at)
            if found is None:
                return
            at = found.start()


def scans(data: bytes) -> int:
    """How many times a decoder goes over the picture."""
    return sum(marker == _SCAN for marker, _, _ in segments(data))


def is_whole(data: bytes) -> bool:
    """Whether the segments lead through at least one scan to the end-of-image marker."""
    markers = [marker for marker, _, _ in segments(data)]
    return _SCAN in markers and markers[-1] == _END


def block_rows_px(data: bytes) -> int:
    """Height of one row of blocks in picture lines: 8, or more where colour is stored coarser."""
    for marker, at, end in _header(data):
        if marker in _FRAMES and end - at >= 12:
            finest = [data[each] & 15 for each in range(at + 7, min(end, len(data)), 3)]
            return 8 * max(1, *finest, 1)
    return 8


@dataclass(frozen=True, slots=True)
class Coding:
    """What a file's header says of how its picture is coded."""

    tables: tuple[Values, ...]
    """(64,) steps, row by row, of brightness, blueness and redness, or of brightness alone."""
    coarser: tuple[int, int]
    """Pixels across and down that share one colour."""
    by_example: bool
    """Whether all tables are the standard's examples, scaled alike: surely as they were meant."""


def coding(data: bytes) -> Coding | None:
    """How a JPEG of one or three parts is coded; None for any other."""
    known: dict[int, Values] = {}
    used: list[int] = []
    sizes: list[int] = []
    for marker, at, end in _header(data):
        if marker == _TABLES:
            known.update(_tables(data[at:end]))
        elif marker in _FRAMES:
            used = [data[each + 2] for each in range(at + 6, min(end, len(data)) - 2, 3)]
            sizes = [data[each + 1] for each in range(at + 6, min(end, len(data)) - 2, 3)]
    if len(used) not in (1, 3) or not set(used) <= set(known):
        return None
    # the colours of a file whose colour parts differ in size are not worked out
    if len(set(sizes[1:])) > 1 or 0 in (sizes[-1] >> 4, sizes[-1] & 15):
        return None
    across = max(1, (sizes[0] >> 4) // (sizes[-1] >> 4))
    down = max(1, (sizes[0] & 15) // (sizes[-1] & 15))
    tables = tuple(known[each] for each in used)
    return Coding(tables=tables, coarser=(across, down), by_example=_by_example(tables))


def _by_example(tables: tuple[Values, ...]) -> bool:
    """Whether all are examples of one quality: brightness by its own, colours by theirs."""
    examples = _scaled_examples()
    luma, chroma = np.split(examples, 2)
    quality = (luma == tables[0]).all(axis=1)
    return bool(quality.any()) and all(
        bool(((chroma == each).all(axis=1) & quality).any()) for each in tables[1:]
    )


def _header(data: bytes) -> Iterator[tuple[int, int, int]]:
    """The segments up to the first scan."""
    for segment in segments(data):
        if segment[0] == _SCAN:
            return
        yield segment


def odd_tables(data: bytes) -> str:
    """What is wrong with the quantisation tables or with who uses them; "" where nothing is."""
    tables: dict[int, Values] = {}
    used: list[int] = []
    for marker, at, end in _header(data):
        if marker == _TABLES:
            tables.update(_tables(data[at:end]))
        elif marker in _FRAMES:
            used = [data[each + 2] for each in range(at + 6, min(end, len(data)) - 2, 3)]
    for number, table in tables.items():
        if (found := _odd(table)) is not None:
            row, column = divmod(found, 8)
            return (
                f"quantisation table {number} holds {table[found]} in row {row + 1}, column "
                f"{column + 1}, where no encoder puts it"
            )
    if len(used) == 3 and used[1] != used[2] and len(tables) < 3:
        return "its two colour parts use different quantisation tables"
    if len(used) == 3 and set(used) <= set(tables):
        coarsest = _zigzag()[:10]
        luma, chroma = tables[used[0]][coarsest], tables[used[1]][coarsest]
        if float((luma / chroma).mean()) > SWAPPED:
            return "its quantisation tables keep colour finer than brightness"
    return ""


def _tables(content: bytes) -> Iterator[tuple[int, Values]]:
    """Number and (64,) values, row by row, of each table in a segment."""
    at = 0
    while at < len(content):
        wide, number = content[at] >> 4, content[at] & 15
        size = 128 if wide else 64
        raw = content[at + 1 : at + 1 + size]
        if len(raw) < size:
            return
        zigzag = np.frombuffer(raw, ">u2" if wide else np.uint8).astype(np.int64)
        table = np.empty(64, np.int64)
        table[_zigzag()] = zigzag
        yield number, table
        at += 1 + size


def _odd(table: Values) -> int | None:
    """Index of a value that no encoder made; None where all may be right."""
    if (table == 0).any():
        return int(np.argmin(table))
    examples = _scaled_examples()
    scaled = examples[np.argmin((examples != table).sum(axis=1))]
    off = np.abs(scaled - table)
    wrong = np.flatnonzero(off > ROUNDED)
    is_like = (off > 0).sum() <= MOST_ODD and scaled.max() >= RISEN
    if is_like and len(wrong) and not _own_way(table, scaled, wrong):
        return int(wrong[-1])
    square = np.pad(table.reshape(8, 8).astype(float), 1, constant_values=np.nan)
    around = np.stack(
        [square[1 + v : 9 + v, 1 + u : 9 + u] for v in (-1, 0, 1) for u in (-1, 0, 1) if u or v]
    ).reshape(8, 64)
    high = table > TIMES * np.nanmax(around, axis=0) + 2
    low = table * TIMES + 2 < np.nanmin(around, axis=0)
    return int(np.argmax(high | low)) if (high | low).any() else None


def _own_way(table: Values, scaled: Values, wrong: Values) -> bool:
    """Whether an encoder may have meant it: one limit for all values, or a first of its own."""
    if len(wrong) > 1:
        return len(set(table[wrong].tolist())) == 1
    return bool(wrong[0] == 0 and abs(table[0] - scaled[0]) <= OWN_FIRST * scaled[0])


@lru_cache(maxsize=1)
def _zigzag() -> Values:
    """Index, row by row, of each value in the order in which a file holds them."""
    order = sorted(
        ((v, u) for v in range(8) for u in range(8)),
        key=lambda at: (sum(at), at[0] if sum(at) % 2 else at[1]),
    )
    return np.array([8 * v + u for v, u in order])


@lru_cache(maxsize=1)
def _scaled_examples() -> Values:
    """(200, 64): both example tables at each quality from 1 to 100, as reference software does."""
    luma = np.array(_LUMA.split(), np.int64)
    chroma = np.array(_CHROMA.split(), np.int64)
    chroma = np.concatenate([chroma, np.full(64 - len(chroma), 99)])
    quality = np.arange(1, 101)
    percent = np.where(quality < 50, 5000 // quality, 200 - 2 * quality)[:, None]
    scaled = [np.clip((each * percent + 50) // 100, 1, 255) for each in (luma, chroma)]
    return np.concatenate(scaled)
