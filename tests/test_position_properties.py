"""What must hold for every layout: mirror, rotation, larger zones, moved zones, removed balls."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from position_layouts import D, layout, random_case, random_places

from calibration.table import PointMm, Table
from service.position import Intent, Player, Verdict, landing_zone, score_shot
from service.position.shot.hooked import visible_share
from service.position.shot.path import clearances, path_to_pocket
from service.position.verdict.leaving import Left
from service.position.verdict.probability import _Varied, chance_inside
from service.position.zone.membership import belongs
from vision.layout import Ball, Layout

FLOAT_MM = 1e-6
"""Mirroring and turning only change rounding."""
OUTLINE_MM = 0.05
"""Chords of a curve fall elsewhere on the mirrored table."""
CHANCE = 0.005
"""A few of the 4096 varied layouts may change sides by rounding or shifted chords."""
MANY = settings(max_examples=60, deadline=None)
SEEDS = st.integers(0, 10**6)
_LEFT_RIGHT = {"left": "right", "right": "left"}


def _mirrored(name: str | None) -> str | None:
    """Names of side and pocket after the table is mirrored about its long string."""
    if name is None:
        return None
    end, _, hand = name.rpartition("-")
    swapped = _LEFT_RIGHT.get(hand, hand)
    return f"{end}-{swapped}" if end else swapped


def _turned(name: str | None) -> str | None:
    """Names of pockets after the table is turned by half a turn."""
    if name is None:
        return None
    end, hand = name.split("-")
    other_end = {"head": "foot", "foot": "head", "side": "side"}[end]
    return f"{other_end}-{_LEFT_RIGHT[hand]}"


def _moved(there: Layout, table: Table, how: str) -> Layout:
    balls = []
    for ball in there.balls:
        (a, b), (c, d) = ball.cov_mm2
        if how == "mirror":
            place, cov = (ball.x_mm, table.width_mm - ball.y_mm), ((a, -b), (-c, d))
        else:
            place = (table.length_mm - ball.x_mm, table.width_mm - ball.y_mm)
            cov = ball.cov_mm2
        balls.append(replace(ball, x_mm=place[0], y_mm=place[1], cov_mm2=cov))
    return replace(there, balls=tuple(balls))


def _attempt(seed: int) -> tuple[Layout, Layout, Intent, Table, Player]:
    """A random attempt: ball 2 is potted, the cue ball stops somewhere, often near the zone."""
    rng = np.random.default_rng(seed)
    case = random_case(rng)
    places = case.places_mm
    places["2"] = places.get("2", _free_place(rng, case.table, places))
    intent = replace(case.intent, pot="2", pocket="foot-left", next_pocket="side-left")
    scale = float(rng.choice([1, 30, 300]))
    cov = ((0.3 * scale, 0.1 * scale), (0.1 * scale, 0.2 * scale))
    left = {name: place for name, place in places.items() if name != "2"}
    zone = landing_zone(layout(case.table, left), intent, case.table, player=case.player)
    stop = _free_place(rng, case.table, left)
    if zone.wanted_mm is not None and rng.random() < 0.6:
        inside = np.asarray(zone.wanted_mm) + rng.normal(0, 40, size=2)
        if all(math.dist(inside, other) >= D for other in left.values()):
            stop = (float(inside[0]), float(inside[1]))
    start = _free_place(rng, case.table, places)
    before = layout(case.table, {"cue": start} | places, cov_mm2=cov)
    after = layout(case.table, {"cue": stop} | left, cov_mm2=cov)
    return before, after, intent, case.table, case.player


def _free_place(rng: np.random.Generator, table: Table, places: dict[str, PointMm]) -> PointMm:
    while True:
        x, y = rng.uniform((28, 28), np.asarray(table.surface_mm) - 28)
        if all(math.dist((x, y), other) >= D for other in places.values()):
            return (float(x), float(y))


def _same(one: Verdict, other: Verdict, *, mirror: bool) -> None:
    first, second = one.to_dict(), other.to_dict()
    for name in ("hooked", "path_to_pocket", "frozen", "reach", "potted", "scratch", "zone_empty"):
        assert second[name] == first[name], name
    assert second["side"] == (_mirrored(first["side"]) if mirror else first["side"])
    assert second["cut_deg"] == pytest.approx(first["cut_deg"], abs=1e-6)
    assert second["p_in"] == pytest.approx(first["p_in"], abs=CHANCE)
    if abs(first["p_in"] - 0.975) > CHANCE and abs(first["p_in"] - 0.025) > CHANCE:
        assert second["verdict"] == first["verdict"]
    assert second["pot_chance"] == pytest.approx(first["pot_chance"], abs=1e-6)
    _same_left(one.left, other.left, mirror=mirror)
    assert (second["miss_mm"] is None) == (first["miss_mm"] is None)
    if first["miss_mm"] is not None:
        assert second["miss_mm"] == pytest.approx(first["miss_mm"], abs=OUTLINE_MM)


def _same_left(one: Left | None, other: Left | None, *, mirror: bool) -> None:
    """The next shot in full: pockets change their names, every figure stays."""
    assert (one is None) == (other is None)
    if one is None or other is None:
        return
    rename = _mirrored if mirror else _turned
    assert other.pocket == rename(one.pocket)
    assert (other.mouth, other.cueing.by) == (one.mouth, one.cueing.by)
    assert other.visible_share == pytest.approx(one.visible_share, abs=1e-6)
    assert other.fullness == pytest.approx(one.fullness, abs=1e-9)
    assert other.cueing.elevation_deg == pytest.approx(one.cueing.elevation_deg, abs=1e-6)
    renamed = {rename(name): chance for name, chance in one.chance_by_pocket.items()}
    assert other.chance_by_pocket == pytest.approx(renamed, abs=1e-6)
    ways = [sorted((c.leg, round(c.room_mm, 6)) for c in left.clearances) for left in (one, other)]
    assert ways[0] == ways[1]


@MANY
@given(SEEDS)
def test_mirrored_table_gives_the_mirrored_verdict(seed: int) -> None:
    before, after, intent, table, player = _attempt(seed)
    verdict = score_shot(before, after, intent, table, player=player)
    mirrored = replace(
        intent,
        pocket=_mirrored(intent.pocket),
        next_pocket=_mirrored(intent.next_pocket),
        side=_mirrored(intent.side),
    )
    other_hand = replace(player, handedness=_LEFT_RIGHT[player.handedness])
    other = score_shot(
        _moved(before, table, "mirror"),
        _moved(after, table, "mirror"),
        mirrored,
        table,
        player=other_hand,
    )
    _same(verdict, other, mirror=True)
    assert verdict.zone is not None
    assert other.zone is not None
    assert other.zone.area_mm2 == pytest.approx(verdict.zone.area_mm2, rel=1e-4, abs=30)


@MANY
@given(SEEDS)
def test_turned_table_gives_the_turned_verdict(seed: int) -> None:
    before, after, intent, table, player = _attempt(seed)
    verdict = score_shot(before, after, intent, table, player=player)
    turned = replace(intent, pocket=_turned(intent.pocket), next_pocket=_turned(intent.next_pocket))
    other = score_shot(
        _moved(before, table, "turn"), _moved(after, table, "turn"), turned, table, player=player
    )
    _same(verdict, other, mirror=False)


@MANY
@given(st.floats(300, 2200), st.floats(300, 900), st.floats(20, 200), st.floats(0, 2 * math.pi))
def test_mirrored_drawn_zone_gives_the_mirrored_miss(
    x_mm: float, y_mm: float, radius_mm: float, angle_rad: float
) -> None:
    """A circle has one wanted spot, so the arrival line mirrors exactly: across changes sign."""
    table = Table()
    stop = (
        x_mm + 1.4 * radius_mm * math.cos(angle_rad),
        y_mm + 1.4 * radius_mm * math.sin(angle_rad),
    )
    results = []
    for flip in (False, True):
        balls = [(100.0, 635.0), (x_mm, y_mm), stop]
        start, centre, end = ((x, table.width_mm - y) if flip else (x, y) for x, y in balls)
        intent = Intent.from_dict(
            {"zone": {"circle_mm": [*centre, radius_mm]}, "route_mm": [start, centre]}
        )
        results.append(
            score_shot(layout(table, {"cue": start}), layout(table, {"cue": end}), intent, table)
        )
    one, other = results
    assert one.miss_vector_mm is not None
    assert other.miss_vector_mm is not None
    assert other.miss_vector_mm[0] == pytest.approx(one.miss_vector_mm[0], abs=FLOAT_MM)
    assert other.miss_vector_mm[1] == pytest.approx(-one.miss_vector_mm[1], abs=FLOAT_MM)
    assert other.along_mm == pytest.approx(one.along_mm, abs=FLOAT_MM)
    assert other.across_mm == pytest.approx(-(one.across_mm or 0.0), abs=FLOAT_MM)


@MANY
@given(
    st.tuples(st.floats(-200, 200), st.floats(-200, 200)),
    st.tuples(st.floats(-250, 250), st.floats(-250, 250)),
    st.booleans(),
)
def test_moving_drawn_zone_and_stop_together_keeps_the_verdict(
    shift_mm: PointMm, stop_mm: PointMm, circle: bool
) -> None:
    table = Table()
    verdicts = []
    for dx, dy in ((0.0, 0.0), shift_mm):
        x, y = 1270 + dx, 635 + dy
        zone: dict[str, object] = (
            {"circle_mm": [x, y, 120.0]}
            if circle
            else {"polygon_mm": [[x - 100, y - 60], [x + 90, y - 80], [x + 30, y + 110]]}
        )
        stop = {"cue": (x + stop_mm[0], y + stop_mm[1])}
        there = layout(table, stop, cov_mm2=((9.0, 2.0), (2.0, 4.0)))
        verdicts.append(score_shot(there, there, Intent.from_dict({"zone": zone}), table))
    one, other = verdicts
    assert one.verdict == other.verdict
    assert other.p_in == pytest.approx(one.p_in, abs=CHANCE)
    assert other.miss_mm == pytest.approx(one.miss_mm, abs=FLOAT_MM)


@MANY
@given(SEEDS)
def test_larger_zone_never_loses_a_hit(seed: int) -> None:
    """Every limit eased in turn: the probability never falls, the miss never grows."""
    before, after, intent, table, player = _attempt(seed)
    rng = np.random.default_rng(seed)
    low, high = intent.cut_deg
    near, far = intent.distance_mm
    larger = [
        replace(intent, cut_deg=(low * rng.random(), high + (90 - high) * rng.random())),
        replace(intent, distance_mm=(near * rng.random(), far * 1.5)),
        replace(intent, side="either"),
        replace(intent, cushion_mm=intent.cushion_mm * rng.random()),
        replace(intent, reach="any"),
        replace(intent, over_ball="any"),
    ]
    verdict = score_shot(before, after, intent, table, player=player)
    assert verdict.p_in is not None
    for eased in larger:
        other = score_shot(before, after, eased, table, player=player)
        assert other.p_in is not None
        assert other.p_in >= verdict.p_in
        if verdict.verdict == "in":
            assert other.verdict == "in"
        if verdict.miss_mm is not None:
            assert other.miss_mm is not None
            assert other.miss_mm <= verdict.miss_mm + OUTLINE_MM


@MANY
@given(SEEDS)
def test_removing_a_ball_never_closes_a_path(seed: int) -> None:
    """Path, visible share and zone only ever gain when another ball is taken away."""
    rng = np.random.default_rng(seed)
    table = Table()
    places = random_places(rng, table, int(rng.integers(3, 12)))
    cov = ((0.4, 0.0), (0.0, 0.4))
    balls = {name: Ball(id=name, x_mm=x, y_mm=y, cov_mm2=cov) for name, (x, y) in places.items()}
    cue, target = balls.pop("1"), balls.pop("2")
    cue = replace(cue, id="cue")
    pocket = table.pockets[int(rng.integers(6))]
    order = ("blocked", "too close to call", "open")
    others = list(balls.values())
    state = path_to_pocket(clearances(cue, target, pocket, others, table))
    seen = visible_share(cue.centre_mm, target.centre_mm, [b.centre_mm for b in others])
    for gone in others:
        kept = [ball for ball in others if ball is not gone]
        after = path_to_pocket(clearances(cue, target, pocket, kept, table))
        assert order.index(after) >= order.index(state)
        share = visible_share(cue.centre_mm, target.centre_mm, [b.centre_mm for b in kept])
        assert share >= seen - 1e-9


@MANY
@given(SEEDS)
def test_hooked_agrees_with_rolled_cue_balls(seed: int) -> None:
    """The visible share against 4001 directions, each rolled until it touches a ball."""
    rng = np.random.default_rng(seed)
    table = Table()
    places = [complex(*p) for p in random_places(rng, table, int(rng.integers(3, 14))).values()]
    cue, target, *others = places
    half = math.asin(min(1.0, D / abs(target - cue)))
    turns = (np.arange(4001) + 0.5) / 4001 * 2 - 1
    hits = 0
    for turn in turns * half:
        ray = (target - cue) / abs(target - cue) * complex(math.cos(turn), math.sin(turn))
        hits += _rolls(cue, ray, target) <= min(
            (_rolls(cue, ray, ball) for ball in others), default=math.inf
        )
    share = visible_share(
        (cue.real, cue.imag), (target.real, target.imag), [(b.real, b.imag) for b in others]
    )
    assert share == pytest.approx(hits / 4001, abs=(len(others) * 2 + 1) / 4001)


def _rolls(cue: complex, ray: complex, ball: complex) -> float:
    """Way to the touch from the quadratic |cue + s·ray − ball| = D; infinite for a miss."""
    way = ball - cue
    b = way.real * ray.real + way.imag * ray.imag
    under = b * b - (abs(way) ** 2 - D * D)
    if under <= 0 or b <= 0:
        return math.inf
    return max(b - math.sqrt(under), 0.0)


@MANY
@given(SEEDS)
def test_balls_left_out_of_a_probability_change_nothing(seed: int) -> None:
    """With every ball varied, near or far, the share of varied layouts is the same to the last."""
    _, after, intent, table, player = _attempt(seed)
    zone = landing_zone(after, intent, table, player=player, pot_gone=False)
    cue = after.ball("cue")
    assert cue is not None
    if zone.is_empty or zone.leave is None:
        return
    varied = _Varied.of(cue, after.balls)
    others = [varied.places_mm(name) for name in zone.leave.other_names]
    inside = belongs(
        varied.places_mm("cue"),
        zone.leave,
        object_mm=varied.places_mm(zone.leave.ball),
        others_mm=np.stack(others, axis=1) if others else np.zeros((1, 0, 2)),
    )
    assert chance_inside(zone, cue, after.balls) == float(np.mean(inside))


@MANY
@given(SEEDS)
def test_larger_union_never_loses_a_hit(seed: int) -> None:
    """Leaving the pocket open never makes a hit a miss, where the ball can enter the pocket."""
    before, after, intent, table, player = _attempt(seed)
    named = score_shot(before, after, intent, table, player=player)
    anywhere = score_shot(before, after, replace(intent, next_pocket=None), table, player=player)
    if named.left is None or named.left.mouth == "blocked":
        return
    assert named.p_in is not None
    assert anywhere.p_in is not None
    assert anywhere.p_in >= named.p_in
    if named.miss_mm is not None:
        assert anywhere.miss_mm is not None
        assert anywhere.miss_mm <= named.miss_mm + OUTLINE_MM
