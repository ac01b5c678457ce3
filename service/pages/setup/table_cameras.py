"""Which of a table's cameras is set up, and which others may be chosen, by a tap each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.pages.frame.strip import setup_address
from service.store import OVERHEAD, Reader

_ORDINALS = ("second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


@dataclass(frozen=True, slots=True, kw_only=True)
class TableCamera:
    """One of a table's cameras, or one that it may get."""

    name: str
    words: str
    state: str
    is_here: bool
    """Whether the page sets up this one."""

    @property
    def address(self) -> str:
        """Where it is set up."""
        return setup_address(self.name)


def camera_words(camera: str) -> str:
    """The camera in a sentence: by its place in the row, or by the name that somebody gave it."""
    if camera == OVERHEAD:
        return "the first camera"
    return f"the {camera} camera" if camera in _ORDINALS else f"camera {camera}"


def table_cameras(reader: Reader, table_id: int, here: str) -> tuple[TableCamera, ...]:
    """Those that are calibrated or watched, the one that is set up, and the next one."""
    held = reader.calibrations_held(table_id)
    watched = (each.camera for each in reader.watches() if each.table_id == table_id)
    begun = list(dict.fromkeys((OVERHEAD, *held, *watched)))
    # one camera after the other: none more is offered beside one that is new itself
    names = (*begun, *_next(begun)) if here in begun else (*begun, here)
    return tuple(
        TableCamera(
            name=name,
            words=_title(name),
            state="calibrated" if name in held else "not calibrated yet",
            is_here=name == here,
        )
        for name in names
    )


def _title(camera: str) -> str:
    if camera == OVERHEAD:
        return "The first"
    return f"The {camera}" if camera in _ORDINALS else camera


def _next(names: Sequence[str]) -> tuple[str, ...]:
    """A name for one camera more; none where there are so many already."""
    free = [name for name in _ORDINALS[len(names) - 1 :] if name not in names]
    return tuple(free[:1])
