"""What the practice page shows, worked out from the store: one value a page, one a part of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from calibration.kept.calibration import Calibration
from service.desk.names.known_set import KnownSet
from service.desk.scene import Scene
from service.desk.stored import calibration_of
from service.desk.verdicts import verdict_of
from service.position import Verdict
from service.store import Reader, ReadingRecord
from service.words.facts import Fact, assumed_words, facts, given_up_words
from service.words.lengths import Lengths
from service.words.plain import counted, percent
from service.words.rows import AttemptRow as Figures
from service.words.rows import attempt_row
from service.words.verdicts import TONES, headline, subline

from ..frame import Shown
from .happened import HappenedView, happened_view
from .laid import laid_words
from .legend import Mark, legend_view
from .naming import BallRow, Doubt, NamesView, ball_rows, doubts, names_view, unusual_words
from .noting import NoteView, note_view
from .pending import Pending, pending_of
from .practising import Practising, practising_of
from .swapped import Swap, swaps
from .table import TableView, table_view

RECENT_SHOWN = 8
TAKE_AGAIN = "Take the still again when the table is clear and the balls lie still."


@dataclass(frozen=True, slots=True, kw_only=True)
class StillView:
    """The newest still and where its picture is."""

    number: int
    name: str
    picture: str
    at: str
    at_iso: str
    took: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Recent:
    """An attempt of before: its number and its figures."""

    number: int
    figures: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What the stop is worth, and on which assumption that rests."""

    chance: str
    into: str
    given_up: str
    assumed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeView:
    """Everything on the page, as text; the template adds no figures of its own."""

    headline: str
    subline: str = ""
    tone: str = "plain"
    """Colour of the headline: in, out, close or plain."""
    stage: str = "setup"
    """What is due: ``setup`` (no calibration), ``still``, ``plan``, ``play`` or ``judged``."""
    table: TableView | None = None
    attempt: int | None = None
    is_struck: bool = False
    pending: Pending | None = None
    cost: Cost | None = None
    laid: str = ""
    """How far off the balls were set up; empty where nobody set them up."""
    legend: tuple[Mark, ...] = ()
    facts: tuple[Fact, ...] = ()
    note: NoteView | None = None
    happened: HappenedView | None = None
    warnings: tuple[str, ...] = ()
    """What qualifies the verdict."""
    notes: tuple[str, ...] = ()
    """What qualifies the reading."""
    still: StillView | None = None
    doubts: tuple[Doubt, ...] = ()
    """Names that a tap may settle."""
    swaps: tuple[Swap, ...] = ()
    """Pairs whose names look exchanged; their doubts are not asked one by one."""
    balls: tuple[BallRow, ...] = ()
    names: NamesView | None = None
    unusual: str = ""
    """That the ball set seems to be none of the known ones, and what to do."""
    unit: str = ""
    recent: tuple[Recent, ...] = ()
    practising: Practising = field(default_factory=Practising)

    @property
    def is_calibrated(self) -> bool:
        """Whether stills can be read."""
        return self.stage != "setup"


@dataclass(slots=True)
class _Say:
    """The headline and what goes with it."""

    headline: str
    subline: str = ""
    tone: str = "plain"
    stage: str = "plan"


def practice_view(reader: Reader, known: KnownSet, shown: Shown) -> PracticeView:
    """The page as things stand; ``known`` is what is known of the ball set."""
    record = reader.calibration(table_id=shown.table)
    calibration = calibration_of(record) if record else None
    lengths = Lengths.on(calibration.table, shown.units) if calibration else _plain(shown)
    reading = reader.latest_shown(shown.table)
    scene = Scene.of(reader, reading) if reading else None
    practising = practising_of(reader, shown.table, lengths)
    pending = pending_of(reader, shown, lengths)
    if pending is not None and pending.at and practising.of:
        pending = replace(pending, place=f"shot {pending.at} of {practising.of}")
    say = _say(calibration, scene, pending, lengths)
    return PracticeView(
        headline=say.headline,
        subline=say.subline,
        tone=say.tone,
        stage=say.stage,
        pending=pending,
        unit=lengths.sign,
        unusual=unusual_words(reader, known, shown.table),
        practising=practising,
        recent=tuple(
            Recent(number=each.id, figures=attempt_row(verdict_of(each), lengths))
            for each in reader.attempts(limit=RECENT_SHOWN, table_id=shown.table)
        ),
        **({} if scene is None else scene_fields(reader, scene, known, pending, shown, lengths)),
    )


