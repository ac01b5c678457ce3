"""The pot chance map against single places, mirrored and turned tables, and its drawing."""

from __future__ import annotations

import time
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from position_layouts import layout, random_places

from calibration.table import POCKET_NAMES, Table
from service.drawing.chance_map import band_colours, chance_map_svg
from service.position import Intent, IntentError, Player
from service.position.plan.chance_map import NO_POCKET, chance_map
from service.position.verdict.value import pot_chance
from service.position.zone.membership import leave_of

NINE = Table()
FLOAT = 1e-9


def test_map_holds_the_chances_of_its_cells() -> None:
    """A tenth of the cells of three layouts, one at a time; NaN where no cue ball can lie."""
    rng = np.random.default_rng(61)
    for count in (2, 8, 15):
        places = random_places(rng, NINE, count)
        chart = chance_map(layout(NINE, places), "1", NINE)
        assert chart.chance.shape == (127, 254)
        leave = leave_of(Intent(next="1"), NINE, Player(), places)
        assert leave is not None
        for _ in range(300):
            row, column = int(rng.integers(127)), int(rng.integers(254))
            place = ((column + 0.5) * 10, (row + 0.5) * 10)
            free = 27.5 <= place[0] <= 2512.5 and 27.5 <= place[1] <= 1242.5
            free = free and min(np.hypot(*(np.array(place) - p)) for p in places.values()) >= 57.15
            assert free != np.isnan(chart.chance[row, column])
            said = chart.at(place)
            assert (said is None) != free
            if free:
                assert said == pytest.approx(float(pot_chance(place, leave)), abs=FLOAT)
                assert (chart.pocket[row, column] == NO_POCKET) == (said == 0)


def test_map_of_one_pocket_is_part_of_the_whole() -> None:
    rng = np.random.default_rng(62)
    there = layout(NINE, random_places(rng, NINE, 6))
    whole = chance_map(there, "1", NINE)
    parts = [chance_map(there, "1", NINE, pockets=(name,)) for name in POCKET_NAMES]
    best = np.max(np.stack([part.chance for part in parts]), axis=0)
    np.testing.assert_allclose(whole.chance, best, rtol=0, atol=FLOAT)


@pytest.mark.parametrize("how", ["mirror", "turn"])
def test_moved_table_gives_the_moved_map(how: str) -> None:
    """Mirrored about the long string with the other hand, or turned by half a turn."""
    rng = np.random.default_rng(63)
    for _ in range(5):
        places = random_places(rng, NINE, int(rng.integers(1, 16)))
        hand = {"mirror": "left", "turn": "right"}[how]
        moved = {
            name: (x if how == "mirror" else 2540 - x, 1270 - y) for name, (x, y) in places.items()
        }
        one = chance_map(layout(NINE, places), "1", NINE)
        other = chance_map(layout(NINE, moved), "1", NINE, player=Player(handedness=hand))
        back = other.chance[::-1] if how == "mirror" else other.chance[::-1, ::-1]
        # a cell whose middle lies on a limit may fall on either side of it
        differs = ~np.isclose(one.chance, back, rtol=0, atol=1e-6, equal_nan=True)
        assert differs.mean() < 2e-4


def test_removing_a_ball_never_lowers_a_chance() -> None:
    rng = np.random.default_rng(64)
    places = random_places(rng, NINE, 9)
    full = chance_map(layout(NINE, places), "1", NINE).chance
    for gone in list(places)[1:]:
        fewer = {name: place for name, place in places.items() if name != gone}
        less = chance_map(layout(NINE, fewer), "1", NINE).chance
        known = ~np.isnan(full)
        assert np.all(less[known] >= full[known] - FLOAT), gone


def test_best_place_is_the_greatest() -> None:
    """Ball 1 before side-left: the best place is near behind it, where the chance is all but 1."""
    chart = chance_map(layout(NINE, {"1": (1270, 1100)}), "1", NINE)
    assert chart.best is not None
    assert chart.best[1] == np.nanmax(chart.chance)
    assert chart.best[1] > 0.99
    assert chart.at((1270, 1100)) is None
    assert chart.at((3000, 100)) is None


def test_ball_that_is_not_there_is_refused() -> None:
    with pytest.raises(IntentError, match=r"ball: got '3', which is not on the table; .*\(1\)"):
        chance_map(layout(NINE, {"1": (1270, 1100)}), "3", NINE)


def test_map_is_quick() -> None:
    """15 balls, 9 ft, 10 mm; the bench measures closer."""
    there = layout(NINE, random_places(np.random.default_rng(65), NINE, 15))
    times = []
    for _ in range(3):
        start = time.process_time()
        chance_map(there, "1", NINE)
        times.append(time.process_time() - start)
    assert min(times) <= 0.12


def test_drawing_of_the_map() -> None:
    """A picture of the cells, the balls, a ring at the best place, and words for those who do not
    see it."""
    there = layout(NINE, {"1": (1270, 1100), "cue": (500, 500)})
    chart = chance_map(there, "1", NINE)
    svg = ET.fromstring(chance_map_svg(NINE, there, chart))
    names = {"s": "http://www.w3.org/2000/svg"}
    image = svg.find(".//s:image", names)
    assert image is not None
    assert (image.get("width"), image.get("height")) == ("2540", "1270")
    assert image.get("href", "").startswith("data:image/png;base64,")
    assert svg.find(".//s:g[@class='best']", names) is not None
    assert "Chance of potting ball 1" in "".join(svg.itertext())


def test_colours_are_darker_for_less_and_clear_for_none() -> None:
    colours = band_colours(np.array([[np.nan, 0.0, 0.05, 0.95]]))
    assert colours[0, :, 3].tolist() == [0, 0, 255, 255]
    assert colours[0, 2, :3].sum() < colours[0, 3, :3].sum()
