"""What the set-up page shows before its scripts begin: how things stand, and what may be chosen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from calibration.lengths import INCH_MM
from calibration.solve.known import NAMED_ERROR_MM, TAPE_ERROR_MM
from calibration.table import NAMED_SURFACES_MM, Table
from service.desk.names.known_set import KnownSet
from service.desk.stored import calibration_of, player_now
from service.pages.frame import Shown
from service.pages.practice.naming import unusual_words
from service.store import OVERHEAD, Reader
from service.words.lengths import Lengths, Units

from .cameras import cameras
from .table_cameras import camera_words, table_cameras

_SIZES = {"9ft": "9 foot", "pro8": "8 foot, oversize", "8ft": "8 foot", "7ft": "7 foot"}
_NOT_YET = "not yet"
_HEIGHTS = {
    Units.MM: {"least": "1000", "most": "5000", "usual": "2500", "step": "10"},
    Units.INCHES: {"least": "40", "most": "200", "usual": "100", "step": "0.5"},
}
"""A lens above a table: what can be set without typing, and where that begins."""
_FOLDERS = ("Pictures", "Downloads", "Desktop")
"""Of the home folder of whoever runs the service: a tap where one exists."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of the set-up and how it stands."""

    name: str
    title: str
    state: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """A named playing surface."""

    name: str
    words: str
    measures: str

    @classmethod
    def of(cls, name: str, words: str, sides_mm: tuple[float, float], lengths: Lengths) -> Size:
        """With its sides in words."""
        sides = " × ".join(lengths.number(side) for side in sides_mm)
        return cls(name=name, words=words, measures=f"{sides} {lengths.sign}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way of just reaching a ball."""

    value: str
    words: str
    how: str


WAYS = (
    Way(value="hand back", words="Straight back, by hand", how="Across the table, leaning in."),
    Way(
        value="hand body_side",
        words="Beside your body, by hand",
        how="Along a rail that you stand at.",
    ),
    Way(
        value="hand off_side",
        words="On the other side, by hand",
        how="Along a rail, your body in the way.",
    ),
    Way(value="bridge back", words="Straight back, with the bridge", how="The mechanical bridge."),
)
"""``hand`` or ``bridge``, then the side that the place shows alone."""


def setup_view(reader: Reader, known: KnownSet, shown: Shown, camera: str) -> dict[str, Any]:
    """Everything that the template needs; ``camera`` is the one that is set up."""
    units = Units.INCHES if shown.units is Units.INCHES else Units.MM
    lengths = Lengths(units=units)
    player = player_now(reader, shown.table)
    held = reader.calibration(table_id=shown.table, camera=camera)
    is_first = camera == OVERHEAD
    first = held if is_first else reader.calibration(table_id=shown.table)
    # the table is one: what the first camera was told of its size holds for the others
    of_first = None if is_first or first is None else calibration_of(first).table
    looks = sum(count > 0 for count in known.looks.values())
    of_table = (
        Step(name="balls", title="Balls", state=f"{looks} of 16 known" if looks else _NOT_YET),
        Step(name="reach", title="Reach", state=_NOT_YET if player is None else "set"),
    )
    return {
        "camera": camera_words(camera),
        "is_first": is_first,
        "may_go": "" if is_first or held is None else camera,
        "lacks_first": first is None and not is_first,
        "table_cameras": table_cameras(reader, shown.table, camera),
        "steps": (
            Step(name="picture", title="Picture"),
            Step(name="table", title="Table"),
            Step(
                name="empty",
                title="Calibration",
                state="done" if held else _NOT_YET,
            ),
            Step(name="lens-board", title="Lens", state="if you like"),
            *(of_table if is_first else ()),
        ),
        "sizes": _sizes(lengths) if of_first is None else (_size_of(of_first, lengths),),
        "unit": lengths.sign,
        "named_error": lengths.text(NAMED_ERROR_MM),
        "tape_error": f"{TAPE_ERROR_MM if units is Units.MM else TAPE_ERROR_MM / INCH_MM:.2g}",
        "handedness": "right" if player is None else player.handedness,
        # never guessed: as it was said for the calibration that holds, or not said yet
        "head": calibration_of(held).head if held else "",
        "ways": WAYS,
        "cameras": cameras(),
        "folders": _folders(),
        "is_any_folder": True,
        "height": _HEIGHTS[units],
        "unusual": unusual_words(reader, known, shown.table),
        "waits": reader.pending_intent(shown.table) is not None,
        "rows": (),
        "reading": None,
    }


def _sizes(lengths: Lengths) -> tuple[Size, ...]:
    return tuple(
        Size.of(name, words, NAMED_SURFACES_MM[name], lengths) for name, words in _SIZES.items()
    )


def _size_of(table: Table, lengths: Lengths) -> Size:
    """The one size that a table has; by its name where it was told so."""
    sides_mm = table.surface_mm
    for name, words in _SIZES.items():
        if sides_mm == NAMED_SURFACES_MM[name]:
            return Size.of(name, words, sides_mm, lengths)
    told = "x".join(f"{side:.10g}mm" for side in sides_mm)
    return Size.of(told, "Measured", sides_mm, lengths)


def _folders() -> tuple[tuple[str, str], ...]:
    """Name and path of folders that stills are often saved in."""
    found = [(name, Path.home() / name) for name in _FOLDERS]
    return tuple((name, str(path)) for name, path in found if path.is_dir())
