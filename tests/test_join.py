"""Several cameras over one table: places, names, blind parts, and a camera that was moved.

Views are simulated from true places (``vision.truth.simulated_pair``); what comes of rendered
pairs is tested in ``test_join_stills.py``.
"""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from shapely import Polygon, union_all

from calibration.errors import CalibrationError
from calibration.notices import Notice
from calibration.table import Table
from vision.join.errors import JoinError
from vision.join.together import join_views
from vision.join.view import View
from vision.layout import Ball, Layout
from vision.truth.file import TruthBall
from vision.truth.measure import Matched, match_layout, summary
from vision.truth.simulated_pair import Simulated, balls_of, knocked, seen_by, set_up

TABLE = Table()
ENDS = {"a": 0.2, "b": 0.8}
MOMENTS = 60
Places = dict[str, tuple[float, float]]


def truth_of(balls: Places) -> list[TruthBall]:
    return [TruthBall(id=name, x_mm=x, y_mm=y) for name, (x, y) in balls.items()]


def views_of(
    rng: np.random.Generator, cameras: dict[str, Simulated], balls: Places, **sure: float
) -> list[View]:
    return [seen_by(rng, name, of, balls, **sure) for name, of in cameras.items()]


def share(layout: Layout) -> float:
    """Share of the bed that is said to be hidden."""
    whole = union_all([Polygon(corners).buffer(0) for corners in layout.hidden_mm])
    return float(whole.area / (TABLE.length_mm * TABLE.width_mm))


def codes(layout: Layout) -> list[str]:
    return [notice.code for notice in layout.notices]


def rms_mm(matches: list[Matched]) -> float:
    return float(np.sqrt(np.mean([p.distance_mm**2 for m in matches for p in m.pairs])))


@pytest.fixture(scope="module")
def told() -> dict[str, list[Matched]]:
    """Sixty moments, each with calibrations of its own, by each camera and joined."""
    rng = np.random.default_rng(7)
    out: dict[str, list[Matched]] = {"a": [], "b": [], "joined": []}
    for _ in range(MOMENTS):
        balls = balls_of(rng, TABLE, 9)
        views = views_of(rng, set_up(rng, TABLE, ENDS), balls)
        joined = join_views(views)
        assert not {"cameras-apart", "camera-moved", "places-differ"} & set(codes(joined))
        for name, layout in (("a", views[0].layout), ("b", views[1].layout), ("joined", joined)):
            out[name].append(match_layout(layout, truth_of(balls)))
    return out


def test_places_are_better_by_root_two_where_both_see(told: dict[str, list[Matched]]) -> None:
    single = np.hypot(rms_mm(told["a"]), rms_mm(told["b"])) / np.sqrt(2)
    assert rms_mm(told["joined"]) < single / np.sqrt(2)
    figures = summary(told["joined"])
    assert (figures.missed, figures.invented) == (0, 0)


def test_joined_errors_are_what_they_are_said_to_be(told: dict[str, list[Matched]]) -> None:
    assert 0.92 <= summary(told["joined"]).coverage_95 <= 0.985


def test_names_come_from_the_sum_of_evidence(told: dict[str, list[Matched]]) -> None:
    single, joined = summary(told["a"]), summary(told["joined"])
    assert single.wrong_names > 5 * max(joined.wrong_names_undoubted, 1)


def test_shared_errors_of_a_calibration_are_no_independent_looks() -> None:
    """Ten balls by one camera tell its calibration no better than one does."""
    rng = np.random.default_rng(3)
    cameras = set_up(rng, TABLE, ENDS)
    few, many = (
        join_views(views_of(rng, cameras, balls))
        for balls in ({"cue": (900.0, 600.0)}, {"cue": (900.0, 600.0), **spread_balls()})
    )
    sizes = [np.sqrt(np.trace(each.ball("cue").cov_mm2)) for each in (few, many)]
    alone = np.sqrt(
        np.trace(views_of(rng, cameras, {"cue": (900.0, 600.0)})[0].layout.balls[0].cov_mm2)
    )
    assert sizes[1] / alone > 0.55
    assert sizes[1] <= sizes[0] * 1.001


