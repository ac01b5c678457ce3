"""The balls of the page with what a person may say of their names, and what was said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from calibration.kept.calibration import Calibration
from service.desk.names.known_set import KnownSet
from service.desk.names.said import said_names, spoken_of
from service.desk.names.unusual import unusual_at
from service.desk.scene import Scene
from service.store import CorrectionRecord, Reader
from service.words.balls import ball_name, error_95_mm
from service.words.lengths import Lengths, diamonds
from service.words.plain import percent
from vision.layout import BALL_IDS, Ball, Layout

LOOK_RADII = 2.0
"""Half width of the picture of a ball, in its radii: its surroundings help to know it again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BallRow:
    """A ball's row: place, 95 % error, diamonds, what its name is worth, and how to ask for it."""

    name: str
    x: str
    y: str
    error: str
    diamonds: str
    standing: str
    """``sure``, ``by hand``, or what else it may be."""
    is_doubtful: bool
    pick: str
    """What choosing it does, for who cannot see it."""
    data: dict[str, Any]
    """What the page's script needs to ask for the name and to send it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamesView:
    """The names of the still on the page: their standing, what was said, what the set knows."""

    still: int
    path: str
    """Where names go."""
    picture: str
    picture_size_px: tuple[int, int]
    standing: str
    is_doubtful: bool
    said: tuple[str, ...]
    kept: str
    is_learned: bool
    """Whether the set counts what was said."""
    take_back: str
    """Where the last of what was said is taken back; empty where nothing was."""
    known: str
    is_known: bool
    teach: str
    """Why the set cannot be taught from this still; empty where it can."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubt:
    """A doubtful name with the names it may be, each a tap away."""

    read_as: str
    where_mm: tuple[float, float]
    offers: tuple[tuple[str, str], ...]
    """Name and share, likeliest first."""
    path: str
    """Where the name goes."""
    look: list[float]
    """Square of the still that shows the ball."""


OFFERS = 3
"""Names offered for a doubtful ball; all others are in the list of balls."""


def doubts(scene: Scene) -> tuple[Doubt, ...]:
    """The doubtful names of the scene's reading."""
    reading = scene.reading
    return tuple(
        Doubt(
            read_as=ball.id,
            where_mm=ball.centre_mm,
            offers=tuple(
                (name, percent(share))
                for name, share in ((ball.id, ball.confidence), *ball.runners_up)[:OFFERS]
            ),
            path=f"/api/v1/readings/{reading.id}/names",
            look=ball_look(ball, scene.calibration),
        )
        for ball in reading.layout.balls
        if ball.doubtful
    )


def unusual_words(reader: Reader, known: KnownSet, table: int) -> str:
    """What is said of a set that seems to be none of the known ones; empty where it does not."""
    found = unusual_at(reader, known, table)
    return "" if found is None else found.words


def ball_rows(
    scene: Scene, said: Sequence[CorrectionRecord], lengths: Lengths
) -> tuple[BallRow, ...]:
    """A row a ball."""
    by_hand = {id(ball) for ball in spoken_of(scene.reading.layout, said)}
    return tuple(
        _ball_row(ball, scene.calibration, lengths, by_hand=id(ball) in by_hand)
        for ball in scene.reading.layout.balls
    )


def names_view(scene: Scene, said: Sequence[CorrectionRecord], known: KnownSet) -> NamesView:
    """Everything about the names of that scene's reading."""
    reading = scene.reading
    layout = reading.layout
    path = f"/api/v1/readings/{reading.id}/names"
    why_not = known.why_not(reading.id) if said else None
    return NamesView(
        still=reading.still.id,
        path=path,
        picture=f"/api/v1/stills/{reading.still.id}/picture",
        picture_size_px=scene.calibration.camera.image_size_px,
        standing=_standing(layout),
        is_doubtful=any(ball.doubtful for ball in layout.balls),
        said=_said(layout, said),
        kept="" if not said else _kept(layout, said, why_not),
        is_learned=why_not is None,
        take_back=f"{path}/{said[-1].id}" if said else "",
        known=_known(known),
        is_known=known.taught is not None,
        teach=_why_not_teach(layout),
    )


# -- rows ----------------------------------------------------------------------------------


