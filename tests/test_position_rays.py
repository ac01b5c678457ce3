"""Zone membership against a rule written apart: 200 layouts, 20,000 places each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from position_layouts import POCKETS, Case, layout, random_case, truly_belong

from service.position import LandingZone, landing_zone
from service.position.shot.window import entry_turns_rad

EDGE_MM = 0.5
"""Outline, rule and the rule written apart may differ this near the edge and nowhere else."""
RULE_MM = 0.1
"""The two rules differ by the written-apart one's steps of half a degree around a player's span."""
LAYOUTS = 200
PLACES = 20_000


def _zone(case: Case) -> LandingZone:
    there = layout(case.table, case.places_mm)
    return landing_zone(there, case.intent, case.table, player=case.player)


def _places(rng: np.random.Generator, case: Case, zone: LandingZone) -> np.ndarray:
    """Half all over the table, half within a few millimetres of the zone's edge."""
    over = rng.uniform((20, 20), np.asarray(case.table.surface_mm) - 20, size=(PLACES, 2))
    if zone.is_empty:
        return over
    edge = shapely.get_coordinates(shapely.segmentize(zone.shape.boundary, 4.0))
    half = PLACES // 2
    over[:half] = edge[rng.integers(len(edge), size=half)] + rng.normal(0, 2, size=(half, 2))
    return over


def _farthest_mm(zone: LandingZone, places: np.ndarray) -> float:
    """How far from the zone's edge the farthest of these places lies."""
    if len(places) == 0:
        return 0.0
    assert not zone.is_empty, "places belong to a zone that is said to be empty"
    return float(shapely.distance(zone.shape.boundary, shapely.points(places)).max())


def test_zone_agrees_with_a_rule_of_its_own() -> None:
    """4,000,000 places: rule and outline differ from the truth only at the edge."""
    rng = np.random.default_rng(20)
    filled = inside = 0
    for _ in range(LAYOUTS):
        case = random_case(rng)
        zone = _zone(case)
        places = _places(rng, case, zone)
        truth = truly_belong(places, case)
        ruled = zone.contains(places)
        assert _farthest_mm(zone, places[ruled != truth]) <= RULE_MM, case
        shapely.prepare(zone.shape)
        outlined = shapely.intersects_xy(zone.shape, places[:, 0], places[:, 1])
        assert _farthest_mm(zone, places[outlined != truth]) <= EDGE_MM, case
        filled += not zone.is_empty
        inside += int(truth.sum())
    assert filled > LAYOUTS / 4, "most random pockets are blocked, but not so many"
    assert inside > 100_000


def test_zone_of_any_pocket_is_the_union() -> None:
    """30 layouts, next pocket left open: in the union where in the zone of a pocket that can be
    entered, and each part labelled with its own."""
    rng = np.random.default_rng(25)
    several = 0
    for _ in range(30):
        case = random_case(rng)
        case = replace(case, intent=replace(case.intent, next_pocket=None))
        zone = _zone(case)
        places = _places(rng, case, zone)[: PLACES // 4]
        truth = np.zeros(len(places), dtype=bool)
        for name in POCKETS:
            target = case.places_mm["1"]
            if entry_turns_rad(target, case.table.pocket(name)) is None:
                continue
            own = truly_belong(places, case, name)
            part = next((part for part in zone.parts if part.pocket == name), None)
            outline = LandingZone(shape=shapely.MultiPolygon()) if part is None else part
            ruled = outline.contains(places)
            assert _farthest_mm(outline, places[ruled != own]) <= RULE_MM, (case, name)
            truth |= own
        several += len(zone.parts) > 1
        assert _farthest_mm(zone, places[zone.contains(places) != truth]) <= EDGE_MM
    assert several >= 10