def spread_balls() -> Places:
    return {str(n): (200.0 + 210.0 * n, 200.0 + 170.0 * (n % 6)) for n in range(1, 10)}


def test_what_one_camera_cannot_see_the_other_does() -> None:
    rng = np.random.default_rng(5)
    cameras = set_up(rng, TABLE, ENDS, shade=True)
    behind = cameras["a"].shadow.centroid
    balls: Places = {"cue": (behind.x, behind.y), "3": (300.0, 300.0), "9": (2300.0, 900.0)}
    views = views_of(rng, cameras, balls)
    assert 0.11 < share(views[0].layout) < 0.15
    assert views[0].layout.ball("cue") is None
    joined = join_views(views)
    assert joined.hidden_mm == ()
    assert joined.ball("cue").seen_by == ("b",)
    assert joined.ball("3").seen_by == ("a", "b")
    assert "seen-by-few" not in codes(joined)


def test_only_what_no_camera_sees_stays_hidden() -> None:
    rng = np.random.default_rng(5)
    views = views_of(rng, set_up(rng, TABLE, ENDS), spread_balls())
    one = ((600.0, 600.0), (900.0, 600.0), (900.0, 900.0), (600.0, 900.0))
    two = ((800.0, 600.0), (1100.0, 600.0), (1100.0, 900.0), (800.0, 900.0))
    views = [with_layout(v, hidden_mm=(p,)) for v, p in zip(views, (one, two), strict=True)]
    joined = join_views(views)
    left = union_all([Polygon(corners) for corners in joined.hidden_mm])
    assert left.bounds == pytest.approx((800, 600, 900, 900), abs=1)
    assert "hidden" in codes(joined)


def test_beyond_the_edges_of_all_pictures_is_hidden() -> None:
    """Two narrow lenses, each over its half; one alone leaves the other half unseen."""
    rng = np.random.default_rng(6)
    cameras = set_up(rng, TABLE, {"a": 0.27, "b": 0.73})
    narrow = {
        name: replace(of, calibration=replace(of.calibration, camera=over_half(of, name)))
        for name, of in cameras.items()
    }
    empty = {name: Layout(still=f"{name}.jpg", surface_mm=TABLE.surface_mm) for name in narrow}
    views = [View(n, empty[n], of.calibration) for n, of in narrow.items()]
    assert 0.35 < share(join_views(views[:1])) < 0.65
    assert share(join_views(views)) == 0


def over_half(of: Simulated, name: str):
    camera = of.calibration.camera
    x = TABLE.length_mm * {"a": 0.27, "b": 0.73}[name]
    return type(camera).looking(
        position_mm=(x, 635.0, 2000.0), target_mm=(x, 635.0, 0.0), up=(0, 1, 0),
        image_size_px=(1920, 1440), focal_px=1920 * 2000 / 1900,
    )  # fmt: skip


def with_layout(view: View, **changes: object) -> View:
    return View(view.camera, replace(view.layout, **changes), view.calibration)


# -- a camera that was moved ---------------------------------------------------------------


@pytest.mark.parametrize("who", ["a", "b"])
def test_a_moved_camera_is_named_within_one_still(who: str) -> None:
    rng = np.random.default_rng(11)
    right = 0
    for k in range(12):
        cameras = set_up(rng, TABLE, ENDS)
        balls = balls_of(rng, TABLE, 9)
        before = join_views(views_of(rng, cameras, balls))
        off = knocked(cameras[who].camera, 6.0, 0.002, 0.5 * k)
        after = {**balls, "cue": (640.0 + 20 * k, 1240.0)}
        views = [
            seen_by(rng, name, of, after, camera=off if name == who else None)
            for name, of in cameras.items()
        ]
        joined = join_views(views, previous=before)
        moved = [n for n in joined.notices if n.code == "camera-moved"]
        assert [n.fields["camera"] for n in moved] in ([], [who])
        right += bool(moved)
        if moved:
            assert moved[0].fields["by"] == "before"
            assert part(joined, who).state == "moved"
            errors = match_layout(joined, truth_of(after))
            assert rms_mm([errors]) < 0.5 * rms_mm([match_layout(of(views, who), truth_of(after))])
    assert right >= 11


