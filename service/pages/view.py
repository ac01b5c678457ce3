"""What the page shows, worked out from the store: one value a page, one a part of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from calibration.kept.calibration import Calibration
from calibration.table import NAMED_SURFACES_MM
from service.desk.known_set import KnownSet
from service.desk.scene import Scene
from service.desk.stored import calibration_of
from service.desk.sums import summary_of
from service.desk.verdicts import verdict_of
from service.position import Intent
from service.store import AttemptRecord, IntentRecord, Reader, ReadingRecord
from service.words.balls import target
from service.words.calibration import SCALE_WORDS
from service.words.facts import Fact, facts
from service.words.intents import cut_wanted, intent_words
from service.words.lengths import Lengths, Units
from service.words.plain import NONE, counted
from service.words.rows import AttemptRow as Figures
from service.words.rows import attempt_row
from service.words.summary import summary_facts
from service.words.verdicts import TONES, headline, subline

from .naming import BallRow, NamesView, ball_rows, names_view
from .noting import NoteView, note_view
from .picture import scene_svg
from .weeks import ProgressView, progress_view

ATTEMPTS_SHOWN = 50
TAKE_AGAIN = "Take the still again when the table is clear and the balls lie still."


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step of the round: calibration, still, intent, still."""

    name: str
    state: str
    done: bool
    now: bool = False


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
class AttemptRow:
    """An attempt's row."""

    number: int
    stills: str
    figures: Figures


@dataclass(frozen=True, slots=True, kw_only=True)
class PageView:
    """Everything on the page, as text; the template adds no figures of its own."""

    headline: str
    subline: str = ""
    tone: str = "plain"
    """Colour of the headline: in, out, close or plain."""
    steps: tuple[Step, ...] = ()
    advice: str = ""
    advice_code: str = ""
    """A command or address that goes with the advice."""
    is_calibrated: bool = False
    units: Units = Units.MM
    """What lengths are shown in."""
    unit: str = ""
    """What stands behind a number of that unit."""
    svg: Markup | None = None
    """The top view; made by ``service.drawing``, which escapes all text in it."""
    facts_title: str = ""
    facts: tuple[Fact, ...] = ()
    note: NoteView | None = None
    """What the player may note on the attempt that is shown."""
    warnings: tuple[str, ...] = ()
    """What qualifies the verdict."""
    notes: tuple[str, ...] = ()
    """What qualifies the reading."""
    still: StillView | None = None
    balls: tuple[BallRow, ...] = ()
    names: NamesView | None = None
    """What there is to say of the balls' names."""
    summary: tuple[Fact, ...] = ()
    summary_aside: str = ""
    progress: ProgressView | None = None
    """Sessions over weeks, from the second session on."""
    attempts: tuple[AttemptRow, ...] = ()
    attempts_left_out: int = 0


@dataclass(slots=True)
class _Say:
    """The headline and what goes with it."""

    headline: str
    subline: str = ""
    tone: str = "plain"
    facts_title: str = ""
    facts: tuple[Fact, ...] = ()
    warnings: tuple[str, ...] = ()


def page_view(reader: Reader, known: KnownSet, units: Units = Units.MM) -> PageView:
    """The page as things stand; ``known`` is what is known of the ball set."""
    record = reader.calibration()
    calibration = calibration_of(record) if record else None
    lengths = Lengths.on(calibration.table, units) if calibration else Lengths(units=units)
    reading = reader.latest_reading()
    scene = Scene.of(reader, reading) if reading else None
    said = reader.corrections(reading.id) if reading else ()
    say = _say(calibration, scene, lengths)
    steps, advice, code = _steps(reader, calibration, lengths)
    shown = reader.attempts(limit=ATTEMPTS_SHOWN)
    scores = reader.scores()
    total = len(scores)
    plain = sum(score.in_a_row is None for score in scores)
    return PageView(
        headline=say.headline,
        subline=say.subline,
        tone=say.tone,
        steps=steps,
        advice=advice,
        advice_code=code,
        is_calibrated=calibration is not None,
        units=units,
        unit=lengths.sign,
        svg=Markup(scene_svg(scene, units=units)) if scene else None,
        facts_title=say.facts_title,
        facts=say.facts,
        note=note_view(scene.attempt) if scene and scene.attempt else None,
        warnings=say.warnings,
        notes=scene.reading.layout.warnings if scene else (),
        still=_still(reading) if reading else None,
        balls=ball_rows(scene, said, lengths) if scene else (),
        names=names_view(scene, said, known) if scene else None,
        summary=summary_facts(summary_of(scores), lengths) if plain else (),
        summary_aside=f"of {counted(plain, 'attempt')}",
        progress=progress_view(scores, lengths),
        attempts=tuple(_attempt_row(attempt, lengths) for attempt in shown),
        attempts_left_out=total - len(shown),
    )


# -- headline ------------------------------------------------------------------------------