def _ball_row(ball: Ball, calibration: Calibration, lengths: Lengths, *, by_hand: bool) -> BallRow:
    others = " or ".join(name for name, _ in ball.runners_up)
    doubt = f"in doubt{f': {others}?' if others else ''}"
    aside = f", {doubt}" if ball.doubtful else ""
    x, y = lengths.coordinates(ball.centre_mm)
    return BallRow(
        name=ball.id,
        x=x,
        y=y,
        error=lengths.number(error_95_mm(ball), fine=True),
        diamonds=diamonds(calibration.table.surface_mm, ball.centre_mm),
        standing=doubt if ball.doubtful else ("by hand" if by_hand else "sure"),
        is_doubtful=ball.doubtful,
        pick=f"{ball_name(ball.id)}{aside}: say which ball it is",
        data={
            "id": ball.id,
            "x_mm": ball.x_mm,
            "y_mm": ball.y_mm,
            "where": lengths.place(ball.centre_mm),
            "confidence": ball.confidence,
            "doubtful": ball.doubtful,
            "runners_up": [list(runner) for runner in ball.runners_up],
            "look": ball_look(ball, calibration),
        },
    )


def ball_look(ball: Ball, calibration: Calibration) -> list[float]:
    """Square of the still that shows the ball: left, top, side, in a picture's own pixels."""
    # a pixel's middle is half a pixel from the edge that drawings count from
    outline = calibration.camera.ball_outline(ball.centre_mm, samples=16) + 0.5
    low, high = outline.min(axis=0), outline.max(axis=0)
    side = LOOK_RADII * float((high - low).max())
    left, top = (low + high) / 2 - side / 2
    return [round(float(value), 1) for value in (left, top, side)]


# -- words ---------------------------------------------------------------------------------


def _standing(layout: Layout) -> str:
    doubtful = [ball for ball in layout.balls if ball.doubtful]
    if not layout.balls:
        return "There is no ball to name on this still."
    if not doubtful:
        return "No name is in doubt. Where one is wrong all the same, choose the ball and say so."
    names = ", ".join(_with_others(ball) for ball in doubtful)
    count = "One name is" if len(doubtful) == 1 else f"{len(doubtful)} names are"
    return f"{count} in doubt: {names}. Choose the ball and say which it is."


def _with_others(ball: Ball) -> str:
    others = " or ".join(name for name, _ in ball.runners_up)
    return f"{ball.id} ({others}?)" if others else ball.id


def _said(layout: Layout, said: Sequence[CorrectionRecord]) -> tuple[str, ...]:
    """What stands by hand: names put right, names confirmed, names left open."""
    stands = said_names(layout, said)
    changed = [f"{now} (read as {was})" for now, was in stands.changed]
    parts = (
        ("Put right", changed),
        ("Confirmed", stands.confirmed),
        ("Left in doubt", stands.left_open),
    )
    return tuple(f"{what} by hand: {', '.join(names)}." for what, names in parts if names)


def _kept(layout: Layout, said: Sequence[CorrectionRecord], why_not: str | None) -> str:
    if why_not is None:
        # of a set of its own colours only what was said is learned
        of_its_own = bool(said[0].layout_before.unlike)
        sure = 0 if of_its_own else sum(not ball.doubtful for ball in layout.balls)
        by_hand = sum(not ball.doubtful for ball in spoken_of(layout, said))
        others = (
            ", and by the other sure names of this still: where one is wrong, put it right too"
            if sure > by_hand
            else ""
        )
        return f"Kept: later stills of this set are named by it{others}."
    return f"Kept for this still, but the set learned nothing from it. {why_not}"


def _known(known: KnownSet) -> str:
    """How much of the set is known, from what, and what is missing."""
    refused = f"The set given at the start is not used. {known.given_refused}"
    lead = refused + " " if known.given_refused else ""
    if known.taught is None:
        return (
            f"{lead}Nothing is known of this very set yet: names come from how balls look in "
            "general."
        )
    seen = known.taught.ids
    sources = []
    if known.given_at is not None and not known.given_refused:
        sources.append("the set given at the start")
    if known.learned_from:
        count = len(known.learned_from)
        sources.append(f"{count} still{'' if count == 1 else 's'} named by hand")
    missing = [name for name in BALL_IDS if name not in seen]
    rest = f" Not yet: {', '.join(missing)}." if missing else ""
    once = [name for name in seen if known.looks[name] == 1 and name != "cue" and int(name) > 8]
    hint = " Stripes differ from side to side: another still makes them surer." if once else ""
    return (
        f"{lead}{len(seen)} of {len(BALL_IDS)} balls of this set are known by their look, from "
        f"{' and '.join(sources)}.{rest}{hint}"
    )


def _why_not_teach(layout: Layout) -> str:
    if not layout.settled or layout.obstructed:
        return "The set can be taught from a still of the clear table, balls at rest."
    return "" if layout.balls else "The set can be taught from a still with balls."