def of(views: list[View], name: str) -> Layout:
    return next(view.layout for view in views if view.camera == name)


def part(layout: Layout, name: str):
    return next(each for each in layout.cameras if each.camera == name)


def test_of_three_cameras_the_others_name_it() -> None:
    rng = np.random.default_rng(12)
    cameras = set_up(rng, TABLE, {"a": 0.2, "b": 0.5, "c": 0.8})
    balls = balls_of(rng, TABLE, 9)
    off = knocked(cameras["b"].camera, 8.0, 0.002, 1.0)
    views = [
        seen_by(rng, name, each, balls, camera=off if name == "b" else None)
        for name, each in cameras.items()
    ]
    told = next(n for n in join_views(views).notices if n.code == "camera-moved")
    assert (told.fields["camera"], told.fields["by"]) == ("b", "others")
    assert told.fields["worst_mm"] > 4


def test_without_a_witness_both_are_said_and_errors_widened() -> None:
    rng = np.random.default_rng(13)
    cameras = set_up(rng, TABLE, ENDS)
    balls = balls_of(rng, TABLE, 9)
    off = knocked(cameras["a"].camera, 8.0, 0.0, 1.0)
    views = [
        seen_by(rng, name, each, balls, camera=off if name == "a" else None)
        for name, each in cameras.items()
    ]
    joined = join_views(views)
    told = next(n for n in joined.notices if n.code == "cameras-apart")
    assert told.fields["cameras"] == ["a", "b"]
    assert {each.state for each in joined.cameras} == {"apart"}
    figures = match_layout(joined, truth_of(balls))
    assert all(pair.squared_sigmas < 9.21 for pair in figures.pairs)
    own = Notice(code="moved", text="Camera or table has moved.")
    views[0] = with_layout(views[0], notices=(own,))
    told = next(n for n in join_views(views).notices if n.code == "camera-moved")
    assert (told.fields["camera"], told.fields["by"]) == ("a", "rails")


def test_one_ball_that_differs_is_the_balls_fault() -> None:
    rng = np.random.default_rng(14)
    cameras = set_up(rng, TABLE, ENDS)
    views = views_of(rng, cameras, spread_balls())
    balls = tuple(
        replace(ball, x_mm=ball.x_mm + 9) if ball.id == views[0].layout.balls[3].id else ball
        for ball in views[0].layout.balls
    )
    joined = join_views([with_layout(views[0], balls=balls), views[1]])
    told = [n for n in joined.notices if n.code in ("places-differ", "cameras-apart")]
    assert [n.code for n in told] == ["places-differ"]
    assert told[0].fields["apart_mm"] == pytest.approx(9, abs=3)
    sizes = [np.trace(ball.cov_mm2) for ball in joined.balls]
    assert max(sizes) > 4 * np.median(sizes)


# -- what does not belong together ---------------------------------------------------------


def test_balls_that_one_should_see_and_does_not_are_doubted() -> None:
    rng = np.random.default_rng(15)
    views = views_of(rng, set_up(rng, TABLE, ENDS), spread_balls())
    gone = views[1].layout.balls[0].id
    kept = tuple(ball for ball in views[1].layout.balls if ball.id != gone)
    joined = join_views([views[0], with_layout(views[1], balls=kept)])
    told = next(n for n in joined.notices if n.code == "seen-by-few")
    assert told.fields["missing"] == ["b"]
    assert joined.ball(told.fields["id"]).doubtful


def test_stills_of_two_moments_are_refused() -> None:
    rng = np.random.default_rng(16)
    cameras = set_up(rng, TABLE, ENDS)
    one, other = (views_of(rng, cameras, balls_of(rng, TABLE, 8)) for _ in range(2))
    with pytest.raises(JoinError, match="balls in the same place of") as refused:
        join_views([one[0], other[1]])
    assert refused.value.code == "other-moment"


