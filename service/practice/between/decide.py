"""From two layouts to a named outcome; what nothing explains is flagged, never guessed.

The order of the questions is the order of certainty: the same table; an earlier layout laid
again; balls that came, which no shot brings; a table without a cue ball to play; a cue ball that
did not move; a cue ball that alone moved; and last a shot against many balls laid elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence

from calibration.table import Table
from service.position import Intent
from vision.layout import Layout

from .case import TOUCHING_MM, Case
from .compare import compare, ordered
from .outcome import Outcome, Repeat
from .pockets import likely_pockets
from .repeats import SET_UP_MM, Earlier
from .seen import Seen
from .travel import clusters

LAID_ELSEWHERE, LAID_ELSEWHERE_FRESH = 3, 5
"""So many groups of balls far apart, all moved and none potted, are a new layout, not a shot; more
are asked for where a shot was due."""
NEARER = 0.75
"""A layout that a shot ended near is set up again where what is off shrinks to less than this."""
_IN_DOUBT = "; without frames a shot that touched nothing looks the same"


def what_happened(
    before: Layout,
    after: Layout,
    table: Table,
    *,
    earlier: Sequence[Earlier] = (),
    fresh: bool = False,
    intent: Intent | None = None,
    seen: Seen | None = None,
    set_up_mm: float = SET_UP_MM,
) -> Outcome:
    """Name what happened between two settled, clear layouts of one table.

    ``earlier``: the layouts of the sequence that may be set up again, without ``before``.
    ``fresh``: ``before`` was laid by hand, or begins the sequence, and no shot was played from it.
    ``intent``: what the player was about to play, if it is known. ``seen``: what frames between
    the two stills showed. ``set_up_mm``: how far off a ball may lie in a layout that counts as set
    up again.

    Two layouts cannot tell a shot that touched nothing from a cue ball put down by hand, nor a few
    balls laid elsewhere from a shot that moved them: the likelier is named and ``doubtful``.
    """
    return named(
        Case(
            change=compare(before, after),
            table=table,
            earlier=earlier,
            fresh=fresh,
            intent=intent,
            seen=seen or Seen(),
            set_up_mm=set_up_mm,
        )
    )


def named(case: Case) -> Outcome:
    """The outcome of one case."""
    for ask in (_nothing, _set_up, _balls_came, _no_cue_ball, _cue_lay_still, _cue_alone, _by_hand):
        found = ask(case)
        if found is not None:
            return found
    return shot(case)


def _nothing(case: Case) -> Outcome | None:
    if case.moved or case.gone or case.come or case.cue not in ("still", "absent"):
        return None
    unseen = [f"{_listed(ordered(case.covered))} hidden by what is over the bed"]
    return case.named("nothing", "; ".join(["the same table still", *unseen[: len(case.covered)]]))


def _set_up(case: Case) -> Outcome | None:
    """An earlier layout laid again; the layout before itself where a shot between was not seen."""
    if case.gone or case.cue == "gone" or (case.seen.played and not case.come):
        return None
    repeat = case.repeat
    if repeat is None or not _laid(case, repeat):
        repeat = case.back_again
    if repeat is None:
        return None
    return case.named(
        "set_up",
        repeat.words(repeat.still),
        *repeat.off_mm,
        repeats=repeat,
    )


def _laid(case: Case, repeat: Repeat) -> bool:
    """Whether a layout like an earlier one was laid by hand, not played or pushed about."""
    if case.come or case.cue in ("come", "absent") or case.seen.by_hand:
        return True
    was = case.was_that(repeat)
    if was is None:
        return True
    # the table lay like that already: laid again only if it lies nearer than a shot had left it
    return not case.fresh and repeat.rms_mm < NEARER * was.rms_mm


def _balls_came(case: Case) -> Outcome | None:
    """No shot brings balls: spotted, a layout laid anew, or nothing that is known."""
    if not case.come:
        return None
    names = _listed(case.come)
    if case.gone:
        return case.named(
            "impossible",
            f"{names} came and {_listed(case.gone)} went: another layout, missing stills, or a "
            "wrong name",
            *ordered((*case.cue_balls, *case.come, *case.gone, *case.moved)),
        )
    if case.moved:
        return case.named(
            "corrected",
            f"{names} put on the table and {_listed(case.moved)} moved by hand",
            *ordered((*case.cue_balls, *case.come, *case.moved)),
            doubtful=case.cue == "moved" and not case.seen.by_hand,
        )
    also = {"gone": ", the cue ball taken up", "still": "", "absent": ""}.get(
        case.cue, ", the cue ball placed"
    )
    return case.named(
        "spotted", f"{names} put back on the table{also}", *ordered((*case.cue_balls, *case.come))
    )


def _no_cue_ball(case: Case) -> Outcome | None:
    """Without a cue ball on the table before, no shot was played."""
    if case.cue not in ("come", "absent"):
        return None
    if case.gone:
        return case.named(
            "impossible",
            f"{_listed(case.gone)} went though no cue ball lay on the table: stills are missing, "
            "or the ball was taken away or not seen",
            *ordered((*case.cue_balls, *case.gone, *case.moved)),
        )
    if case.moved:
        return case.named(
            "corrected",
            f"{_listed(case.moved)} moved by hand while no cue ball lay on the table",
            *ordered((*case.cue_balls, *case.moved)),
        )
    return case.named("placed", "the cue ball put on the table", "cue")


def _cue_lay_still(case: Case) -> Outcome | None:
    """A shot moves the cue ball, unless it lay against the ball that it sent off."""
    if case.cue != "still":
        return None
    if case.seen.played or (
        case.gap_mm(tuple(case.changed_mm)) <= TOUCHING_MM and not case.seen.by_hand
    ):
        return None
    if case.gone:
        return case.named(
            "impossible",
            f"{_listed(case.gone)} went though the cue ball did not move: taken away, or not seen",
            *ordered((*case.gone, *case.moved)),
        )
    return case.named("corrected", f"{_listed(case.moved)} moved by hand", *case.moved)


def _cue_alone(case: Case) -> Outcome | None:
    """Nothing but the cue ball changed its place: by hand, unless a shot like that was meant."""
    if case.changed_mm or case.seen.played:
        return None
    if not case.seen.by_hand and case.needs_no_ball:
        return None
    did = "lifted from the table" if case.cue == "gone" else "lifted and put down by hand"
    sure = case.seen.by_hand
    return case.named(
        "placed", f"the cue ball {did}{'' if sure else _IN_DOUBT}", "cue", doubtful=not sure
    )


def _by_hand(case: Case) -> Outcome | None:
    """Cue ball and object balls changed: laid elsewhere by hand, or what nothing explains."""
    balls = ordered((*case.cue_balls, *case.changed_mm))
    if case.seen.played:
        return None
    if case.seen.by_hand:
        if case.gone:
            return case.named(
                "impossible", f"{_listed(case.gone)} taken from the table by hand", *balls
            )
        return case.named("corrected", f"{_listed(case.moved)} moved by hand", *balls)
    if case.cue in ("moved", "gone") and case.unreached:
        why = f"no shot reaches {_listed(case.unreached)} past the balls that lie still"
        if case.gone:
            return case.named("impossible", why, *balls)
        return case.named("corrected", f"{why}: moved by hand", *balls, doubtful=True)
    if _laid_elsewhere(case):
        return case.named(
            "corrected",
            f"all {case.object_balls} balls lie elsewhere, far apart as they lay: laid by hand",
            *balls,
            doubtful=True,
        )
    return None


def _laid_elsewhere(case: Case) -> bool:
    if case.gone or case.cue == "gone" or len(case.moved) < case.object_balls:
        return False
    least = LAID_ELSEWHERE_FRESH if case.fresh else LAID_ELSEWHERE
    return len(clusters(case.changed_mm)) >= least


def shot(case: Case, *, sure: bool = False) -> Outcome:
    """A shot, with what it potted and moved; ``sure``: somebody said that it was one."""
    down = () if case.may_hide else case.gone
    potted = likely_pockets(case.change, down, case.table, case.intent, case.seen)
    scratch = case.cue == "gone" and not case.may_hide
    lost = () if not case.may_hide else (*(("cue",) if case.cue == "gone" else ()), *case.gone)
    parts = [f"{_listed(down)} potted"] if down else []
    parts += [f"{_listed(lost)} not seen: down, or hidden by what is over the bed"] if lost else []
    parts += [f"{_listed(case.moved)} moved"] if case.moved else []
    parts += ["scratch"] if scratch else []
    # a few balls, all moved, where no shot was due: without frames a hand explains them as well
    doubtful = not (sure or case.fresh or case.gone or scratch or case.seen.played) and (
        0 < case.object_balls == len(case.moved)
    )
    parts += ["without frames balls laid elsewhere look the same"] if doubtful else []
    return case.named(
        "shot",
        "; ".join(parts) or "a shot that touched no ball",
        *ordered((*case.cue_balls, *case.changed_mm)),
        doubtful=doubtful or bool(lost),
        potted=potted,
        scratch=scratch,
        nudged=case.nudged,
    )


def _listed(balls: Sequence[str]) -> str:
    names = list(balls)
    label = "ball" if len(names) == 1 else "balls"
    return f"{label} {', '.join(names)}"
