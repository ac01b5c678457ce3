"""The pot chance keeps its order: more cut, a longer way, one ball more never make a pot likelier.

Over tables, pockets, balls and players; and the table in the documents is what the code computes.
"""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from position_layouts import POCKETS, SURFACES, D, layout

import service
from calibration.table import Table
from service.position import Intent, Player, score_shot
from service.position.meant.settings import CHANCE_SETTINGS, STARTING
from service.position.plan.chance_map import chance_map
from service.position.plan.route import report_route
from service.position.plan.textbook import MARK, textbook_table
from service.position.verdict.value import open_pockets, pot_chance
from service.position.zone.membership import Leave, leave_of

ROUNDING = 1e-12
MANY = settings(max_examples=150, deadline=None)
FAR = {
    f"{kind}_{side}_mm": 1e5
    for kind in ("hand", "bridge")
    for side in ("back", "body_side", "off_side")
}
"""A player who reaches everything: a mechanical bridge is a cost of its own."""
PLAYERS = st.builds(
    Player,
    aim_spread_deg=st.floats(0.02, 1.0),
    contact_error_mm=st.floats(0.05, 5.0),
    throw_spread_deg=st.floats(0.05, 5.0),
    firm_speed_mm_s=st.floats(1500.0, 8000.0),
    **{name: st.just(value) for name, value in FAR.items()},
)
TABLES = st.sampled_from(SURFACES).map(Table.from_surface)
SHARES = st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
CUTS = st.tuples(st.floats(0.0, 89.9), st.floats(0.0, 89.9))
WAYS = st.tuples(st.floats(1.0, 2500.0), st.floats(1.0, 2500.0))


def _leave(table: Table, pocket: str, share: tuple[float, float], player: Player) -> Leave:
    """One ball anywhere on the bed, frozen ones and balls in the jaws among them."""
    x, y = (27.5 + s * (side - 55) for s, side in zip(share, table.surface_mm, strict=True))
    found = leave_of(Intent(next="1", next_pocket=pocket), table, player, {"1": (x, y)})
    assert found is not None
    return found


def _chances(leave: Leave, shots: list[tuple[float, float]], left: bool) -> list[float]:
    """Chances at (cut in degrees, way in mm) from the ghost ball, on one side of the line."""
    open_ones = open_pockets(leave.object_mm, leave.others_mm, leave.table)
    own = [pocket for pocket in open_ones if pocket.name == leave.pocket]
    assume(own)
    ghost, line = complex(*own[0].ghost_mm), complex(*own[0].line)
    cues = [
        ghost - way * line * np.exp((1j if left else -1j) * math.radians(cut)) for cut, way in shots
    ]
    return [float(c) for c in pot_chance([(cue.real, cue.imag) for cue in cues], leave)]


@MANY
@given(TABLES, st.sampled_from(POCKETS), SHARES, PLAYERS, CUTS, st.floats(1, 2500), st.booleans())
def test_more_cut_never_makes_a_pot_likelier(
    table: Table,
    pocket: str,
    share: tuple[float, float],
    player: Player,
    cuts: tuple[float, float],
    way_mm: float,
    left: bool,
) -> None:
    less, more = sorted(cuts)
    leave = _leave(table, pocket, share, player)
    first, second = _chances(leave, [(less, way_mm), (more, way_mm)], left)
    assert second <= first + ROUNDING


@MANY
@given(TABLES, st.sampled_from(POCKETS), SHARES, PLAYERS, st.floats(0, 89.9), WAYS, st.booleans())
def test_a_longer_way_never_makes_a_pot_likelier(
    table: Table,
    pocket: str,
    share: tuple[float, float],
    player: Player,
    cut: float,
    ways: tuple[float, float],
    left: bool,
) -> None:
    near, far = sorted(ways)
    leave = _leave(table, pocket, share, player)
    first, second = _chances(leave, [(cut, near), (cut, far)], left)
    assert second <= first + ROUNDING


@MANY
@given(TABLES, st.floats(-40, 40), st.floats(0, 89), st.floats(100, 900), PLAYERS)
def test_a_ball_farther_from_the_pocket_is_never_likelier(
    table: Table, turn_deg: float, cut: float, way_mm: float, player: Player
) -> None:
    """On one line to a pocket's aim point, the same cut and way: the window only narrows."""
    aim = table.pocket("foot-left")
    inward = complex(*aim.inward) * np.exp(1j * math.radians(turn_deg))
    chances = []
    for apart in (200.0, 350.0, 500.0, 800.0):
        ball = complex(*aim.aim_mm) - apart * inward
        player_leave = leave_of(
            Intent(next="1", next_pocket="foot-left"), table, player, {"1": (ball.real, ball.imag)}
        )
        assert player_leave is not None
        chances += _chances(player_leave, [(cut, way_mm)], True)
    assert all(b <= a + 1e-9 for a, b in itertools.pairwise(chances))