def test_views_that_do_not_fit_are_refused() -> None:
    rng = np.random.default_rng(17)
    views = views_of(rng, set_up(rng, TABLE, ENDS), spread_balls())
    other = set_up(rng, Table.from_surface("8ft"), {"b": 0.5})["b"]
    foreign = View("b", replace(views[1].layout, surface_mm=(2235.2, 1117.6)), other.calibration)
    with pytest.raises(JoinError, match="calibrations of one table") as refused:
        join_views([views[0], foreign])
    assert refused.value.code == "other-table"
    with pytest.raises(JoinError, match="more than once"):
        join_views([views[0], views[0]])
    with pytest.raises(JoinError, match="got none"):
        join_views([])


def test_a_hand_before_one_camera_refuses_the_moment() -> None:
    rng = np.random.default_rng(18)
    views = views_of(rng, set_up(rng, TABLE, ENDS), spread_balls())
    living = Notice(code="obstructed", text="A hand is over the bed.")
    joined = join_views([views[0], with_layout(views[1], obstructed=True, notices=(living,))])
    assert joined.obstructed
    assert joined.notices[0].text == "Camera b: A hand is over the bed."
    assert joined.notices[0].fields["camera"] == "b"
    assert not join_views([views[0], with_layout(views[1], settled=False)]).settled


def test_a_camera_that_is_away_is_said() -> None:
    rng = np.random.default_rng(19)
    views = views_of(rng, set_up(rng, TABLE, ENDS), spread_balls())
    joined = join_views(views[:1], away={"b": CalibrationError("no still came in 2 s.")})
    assert joined.notices[0].code == "camera-away"
    assert joined.notices[0].fields["camera"] == "b"
    assert [(each.camera, each.state) for each in joined.cameras] == [("a", "alone"), ("b", "away")]
    for ball, own in zip(joined.balls, views[0].layout.balls, strict=True):
        assert ball.centre_mm == pytest.approx(own.centre_mm, abs=0.01)
        assert np.allclose(ball.cov_mm2, np.add(own.cov_mm2, 0.01 * np.eye(2)), atol=0.02)


def test_a_name_that_a_person_gave_holds_while_the_ball_lies_there() -> None:
    rng = np.random.default_rng(20)
    cameras = set_up(rng, TABLE, ENDS)
    views = views_of(rng, cameras, spread_balls(), sure=0.6)
    before = join_views(views)
    was = before.balls[2]
    balls = tuple(replace(b, said=True) if b is was else b for b in before.balls)
    joined = join_views(views, previous=replace(before, balls=balls))
    assert joined.ball(was.id).said
    moved = {**spread_balls(), was.id: (1234.0, 1200.0)}
    later = join_views(
        views_of(rng, cameras, moved, sure=0.6), previous=replace(before, balls=balls)
    )
    assert not any(ball.said for ball in later.balls)


def test_joined_layouts_go_through_their_files() -> None:
    rng = np.random.default_rng(21)
    joined = join_views(views_of(rng, set_up(rng, TABLE, ENDS), spread_balls()))
    data = json.loads(json.dumps(joined.to_dict()))
    assert data["cameras"][0]["layout"]["still"] == "a.jpg"
    assert Layout.from_dict(data) == joined
    assert "cameras" not in Layout(still="", surface_mm=TABLE.surface_mm).to_dict()
    assert "seen_by" not in Ball(id="cue", x_mm=1.0, y_mm=1.0).to_dict()


def test_no_two_balls_of_a_joined_layout_bear_one_name() -> None:
    rng = np.random.default_rng(22)
    for _ in range(10):
        balls = balls_of(rng, TABLE, 16)
        joined = join_views(views_of(rng, set_up(rng, TABLE, ENDS), balls, sure=0.7))
        names = sorted(ball.id for ball in joined.balls)
        assert len(names) == 16
        assert all(one != other for one, other in pairwise(names))
