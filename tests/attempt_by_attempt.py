"""Statistics as they are defined: attempt by attempt, over verdicts as values.

What ``service.practice.statistics`` works out of columns is held to this, figure by figure. Only
the choice of values is told anew here; figures of chosen values have tests of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from itertools import groupby, pairwise
from typing import Any

import numpy as np

from service.position import Intent, Verdict
from service.practice import Played, ShotKind
from service.practice.columns import shot_of
from service.practice.kinds import CUT_BANDS_DEG, TRAVEL_BANDS_MM
from service.practice.statistics.landing import landing
from service.practice.statistics.long_run import mean_over_sessions, share_over_sessions
from service.practice.statistics.means import mean, mean_distance, mean_share, spread
from service.practice.statistics.plain import plain
from service.practice.statistics.rates import Rate, rate, sets
from service.practice.statistics.trend import rate_trend, trend
from service.practice.statistics.weak_side import weak_side_within
from service.practice.statistics.within import HALF, NINE_IN_TEN, within_of_wanted
from service.practice.ways.tried import Tried

INTENTS = [
    Intent.from_dict(document)
    for document in (
        {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"},
        {"pot": "5", "pocket": "foot-right", "next": "4", "next_pocket": "side-right"},
        {"next": "4", "next_pocket": "side-right"},
        {"zone": {"circle_mm": [900.0, 600.0, 120.0]}},
    )
]
SPINS = ("follow", "stun", "draw")
SIDES = ("none", "left", "right")


def attempts(
    n: int, *, seed: int = 1, a_session: float = 25, sets_too: bool = True
) -> list[Played]:
    """Attempts of every kind: with and without pot, zone, arrival, kind, set and intent."""
    rng = np.random.default_rng(seed)
    at, out, row = datetime(2025, 1, 1, 18, tzinfo=UTC), [], None
    for _ in range(n):
        pause = rng.random() < 1 / a_session
        at += timedelta(minutes=float(rng.uniform(200, 4000) if pause else rng.uniform(0.5, 20)))
        if rng.random() < 0.1:
            row = int(rng.choice([2, 3, 5])) if sets_too and rng.random() < 0.3 else None
        out.append(Played(at=at, verdict=_verdict(rng), kind=_kind(rng), in_a_row=row))
    return out


def summary(
    verdicts: Sequence[Verdict], kinds: Sequence[ShotKind | None] | None = None, refused: int = 0
) -> dict[str, Any]:
    """What ``Summary.to_dict`` gives, but for the tests of kinds against each other."""
    called = [v for v in verdicts if v.verdict is not None and not v.zone_empty]
    zone = _zone(verdicts)
    both = [v for v in verdicts if v.pot_chance is not None and v.pot_chance_given_up is not None]
    given = [v.pot_chance_given_up for v in verdicts if v.pot_chance_given_up is not None]
    away = [v.off_wanted_mm for v in verdicts if v.off_wanted_mm is not None]
    return plain(
        {
            "attempts": len(verdicts) + refused,
            "refused": refused,
            "pots": _pots(verdicts),
            "zone": zone,
            "too_close_to_call": len(called) - zone.n,
            "no_zone": sum(bool(v.zone_empty) for v in verdicts),
            "scratches": sum(v.scratch for v in verdicts),
            "average_miss": mean_distance(_misses(verdicts)),
            "around_wanted": {
                "n": len(away),
                "average": mean_distance(away),
                "root_mean_square_mm": float(np.mean(np.square(away))) ** 0.5 if away else None,
                "half_within": within_of_wanted(away, HALF),
                "nine_in_ten_within": within_of_wanted(away, NINE_IN_TEN),
            },
            "arrivals": _arrivals(verdicts),
            "landing": landing(_offsets(verdicts)),
            "longest_run": _longest(map(_is_success, verdicts)),
            "longest_pot_run": _longest(bool(v.pot_made) and not v.scratch for v in verdicts),
            "pot_chance_given_up": float(np.mean(given)) if given else None,
            "chance_given_up": mean_share(given),
            "chance_left": mean_share([v.pot_chance for v in verdicts if v.pot_chance is not None]),
            "chance_best": mean_share(
                [min(v.pot_chance + v.pot_chance_given_up, 1.0) for v in both]
            ),
            "sets": None,
            "by_kind": [] if kinds is None else _by_kind(verdicts, kinds),
        }
    )


def progress(played: Sequence[Played], *, same_shots: bool = False) -> dict[str, Any]:
    """What ``Progress.to_dict`` gives, but for ``by_kind``'s tests and Holm's correction."""
    sessions = _sessions(sorted(played, key=lambda a: a.at))
    repeats = [[a for a in s if a.in_a_row is None] for s in sessions]
    repeats = [s for s in repeats if s]
    before = sum(map(len, repeats))
    if same_shots and repeats:
        common = set.intersection(*({_shot(a) for a in s} for s in repeats))
        repeats = [[a for a in s if _shot(a) in common] for s in repeats]
        repeats = [s for s in repeats if s]
    verdicts = [[a.verdict for a in s] for s in repeats]
    sums = [summary(each) for each in verdicts]
    everything = [a for s in repeats for a in s]
    zones, pots = [_zone(v) for v in verdicts], [_pots(v) for v in verdicts]
    return plain(
        {
            "attempts": len(everything),
            "different_shots": len({_shot(a) for a in everything}),
            "same_shots": same_shots,
            "shots_vary": len({frozenset(map(_shot, s)) for s in repeats}) > 1,
            "left_out": before - len(everything),
            "sessions": [
                {"number": i, "started_at": s[0].at, "ended_at": s[-1].at, "summary": each}
                for i, (s, each) in enumerate(zip(repeats, sums, strict=True), start=1)
            ],
            "sets": [
                {
                    "started_at": next(a.at for a in s if a.in_a_row == row),
                    "sets": sets([_is_success(a.verdict) for a in s if a.in_a_row == row], row),
                }
                for s in sessions
                for row in dict.fromkeys(a.in_a_row for a in s if a.in_a_row is not None)
            ],
            "zone_trend": rate_trend([r.successes for r in zones], [r.n for r in zones]),
            "pots_trend": rate_trend([r.successes for r in pots], [r.n for r in pots]),
            "trends": [
                {"figure": name, "trend": trend([read(each) for each in sums])}
                for name, read in _TRENDS
            ],
            "long_run": {
                "zone": share_over_sessions([r.successes for r in zones], [r.n for r in zones]),
                "pots": share_over_sessions([r.successes for r in pots], [r.n for r in pots]),
                "average_miss": mean_over_sessions(
                    [_misses(v) for v in verdicts], nonnegative=True
                ),
                "from_wanted": mean_over_sessions(
                    [[x.off_wanted_mm for x in v if x.off_wanted_mm is not None] for v in verdicts],
                    nonnegative=True,
                ),
                "long_short": mean_over_sessions([[a for a, _ in _offsets(v)] for v in verdicts]),
                "left_right": mean_over_sessions([[b for _, b in _offsets(v)] for v in verdicts]),
            },
            "weak_side": weak_side_within([_offsets(v) for v in verdicts]),
            "by_kind": _by_kind([a.verdict for a in everything], [a.kind for a in everything]),
            "sessions_left_out": 0,
        }
    )


def apart(verdicts: Sequence[Verdict]) -> dict[str, Any]:
    """What ``Apart.to_dict`` gives."""
    tried = [Tried.of(v) for v in verdicts]
    asked = [t for t in tried if t.pot is not None and t.position is not None]
    return plain(
        {
            "pot": _told([t.pot for t in tried]),
            "position": _told([t.position for t in tried]),
            "both": _told([bool(t.pot and t.position) for t in asked]),
            "position_when_potted": _told([t.position for t in asked if t.pot]),
            "position_when_missed": _told([t.position for t in asked if not t.pot]),
        }
    )


# -- attempts ------------------------------------------------------------------------------


def _verdict(rng: np.random.Generator) -> Verdict:
    if rng.random() < 0.03:
        return Verdict(scratch=bool(rng.random() < 0.3))
    intent = INTENTS[int(rng.integers(len(INTENTS)))]
    empty, scratch = bool(rng.random() < 0.04), bool(rng.random() < 0.05)
    along, across = float(rng.normal(20, 90)), float(rng.normal(-5, 45))
    stopped = not scratch
    miss = None if empty or scratch else max(float(np.hypot(along, across)) - 80.0, 0.0)
    words = ("in" if miss == 0 else "out", "too close to call")
    known, chances = rng.random() < 0.8, rng.random() < 0.6
    return Verdict(
        verdict=words[rng.random() < 0.06 and not empty],
        intent=intent,
        miss_mm=miss,
        wanted_mm=None if empty else (1000.0, 500.0),
        cue_stop_mm=(1000.0 + along, 500.0 + across) if stopped else None,
        arrival_from=str(rng.choice(["video", "route", "cut"])) if known else None,
        offset_along_mm=along if known and stopped and not empty else None,
        offset_across_mm=across if known and stopped and not empty else None,
        potted=(intent.pot,) if intent.pot is not None and rng.random() < 0.7 else (),
        scratch=scratch,
        zone_empty=empty if rng.random() < 0.9 else None,
        pot_chance=float(rng.random()) if chances else None,
        pot_chance_given_up=max(float(rng.normal(0, 0.2)), 0.0) if rng.random() < 0.6 else None,
    )


def _kind(rng: np.random.Generator) -> ShotKind | None:
    def perhaps(value: Any) -> Any:
        return value if rng.random() < 0.8 else None

    if rng.random() < 0.1:
        return None
    return ShotKind(
        travel_mm=perhaps(float(rng.choice([500.0, 1000.0, rng.uniform(100, 3000)]))),
        cut_deg=perhaps(float(rng.uniform(0, 80))),
        rails=perhaps(int(rng.integers(6))),
        spin=perhaps(str(rng.choice(SPINS))),
        side_spin=perhaps(str(rng.choice(SIDES))),
    )


# -- definitions ---------------------------------------------------------------------------


_TRENDS: tuple[tuple[str, Callable[[dict[str, Any]], float | None]], ...] = (
    ("average miss", lambda s: s["average_miss"]["mean_mm"]),
    ("long or short", lambda s: s["landing"]["long_short"]["mean_mm"]),
    ("left or right", lambda s: s["landing"]["left_right"]["mean_mm"]),
    ("speed spread", lambda s: s["landing"]["speed"]["sigma_mm"]),
    ("line spread", lambda s: s["landing"]["line"]["sigma_mm"]),
    ("half-within distance", lambda s: s["landing"]["half_within_mm"]),
)


def _zone(verdicts: Sequence[Verdict]) -> Rate:
    decided = [v for v in verdicts if v.verdict in ("in", "out") and not v.zone_empty]
    return rate(sum(v.verdict == "in" for v in decided), len(decided))


def _pots(verdicts: Sequence[Verdict]) -> Rate:
    pots = [bool(v.pot_made) and not v.scratch for v in verdicts if v.pot_made is not None]
    return rate(sum(pots), len(pots))


def _longest(hits: Iterable[bool]) -> int:
    return max((len(list(run)) for hit, run in groupby(hits) if hit), default=0)


def _is_success(verdict: Verdict) -> bool:
    return verdict.verdict == "in" and not verdict.scratch and verdict.pot_made is not False


def _misses(verdicts: Sequence[Verdict]) -> list[float]:
    return [v.miss_mm for v in verdicts if v.miss_mm is not None]


def _offsets(verdicts: Sequence[Verdict]) -> list[tuple[float, float]]:
    pairs = [(v.offset_along_mm, v.offset_across_mm) for v in verdicts]
    return [(a, b) for a, b in pairs if a is not None and b is not None]


def _arrivals(verdicts: Sequence[Verdict]) -> dict[str, int]:
    stops = [v for v in verdicts if v.off_wanted_mm is not None]
    split = [v.arrival_from for v in stops if _offsets([v])]
    counts = {source: split.count(source) for source in ("video", "route", "cut")}
    return counts | {"unknown": len(stops) - sum(counts.values())}


def _band(value: float | None, ends: Sequence[float], unit: str) -> str | None:
    if value is None:
        return None
    if value <= ends[0]:
        return f"up to {ends[0]:g}{unit}"
    for low, high in pairwise(ends):
        if value <= high:
            return f"{low:g} to {high:g}{unit}"
    return f"over {ends[-1]:g}{unit}"


_RAILS = ("no rail", "1 rail", "2 rails", "3 rails or more")
_BANDS: tuple[tuple[str, Callable[[ShotKind], str | None]], ...] = (
    ("cue-ball travel", lambda k: _band(k.travel_mm, TRAVEL_BANDS_MM, " mm")),
    ("cut played", lambda k: _band(k.cut_deg, CUT_BANDS_DEG, "°")),
    ("rails", lambda k: None if k.rails is None else _RAILS[min(k.rails, 3)]),
    ("spin", lambda k: k.spin),
    ("side spin", lambda k: "no side" if k.side_spin == "none" else k.side_spin),
)


def _by_kind(verdicts: Sequence[Verdict], kinds: Sequence[ShotKind | None]) -> list[dict[str, Any]]:
    """Groups by their labels, in no order."""
    out = []
    for by, band in _BANDS:
        labels = [None if kind is None else band(kind) for kind in kinds]
        groups = {
            label: _group([v for v, own in zip(verdicts, labels, strict=True) if own == label])
            for label in set(labels) - {None}
        }
        if groups:
            out.append({"by": by, "groups": groups, "not_known": labels.count(None)})
    return out


def _group(verdicts: Sequence[Verdict]) -> dict[str, Any]:
    offsets = _offsets(verdicts)
    along, across = [a for a, _ in offsets], [b for _, b in offsets]
    return {
        "attempts": len(verdicts),
        "zone": _zone(verdicts),
        "average_miss": mean_distance(_misses(verdicts)),
        "long_short": mean(along),
        "left_right": mean(across),
        "speed": spread(along),
        "line": spread(across),
    }


def _told(hits: Sequence[bool | None]) -> Rate:
    told = [hit for hit in hits if hit is not None]
    return rate(sum(told), len(told))


def _shot(attempt: Played) -> str:
    return "" if attempt.verdict.intent is None else shot_of(attempt.verdict.intent)


def _sessions(ordered: Sequence[Played]) -> list[list[Played]]:
    out: list[list[Played]] = []
    for attempt in ordered:
        if not out or attempt.at - out[-1][-1].at > timedelta(hours=3):
            out.append([])
        out[-1].append(attempt)
    return out