@MANY
@given(
    TABLES,
    st.sampled_from([*POCKETS, None]),
    st.lists(SHARES, min_size=3, max_size=9),
    PLAYERS,
)
def test_one_ball_more_never_makes_a_pot_likelier(
    table: Table, pocket: str | None, shares: list[tuple[float, float]], player: Player
) -> None:
    """From every place of a grid, in a named pocket and in the best of all."""
    low, high = 27.5, [side - 27.5 for side in table.surface_mm]
    balls = [tuple(low + s * (h - low) for s, h in zip(share, high, strict=True))
             for share in shares]  # fmt: skip
    names = {str(i): (float(x), float(y)) for i, (x, y) in enumerate(balls, start=1)}
    last = names.pop(str(len(balls)))
    x, y = np.meshgrid(np.linspace(30, high[0], 25), np.linspace(30, high[1], 15))
    places = np.stack([x.ravel(), y.ravel()], axis=-1)
    intent = Intent(next="1", next_pocket=pocket)
    fewer = leave_of(intent, table, player, names)
    more = leave_of(intent, table, player, names | {"15": last})
    assert fewer is not None
    assert more is not None
    assert (pot_chance(places, more) <= pot_chance(places, fewer) + ROUNDING).all()


def test_a_thin_cut_near_the_pocket_costs() -> None:
    """Ball 120 from side-left, cue ball 500 away: 30° is a sure pot, and a stop that leaves 84° or
    87.6° gives some of it up."""
    table = Table()
    ghost = complex(1270, 1150 - D)
    chances = []
    for cut in (30.0, 84.0, 87.6):
        cue = ghost - 500j * np.exp(1j * math.radians(cut))
        there = layout(table, {"cue": (cue.real, cue.imag), "1": (1270, 1150)})
        intent = Intent(next="1", next_pocket="side-left", cut_deg=(0, 40))
        verdict = score_shot(there, there, intent, table)
        assert verdict.pot_chance is not None
        assert verdict.pot_chance_given_up is not None
        chances.append((verdict.pot_chance, verdict.pot_chance_given_up))
    (easy, nothing), (thin, some), (thinnest, much) = chances
    assert easy > 0.97
    assert nothing < 0.03
    assert easy > thin > thinnest
    assert some > 0.05
    assert much > 0.2


def test_each_spread_lowers_the_chance() -> None:
    there = {"1": (1270.0, 800.0)}
    cue = complex(1270, 800 - D) - 600j * np.exp(1j * math.radians(75))
    found = []
    for change in (
        {},
        {"aim_spread_deg": 0.2},
        {"contact_error_mm": 2.0},
        {"throw_spread_deg": 3.0},
        {"firm_speed_mm_s": 1500.0},
    ):
        leave = leave_of(
            Intent(next="1", next_pocket="side-left"), Table(), Player(**change), there
        )
        assert leave is not None
        found.append(float(pot_chance((cue.real, cue.imag), leave)))
    assert all(other < found[0] - 0.02 for other in found[1:]), found


def test_what_is_assumed_is_said() -> None:
    """Starting values are assumed; what a file gives or a record bears out is not."""
    table = Table()
    there = layout(table, {"cue": (1270, 300), "1": (1270, 635)})
    intent = Intent(next="1", next_pocket="side-left")
    usual = score_shot(there, there, intent, table).to_dict()["assumed"]
    assert {"aim_spread_deg", "contact_error_mm", "throw_spread_deg"} <= set(usual)
    own = Player(aim_spread_deg=0.2, measured=("contact_error_mm",))
    said = score_shot(there, there, intent, table, player=own).to_dict()["assumed"]
    assert set(usual) - set(said) == {"aim_spread_deg", "contact_error_mm"}
    mapped = chance_map(there, "1", table, player=own, step_mm=100)
    assert set(mapped.assumed) == set(said)
    route = report_route(
        there, Intent.from_dict({"next": "1", "route_mm": [[1270, 300], [1400, 300]]}), table,
        player=Player(speed_spread=0.1),
    )  # fmt: skip
    assert route.to_dict()["assumed"] == ["line_spread_deg"]
    drawn = Intent.from_dict({"zone": {"circle_mm": [1270, 300, 50]}})
    assert score_shot(there, there, drawn, table).to_dict()["assumed"] is None


def test_every_setting_has_unit_range_and_reason() -> None:
    for name, own in STARTING.items():
        assert own.low <= own.value <= own.high, name
        assert own.reason, name
        assert getattr(Player(), name) == own.value
    assert set(CHANCE_SETTINGS) <= set(STARTING)


@pytest.mark.parametrize("part", ["table", "settings"])
def test_the_documents_hold_what_the_code_computes(part: str) -> None:
    page = (Path(service.__file__).parent / "docs" / "pot-chance.md").read_text(encoding="utf-8")
    start, end = (MARK.format(part=part, end=end) for end in ("", " end"))
    printed = page.split(start)[1].split(end)[0].strip()
    assert printed == textbook_table(part)
