"""What may be asked before a shot: the zone of an intent that is not set, and maps of the bed."""

import time
from statistics import median

import cv2
import numpy as np
import pytest
from api_kit import BEFORE, CALIBRATION, INTENT, after, assert_problem, layout, still

from service.position import Intent, Player, landing_zone
from service.position.plan.chance_map import chance_map
from service.position.shot.cut import ghost_ball_mm
from service.position.shot.hooked import hooked
from service.position.shot.reach import reach

MOST_ZONE_MS = 100
"""From the tap to the zone; the question alone must leave room for the drawing."""
ZONES_TIMED = 20


@pytest.fixture
def ready(client):
    """A service that has read one still."""
    client.give(still(), "before.jpg")
    return client


def test_a_zone_is_told_without_being_set(ready):
    told = ready.post("/zone", json={"intent": INTENT}).json()
    zone = landing_zone(layout(), Intent.from_dict(INTENT), CALIBRATION.table)
    assert told["zone"] == zone.to_dict() | {"wanted_mm": list(zone.wanted_mm)}
    assert told["reading_id"] == 1
    assert told["words"].startswith("Pot 3 in the foot left, leave 4 for the side right")
    low, high = told["cut_deg"]
    assert 5 - 0.01 <= low < high <= 60 + 0.01  # degrees: the outline's chords
    near, far = told["distance_mm"]
    assert 150 - 0.05 <= near < far <= 1200 + 0.05  # mm, likewise
    assert_problem(ready.get("/intent"), 404, "no-intent")


def test_an_empty_zone_says_what_empties_it(ready):
    told = ready.post("/zone", json={"intent": INTENT | {"distance_mm": [150, 150]}}).json()
    assert told["zone"]["empty"] is True
    assert told["zone"]["emptied_by"] == "distance_mm"
    assert (told["cut_deg"], told["distance_mm"]) == (None, None)


def test_a_zone_on_an_earlier_layout(ready):
    ready.give(still(after(), shade=130), "after.jpg")
    assert_problem(ready.post("/zone", json={"intent": INTENT}), 422, "bad-intent", text="pot")
    told = ready.post("/zone", json={"intent": INTENT, "reading": 1}).json()
    assert told["reading_id"] == 1
    assert not told["zone"]["empty"]


def test_what_cannot_be_asked_is_refused_in_words(client):
    no_layout = client.post("/zone", json={"intent": INTENT})
    assert_problem(no_layout, 409, "no-layout", text="Post that still first")
    client.give(still(), "before.jpg")
    assert_problem(client.post("/zone", json={"intent": {"pot": "3"}}), 422, "bad-intent")
    assert_problem(client.post("/zone", json={"intents": INTENT}), 422, "invalid-request")
    unknown = client.post("/zone", json={"intent": INTENT, "reading": 99})
    assert_problem(unknown, 404, "not-found")
    for path in ("chances", "reach", "hooked"):
        asked = {"ball": "5", "pocket": "side-left"}
        assert_problem(client.get(f"/{path}", params=asked), 422, "bad-intent", text="'5'")
        asked = {"ball": "cue", "pocket": "side-left"}
        assert_problem(client.get(f"/{path}", params=asked), 422, "invalid-request")


def test_chances_are_the_maps_own(ready):
    told = ready.get("/chances", params={"ball": "4", "pocket": "side-right"}).json()
    made = chance_map(layout(), "4", CALIBRATION.table, pockets=["side-right"], step_mm=20.0)
    cells = np.array(told["chance"], dtype=float)
    np.testing.assert_allclose(cells, made.chance, rtol=0, atol=5e-5)  # told to four digits
    assert told["best_mm"] == list(made.best[0])
    assert told["assumed"]


def test_a_ball_that_will_be_gone_hides_nothing(ready):
    asked = {"ball": "4", "step_mm": 40}
    there = np.array(ready.get("/hooked", params=asked).json()["answers"], dtype=object)
    gone = ready.get("/hooked", params=asked | {"without": "9"}).json()["answers"]
    assert (np.array(gone, dtype=object) == "yes").sum() < (there == "yes").sum()


@pytest.mark.parametrize("cell", [(5, 40), (20, 10), (29, 60), (12, 30)])
def test_cells_answer_as_the_rules_do(ready, cell):
    row, column = cell
    place = ((column + 0.5) * 40, (row + 0.5) * 40)
    asked = {"ball": "4", "pocket": "side-right", "step_mm": 40}
    table, ball = CALIBRATION.table, BEFORE["4"]
    reaches = ready.get("/reach", params=asked).json()["answers"]
    hides = ready.get("/hooked", params={"ball": "4", "step_mm": 40}).json()["answers"]
    ghost_mm = ghost_ball_mm(ball, table.pocket("side-right").aim_mm)
    assert reaches[row][column] == reach(place, ghost_mm, table, Player())
    others = [BEFORE["3"], BEFORE["9"]]
    assert hides[row][column] == hooked(place, ball, others)


def test_maps_come_as_pictures_of_the_bed(ready):
    cells = (64, 127)
    for path, more in (("chances", {}), ("hooked", {}), ("reach", {"pocket": "side-right"})):
        answer = ready.get(f"/{path}.png", params={"ball": "4"} | more)
        assert answer.headers["content-type"] == "image/png"
        picture = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_UNCHANGED)
        assert picture.shape[2] == 4
        assert picture.shape[0] / picture.shape[1] == cells[0] / cells[1]


def test_a_picture_has_y_up(ready):
    """Behind ball 9 as seen from ball 4 lies up and to the head: there it is hidden."""
    answer = ready.get("/hooked.png", params={"ball": "4"})
    picture = cv2.imdecode(np.frombuffer(answer.content, np.uint8), cv2.IMREAD_UNCHANGED)
    hidden = picture[..., 3] > 0
    upper, lower = np.array_split(hidden, 2)
    assert upper[:, : upper.shape[1] // 4].sum() > 0
    assert lower[:, : lower.shape[1] // 4].sum() == 0


def test_a_zone_is_told_while_a_finger_waits(ready):
    took = []
    for k in range(ZONES_TIMED):
        intent = INTENT | {"cut_deg": [5 + k * 0.1, 60]}  # a new zone each time
        started = time.perf_counter()
        assert ready.post("/zone", json={"intent": intent}).status_code == 200
        took.append(1000 * (time.perf_counter() - started))
    assert median(took) < MOST_ZONE_MS