def _say(calibration: Calibration | None, scene: Scene | None, lengths: Lengths) -> _Say:
    if scene is None:
        if calibration is None:
            return _Say("No calibration yet", "Restmark must first know how the table lies.")
        return _Say("Waiting for the first still", "Table and camera are calibrated.")
    layout = scene.reading.layout
    if scene.attempt is not None:
        verdict = verdict_of(scene.attempt)
        return _Say(
            headline(verdict, lengths),
            subline(verdict, lengths),
            TONES.get(verdict.verdict or "", "plain"),
            f"Attempt {scene.attempt.id}",
            facts(verdict, cue=layout.ball("cue"), lengths=lengths),
            (*verdict.warnings, *_stands_alone(scene)),
        )
    if layout.obstructed:
        say = _Say("Something is over the table", f"Not compared. {TAKE_AGAIN}", "close")
    elif not layout.settled:
        say = _Say("Balls were still moving", f"Not compared. {TAKE_AGAIN}", "close")
    elif scene.reading.comparison is not None:
        say = _Say("Not compared", str(scene.reading.comparison.get("detail", "")), "close")
    elif scene.intent is not None and scene.refusal:
        say = _Say("The intent does not fit the layout", scene.refusal, "close")
    elif scene.intent is not None and scene.zone is not None and scene.zone.is_empty:
        say = _Say("No landing zone here", str(scene.zone.emptied_why or ""), "close")
    elif scene.intent is not None:
        meant = Intent.from_dict(scene.intent.document)
        say = _Say("Play the shot", intent_words(meant, lengths))
    else:
        say = _Say(_count(layout.balls), "No intent is set: this layout is not compared.")
    if scene.intent is not None:
        say.facts_title, say.facts = "The shot", _intent_facts(scene.intent, scene, lengths)
    return say


def _stands_alone(scene: Scene) -> tuple[str, ...]:
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


def _count(balls: tuple[Any, ...]) -> str:
    return f"{counted(len(balls), 'ball') if balls else 'No balls'} on the table"


def _intent_facts(record: IntentRecord, scene: Scene, lengths: Lengths) -> tuple[Fact, ...]:
    intent = Intent.from_dict(record.document)
    side = "" if intent.side == "either" or intent.next is None else intent.side
    facts = [
        Fact(label="Pot", value=target(intent.pot, intent.pocket)),
        Fact(label="Next", value=target(intent.next, intent.next_pocket)),
        Fact(label="Cut wanted", value=cut_wanted(intent)),
        Fact(label="Side wanted", value=side, aside="of the potting line"),
    ]
    if scene.zone is not None and scene.zone.wanted_mm is not None:
        spot = scene.zone.wanted_mm
        facts.append(
            Fact(
                label="Wanted spot",
                value=lengths.place(spot),
                aside=lengths.beside(spot),
            )
        )
    return tuple(fact for fact in facts if fact.value not in ("", NONE))


# -- steps ---------------------------------------------------------------------------------


def _steps(
    reader: Reader, calibration: Calibration | None, lengths: Lengths
) -> tuple[tuple[Step, ...], str, str]:
    """The steps of the round, and what to do at the one that is next."""
    record = reader.calibration()
    before = reader.latest_comparable(record.id) if record else None
    pending = reader.pending_intent()
    meant = Intent.from_dict(pending.document) if pending else None
    states = (
        ("Calibration", _surface(calibration) if calibration else "not set"),
        ("Still before the shot", f"{_count(before.layout.balls)}" if before else "none yet"),
        ("Intent", intent_words(meant, lengths) if meant else "not set"),
        ("Still after the shot", "waiting for it" if pending else "gives the verdict"),
    )
    done = (calibration is not None, before is not None, pending is not None, False)
    now = done.index(False)
    steps = tuple(
        Step(name=name, state=state, done=done[i], now=i == now)
        for i, (name, state) in enumerate(states)
    )
    return steps, *_ADVICE[now]


_ADVICE = (
    (
        "Make table.json from a still of the empty table, then set it with the button on this "
        "page or PUT it to /api/v1/calibration:",
        "restmark calibrate empty.jpg --surface 9ft --out table.json",
    ),
    (
        "Send a still of the clear table, balls at rest: with the button on this page or to",
        "POST /api/v1/stills",
    ),
    (
        "Say what the shot is to do: which ball to pot, which one is next and into which pocket. "
        "Send it to",
        "PUT /api/v1/intent",
    ),
    (
        "Play the shot, step back from the table and send the next still: the verdict appears "
        "here by itself.",
        "",
    ),
)


def _surface(calibration: Calibration) -> str:
    length_mm, width_mm = calibration.table.surface_mm
    named = [name for name, size in NAMED_SURFACES_MM.items() if size == (length_mm, width_mm)]
    size = named[0] if named else f"{length_mm:g} × {width_mm:g} mm"
    return f"{size}, scale settled by {SCALE_WORDS[calibration.scale_source]}"


# -- rows ----------------------------------------------------------------------------------


def _still(reading: ReadingRecord) -> StillView:
    still = reading.still
    return StillView(
        number=still.id,
        name=still.name,
        picture=f"/api/v1/stills/{still.id}/picture",
        at=still.received_at.astimezone().strftime("%H:%M:%S"),
        at_iso=still.received_at.isoformat(),
        took=f"read in {reading.took_ms / 1000:.2f} s" if reading.took_ms else "read beforehand",
    )


def _attempt_row(attempt: AttemptRecord, lengths: Lengths) -> AttemptRow:
    return AttemptRow(
        number=attempt.id,
        stills=f"{attempt.before.still.name} → {attempt.after.still.name}",
        figures=attempt_row(verdict_of(attempt), lengths),
    )