def scene_fields(
    reader: Reader,
    scene: Scene,
    known: KnownSet,
    pending: Pending | None,
    shown: Shown,
    lengths: Lengths,
) -> dict[str, Any]:
    """What there is to show of a reading."""
    said = reader.corrections(scene.reading.id)
    attempt = scene.attempt
    verdict = None if attempt is None else verdict_of(attempt)
    swapped = swaps(scene, said)
    paired = {name for swap in swapped for name in swap.balls}
    return {
        "table": table_view(scene, pending, shown, lengths),
        "attempt": None if attempt is None else attempt.id,
        "is_struck": attempt is not None and attempt.struck_at is not None,
        "laid": "" if attempt is None else laid_words(attempt, lengths),
        "legend": legend_view(scene),
        "cost": None if verdict is None else cost_of(verdict),
        "facts": ()
        if verdict is None
        else facts(verdict, cue=scene.reading.layout.ball("cue"), lengths=lengths),
        "note": None if attempt is None else note_view(attempt),
        "happened": happened_view(scene.reading),
        "warnings": () if verdict is None else (*verdict.warnings, *stands_alone(scene)),
        "notes": scene.reading.layout.warnings,
        "still": still_view(scene.reading),
        "doubts": tuple(each for each in doubts(scene) if each.read_as not in paired),
        "swaps": swapped,
        "balls": ball_rows(scene, said, lengths),
        "names": names_view(scene, said, known),
    }


# -- headline ------------------------------------------------------------------------------


def _say(
    calibration: Calibration | None,
    scene: Scene | None,
    pending: Pending | None,
    lengths: Lengths,
) -> _Say:
    if calibration is None:
        lead = "Restmark must first know how the table lies."
        return _Say("No calibration yet", lead, stage="setup")
    if scene is None:
        lead = "Take a still of the table with the balls at rest, nobody leaning over it."
        return _Say("Waiting for the first still", lead, stage="still")
    if scene.attempt is not None:
        verdict = verdict_of(scene.attempt)
        tone = TONES.get(verdict.verdict or "", "plain")
        return _Say(headline(verdict, lengths), subline(verdict, lengths), tone, "judged")
    layout = scene.reading.layout
    stage = "plan" if pending is None else "play"
    if layout.obstructed:
        lead = f"Not compared. {TAKE_AGAIN}"
        return _Say("Something is over the table", lead, "close", stage)
    if not layout.settled:
        return _Say("Balls were still moving", f"Not compared. {TAKE_AGAIN}", "close", stage)
    if scene.reading.comparison is not None and not scene.reading.comparison.get("made"):
        return _Say("Not compared", str(scene.reading.comparison.get("detail", "")), "close", stage)
    if pending is None:
        balls = counted(len(layout.balls), "ball") if layout.balls else "No balls"
        return _Say(f"{balls} on the table", "Plan the shot: tap the ball to pot.")
    if pending.refusal:
        return _Say("The shot does not fit these balls", pending.refusal, "close", stage)
    if pending.waits:
        return _Say("Set the balls up", pending.waits, stage=stage)
    if pending.emptied_why:
        return _Say("No landing zone here", pending.emptied_why, "close", stage)
    return _Say(f"Play {pending.place or 'the shot'}", pending.words, stage=stage)


def stands_alone(scene: Scene) -> tuple[str, ...]:
    """What qualifies a verdict that would not be given so today."""
    if scene.differs is not None:
        return (
            f"This verdict stands from before: worked out again today it would be "
            f"{scene.differs}, and the drawn zone is today's.",
        )
    if not scene.refusal:
        return ()
    return (
        f"This verdict stands from before: with the names as they are now there is none. "
        f"{scene.refusal}",
    )


def cost_of(verdict: Verdict) -> Cost | None:
    """What the stop left and gave up; None where no next ball was named."""
    if verdict.pot_chance is None:
        return None
    given_up, intent = verdict.pot_chance_given_up, verdict.intent
    return Cost(
        chance=percent(verdict.pot_chance),
        into="the next pot" if intent is None or intent.next is None else f"ball {intent.next}",
        given_up="" if given_up is None else given_up_words(given_up),
        assumed=assumed_words(verdict.assumed) if verdict.assumed else "",
    )


def still_view(reading: ReadingRecord) -> StillView:
    """Where the still of that reading is, and when it came."""
    still = reading.still
    return StillView(
        number=still.id,
        name=still.name,
        picture=f"/api/v1/stills/{still.id}/picture",
        at=still.received_at.astimezone().strftime("%H:%M:%S"),
        at_iso=still.received_at.isoformat(),
        took=f"read in {reading.took_ms / 1000:.2f} s" if reading.took_ms else "read beforehand",
    )


def _plain(shown: Shown) -> Lengths:
    return Lengths(units=shown.units)
