"""A kept layout: where the balls lie, what it is called, and the shot that goes with it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calibration import strict
from calibration.table import BALL_DIAMETER_MM, BALL_RADIUS_MM, Table
from service.position import Intent
from vision.layout import Layout

from .errors import LayoutError
from .turned import Turned

TITLE_MOST, NOTE_MOST, TAG_MOST, TAGS_MOST = 120, 4000, 40, 20
"""Characters of a title, a note and a tag; tags of a layout."""
_REMEDY = "Correct it."
_SAME_SURFACE_MM = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptLayout:
    """One layout of the library."""

    title: str
    layout: Layout
    note: str = ""
    tags: tuple[str, ...] = ()
    """Each once whatever its capitals, in the order given."""
    intent: Intent | None = None
    """The shot that is played from it."""

    def __post_init__(self) -> None:
        strict.check(self, label="layout", error=LayoutError, remedy=_REMEDY)
        title, tags = " ".join(self.title.split()), tidy_tags(self.tags)
        object.__setattr__(self, "title", title)
        object.__setattr__(self, "tags", tags)
        if not 1 <= len(title) <= TITLE_MOST:
            raise LayoutError(
                f"layout.title: got {strict.shown(self.title)}; allowed: 1 to {TITLE_MOST} "
                "characters. Say what it is called."
            )
        if len(self.note) > NOTE_MOST:
            raise LayoutError(
                f"layout.note: got {len(self.note)} characters; allowed: up to {NOTE_MOST}. "
                "Shorten it."
            )
        if not self.layout.balls:
            raise LayoutError(
                "layout.balls: got none; allowed: a layout with at least one ball. Lay the balls "
                "and record it again.",
                code="empty-layout",
            )

    def copied(self, *, mirror: str | None = None, turn_deg: int = 0) -> KeptLayout:
        """Mirrored and turned as ``Turned.of`` says, the title telling so.

        Raises:
            LayoutError: another mirror or turn.
        """
        way = Turned.of(mirror=mirror, turn_deg=turn_deg)
        copy = self.turned(way)
        said = [f"mirrored {mirror}"] if mirror else []
        said += [f"turned {turn_deg}°"] if turn_deg else []
        if way.is_same or not said:
            return copy
        tail = f" ({', '.join(said)})"
        # the longest title leaves room for what was done to it
        return replace(copy, title=self.title[: TITLE_MOST - len(tail)] + tail)

    def turned(self, way: Turned) -> KeptLayout:
        """The copy, its shot with it."""
        intent = None if self.intent is None else way.intent(self.intent, self.layout.surface_mm)
        return replace(self, layout=way.layout(self.layout), intent=intent)

    def to_dict(self) -> dict[str, Any]:
        """JSON object: the layout's own keys as `read --json` prints them, and those of the entry.

        Whatever reads layouts reads this.
        """
        out: dict[str, Any] = {
            **self.layout.to_dict(),
            "title": self.title,
            "note": self.note,
            "tags": list(self.tags),
        }
        return out if self.intent is None else {**out, "intent": self.intent.to_dict()}

    @classmethod
    def from_dict(
        cls, data: Mapping[str, Any], *, path: str = "layout", title: str = ""
    ) -> KeptLayout:
        """Inverse of ``to_dict``; ``title`` is used where there is none, then the still's name."""
        layout = Layout.from_dict(data, path=path)
        row = strict.record(data, path)
        given = {name: row[name] for name in ("title", "note", "tags") if row.get(name) is not None}
        intent = row.get("intent")
        return strict.build(
            cls,
            {
                "title": title or layout.still or "Layout",
                **given,
                "layout": layout,
                "intent": (
                    None if intent is None else Intent.from_dict(intent, path=f"{path}.intent")
                ),
            },
            path=path,
            label="layout",
            error=LayoutError,
            remedy=_REMEDY,
        )


def tidy_tags(tags: tuple[str, ...]) -> tuple[str, ...]:
    """Tags without spaces around them, each once whatever its capitals.

    Raises:
        LayoutError: a tag is empty or long, or there are too many.
    """
    out: dict[str, str] = {}
    for tag in tags:
        plain = " ".join(tag.split())
        if not 1 <= len(plain) <= TAG_MOST or "," in plain:
            raise LayoutError(
                f"layout.tags: got {strict.shown(tag)}; allowed: 1 to {TAG_MOST} characters "
                f"without a comma. {_REMEDY}"
            )
        out.setdefault(plain.casefold(), plain)
    if len(out) > TAGS_MOST:
        raise LayoutError(
            f"layout.tags: got {len(out)}; allowed: up to {TAGS_MOST}. Leave some out."
        )
    return tuple(out.values())


def table_of(layout: Layout) -> Table:
    """A table of the layout's surface with standard mouths.

    Raises:
        TableError: no table has such a surface.
    """
    length, width = layout.surface_mm
    return Table(length_mm=length, width_mm=width)


def carried_over(layout: Layout, surface_mm: tuple[float, float]) -> Layout:
    """The layout on a table of another size: every ball at the same diamonds.

    Raises:
        LayoutError: balls would overlap or lie in a cushion there (code "other-surface").
    """
    scale = [b / a for a, b in zip(layout.surface_mm, surface_mm, strict=True)]
    if all(
        abs(a - b) <= _SAME_SURFACE_MM for a, b in zip(layout.surface_mm, surface_mm, strict=True)
    ):
        # a hair's breadth of surface moves no ball: millimetres hold
        return replace(layout, surface_mm=surface_mm)
    balls = tuple(
        replace(ball, x_mm=ball.x_mm * scale[0], y_mm=ball.y_mm * scale[1]) for ball in layout.balls
    )
    for i, a in enumerate(balls):
        near = [b.id for b in balls[:i] if _overlap(a.centre_mm, b.centre_mm)]
        if near or _in_cushion(a.centre_mm, surface_mm):
            why = (
                f"balls {near[0]} and {a.id} overlap" if near else f"ball {a.id} lies in a cushion"
            )
            raise LayoutError(
                f"layout.surface_mm: got {layout.surface_mm[0]:g}x{layout.surface_mm[1]:g} on a "
                f"table of {surface_mm[0]:g}x{surface_mm[1]:g} mm, where {why} at the same "
                "diamonds; allowed: a layout with more room. Lay it anew on this table.",
                code="other-surface",
            )
    return replace(layout, balls=balls, surface_mm=surface_mm, hidden_mm=(), notices=())


def _overlap(a: tuple[float, float], b: tuple[float, float]) -> bool:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 < (BALL_DIAMETER_MM - 0.5) ** 2


def _in_cushion(place: tuple[float, float], surface_mm: tuple[float, float]) -> bool:
    """Only what a scale can cause: a ball that lay on the bed is pushed into a nose."""
    edge = min(*place, surface_mm[0] - place[0], surface_mm[1] - place[1])
    return 0 < edge < BALL_RADIUS_MM - 2.0
