"""Drawings: valid, escaped, to scale, and saying what they show."""

import base64
import math
import re
from xml.etree import ElementTree as ET

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.kept.calibration import Calibration
from calibration.table import BALL_RADIUS_MM, Table
from service.drawing import overlay_svg, top_view_svg
from service.drawing.frame import View
from service.drawing.marks import exaggeration, label_place
from service.drawing.overlay import DrawingError, dense_ring
from service.drawing.svg import clean
from service.position import Intent, score_shot
from vision.layout import Ball, Layout

SVG = "{http://www.w3.org/2000/svg}"
TABLE = Table()
COV = ((0.2, 0.05), (0.05, 0.15))
DRAWN_MM = 0.02
"""Coordinates are written to two decimals."""
SCALED_PX = 0.02
"""The same for the overlay's pixels."""
INTENT = {
    "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
    "cut_deg": [10, 40], "distance_mm": [200, 900], "cushion_mm": 60,
}  # fmt: skip


def layout(name="shot.jpg", *, obstructed=False, **places):
    balls = tuple(
        Ball(id=key.lstrip("b"), x_mm=x, y_mm=y, cov_mm2=COV) for key, (x, y) in places.items()
    )
    return Layout(still=name, surface_mm=TABLE.surface_mm, balls=balls, obstructed=obstructed)


BEFORE = layout("before.jpg", cue=(700, 500), b3=(2000, 900), b4=(1500, 250), b8=(400, 1000))
AFTER = layout("after.jpg", cue=(1200, 900), b4=(1500, 250), b8=(460, 1000))


@pytest.fixture(scope="module")
def verdict():
    return score_shot(BEFORE, AFTER, Intent.from_dict(INTENT), TABLE)


@pytest.fixture(scope="module")
def calibration():
    camera = Camera.looking(
        position_mm=(1270, 500, 2700), target_mm=(1270, 640, 0), up=(0, 1, 0),
        image_size_px=(1920, 1080), focal_px=1700, distortion=(-0.15, 0.02, 0.001, -0.001, 0),
    )  # fmt: skip
    return Calibration.exact(camera, TABLE)


@pytest.fixture(scope="module")
def jpeg():
    picture = np.full((1080, 1920, 3), (90, 110, 40), np.uint8)
    return cv2.imencode(".jpg", picture)[1].tobytes()


def group(svg, name):
    return svg.find(f".//{SVG}g[@class='{name}']")


def translation(element):
    match = re.match(r"translate\(([-\d.]+) ([-\d.]+)\)", element.get("transform"))
    return float(match[1]), float(match[2])


def words(svg):
    return " ".join(svg.itertext())


# -- top view --------------------------------------------------------------------------------


def test_top_view_is_one_svg_element_with_title_and_description():
    svg = ET.fromstring(top_view_svg(TABLE, AFTER))
    assert svg.tag == f"{SVG}svg"
    assert svg.get("role") == "img"
    labelled = svg.get("aria-labelledby").split()
    by_id = {e.get("id"): e for e in svg.iter() if e.get("id")}
    assert [by_id[name].tag for name in labelled] == [f"{SVG}title", f"{SVG}desc"]
    assert "Cue ball at 1200, 900 mm (3.78, 2.83 diamonds)" in by_id[labelled[1]].text


def test_balls_stand_at_their_places_with_y_up_and_their_size():
    svg = ET.fromstring(top_view_svg(TABLE, AFTER))
    balls = [e for e in svg.iter(f"{SVG}g") if e.get("class") == "ball"]
    assert len(balls) == 3
    for drawn, ball in zip(balls, AFTER.balls, strict=True):
        assert translation(drawn) == pytest.approx(
            (ball.x_mm, TABLE.width_mm - ball.y_mm), rel=0, abs=DRAWN_MM
        )
        assert float(drawn.find(f"{SVG}g/{SVG}circle").get("r")) == pytest.approx(
            BALL_RADIUS_MM, rel=0, abs=DRAWN_MM
        )


@pytest.mark.parametrize("surface", ["9ft", "pro8", "8ft", "7ft", "2000x1000"])
def test_width_is_as_asked_and_the_box_has_the_tables_shape(surface):
    table = Table.from_surface(surface)
    empty = Layout(still="", surface_mm=table.surface_mm)
    svg = ET.fromstring(top_view_svg(table, empty, width_px=700))
    _, _, wide, high = (float(v) for v in svg.get("viewBox").split())
    assert svg.get("width") == "700"
    assert int(svg.get("height")) == round(700 * high / wide)
    assert wide - high == pytest.approx(table.length_mm - table.width_mm, rel=0, abs=DRAWN_MM)


def test_pocket_mouths_are_to_scale():
    """Cushions end at the nose points: the gap between neighbours is the mouth."""
    table = Table(corner_mouth_mm=120.0, side_mouth_mm=140.0)
    svg = ET.fromstring(top_view_svg(table, Layout(still="", surface_mm=table.surface_mm)))
    ends = [
        (float(line.get(f"x{i}")), table.width_mm - float(line.get(f"y{i}")))
        for line in svg.iter(f"{SVG}line")
        if line.get("y1") is not None
        for i in (1, 2)
    ]
    for pocket in table.pockets:
        for point in pocket.nose_points_mm:
            assert min(math.dist(point, end) for end in ends) < DRAWN_MM


def test_names_of_stills_are_escaped():
    evil = '<script>alert("x")</script>&\x00'
    text = top_view_svg(TABLE, layout(evil, cue=(500, 500)))
    assert "<script" not in text
    assert '<script>alert("x")</script>&' in words(ET.fromstring(text))
    assert clean("a\x00b") == "a\N{REPLACEMENT CHARACTER}b"


def test_doubtful_name_is_marked():
    sure = layout(b7=(500, 500))
    ball = Ball(id="7", x_mm=500, y_mm=500, doubtful=True, runners_up=(("3", 0.4),))
    doubtful = Layout(still="shot.jpg", surface_mm=TABLE.surface_mm, balls=(ball,))
    assert "?" not in words(ET.fromstring(top_view_svg(TABLE, sure)))
    svg = ET.fromstring(top_view_svg(TABLE, doubtful))
    assert "?" in [e.text for e in svg.iter(f"{SVG}text")]
    assert "name in doubt" in words(svg)


def test_only_balls_that_moved_or_left_are_drawn_faded():
    svg = ET.fromstring(top_view_svg(TABLE, AFTER, before=BEFORE))
    titles = [e.text for e in group(svg, "before").iter(f"{SVG}title")]
    assert titles == [
        "cue ball before the shot",
        "ball 3 before the shot",
        "ball 8 before the shot",
    ]


def test_without_a_verdict_nothing_of_one_is_drawn():
    svg = ET.fromstring(top_view_svg(TABLE, AFTER))
    assert not [name for name in ("zone", "miss", "stop", "arrival", "legend") if group(svg, name)]


def test_zone_wanted_spot_and_miss_come_from_the_verdict(verdict):
    svg = ET.fromstring(top_view_svg(TABLE, AFTER, before=BEFORE, verdict=verdict))
    outline = group(svg, "zone").find(f"{SVG}path").get("d")
    first = [float(v) for v in re.match(r"M([-\d.]+),([-\d.]+)", outline).groups()]
    x, y = verdict.zone.polygons_mm[0][0][0]
    assert first == pytest.approx([x, TABLE.width_mm - y], rel=0, abs=DRAWN_MM)
    spot = group(svg, "zone").find(f".//{SVG}circle")
    assert float(spot.get("cx")) == pytest.approx(verdict.zone.wanted_mm[0], rel=0, abs=DRAWN_MM)
    line = group(svg, "miss").find(f"{SVG}line")
    length = math.hypot(
        float(line.get("x2")) - float(line.get("x1")), float(line.get("y2")) - float(line.get("y1"))
    )
    assert length == pytest.approx(verdict.miss_mm, rel=0, abs=DRAWN_MM)
    assert f"{verdict.miss_mm:.0f} mm" in words(group(svg, "miss"))
    assert "Out by" in words(group(svg, "legend"))


def test_error_ellipse_is_scaled_and_the_legend_says_so(verdict):
    cue = AFTER.ball("cue")
    factor = exaggeration(cue)
    assert factor > 1
    svg = ET.fromstring(top_view_svg(TABLE, AFTER, verdict=verdict))
    drawn = group(svg, "stop").find(f"{SVG}ellipse")
    largest = math.sqrt(5.991 * np.linalg.eigvalsh(np.asarray(COV))[-1])
    assert float(drawn.get("rx")) == pytest.approx(factor * largest, rel=0, abs=DRAWN_MM)
    assert f"drawn ×{factor}" in words(group(svg, "legend"))


def test_large_ellipse_is_drawn_in_true_size():
    ball = Ball(id="cue", x_mm=500, y_mm=500, cov_mm2=((900.0, 0.0), (0.0, 400.0)))
    assert exaggeration(ball) == 1


def test_given_zone_is_drawn_without_a_verdict(verdict):
    svg = ET.fromstring(top_view_svg(TABLE, BEFORE, zone=verdict.zone))
    assert group(svg, "zone") is not None


def test_scratch_is_said_and_draws_no_stop():
    after = layout("after.jpg", b3=(2100, 900), b4=(1500, 250), b8=(400, 1000))
    verdict = score_shot(BEFORE, after, Intent.from_dict(INTENT), TABLE)
    svg = ET.fromstring(top_view_svg(TABLE, after, before=BEFORE, verdict=verdict))
    assert group(svg, "stop") is None
    assert "Scratch" in words(group(svg, "legend"))


def test_miss_label_keeps_clear_of_the_ball():
    from service.drawing.frame import View

    view = View(table=TABLE, width_px=960, legend=True)
    tip = (1200.0, 400.0)
    for turn in np.linspace(0, 2 * math.pi, 12, endpoint=False):
        tail = (tip[0] + 100 * math.cos(turn), tip[1] + 100 * math.sin(turn))
        x, y = label_place(view, tail, tip, (90.0, 30.0))
        gap = math.hypot(max(abs(x - tip[0]) - 90, 0), max(abs(y - tip[1]) - 30, 0))
        assert gap > BALL_RADIUS_MM


def test_drawing_is_the_same_each_time(verdict):
    again = [top_view_svg(TABLE, AFTER, before=BEFORE, verdict=verdict) for _ in range(2)]
    assert again[0] == again[1]


# -- overlay ---------------------------------------------------------------------------------


def test_overlay_holds_the_still_scaled_down(calibration, jpeg):
    svg = ET.fromstring(overlay_svg(jpeg, calibration, AFTER, width_px=960))
    assert (svg.get("width"), svg.get("height")) == ("960", "540")
    kind, data = svg.find(f"{SVG}image").get("href").split(",")
    assert kind == "data:image/jpeg;base64"
    picture = cv2.imdecode(np.frombuffer(base64.b64decode(data), np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape == (540, 960, 3)


def test_overlay_never_enlarges(calibration, jpeg):
    svg = ET.fromstring(overlay_svg(jpeg, calibration, AFTER, width_px=4000))
    assert svg.get("width") == "1920"


def test_overlay_outlines_go_through_the_full_camera(calibration, jpeg):
    svg = ET.fromstring(overlay_svg(jpeg, calibration, AFTER, width_px=960))
    outlines = group(svg, "balls").findall(f"{SVG}polygon")
    first = outlines[0].get("points").split()[0]
    u, v = calibration.camera.ball_outline(AFTER.balls[0].centre_mm, samples=48)[0]
    want = ((u + 0.5) / 2, (v + 0.5) / 2)
    assert tuple(map(float, first.split(","))) == pytest.approx(want, rel=0, abs=SCALED_PX)


def test_overlay_shows_zone_miss_and_names(calibration, jpeg, verdict):
    svg = ET.fromstring(overlay_svg(jpeg, calibration, AFTER, verdict=verdict))
    assert svg.find(f"{SVG}path[@class='zone']") is not None
    assert f"{verdict.miss_mm:.0f} mm" in words(svg)
    assert {e.text for e in group(svg, "balls").iter(f"{SVG}text")} == {"cue", "4", "8"}


def test_overlay_refuses_bytes_that_are_no_picture(calibration):
    for data in (b"", b"no picture"):
        with pytest.raises(DrawingError, match=r"after\.jpg: got bytes that are no picture"):
            overlay_svg(data, calibration, AFTER)


def test_straight_edges_get_enough_points_to_bend():
    ring = dense_ring([(0, 0), (1000, 0), (1000, 500)])
    steps = [math.dist(a, b) for a, b in zip(ring, ring[1:] + ring[:1], strict=True)]
    assert max(steps) <= 40.0 + 1e-9
    assert [1000, 500] in ring


@pytest.mark.parametrize("turn", range(4))
def test_a_turned_drawing_has_every_ball_where_the_turned_table_has_it(turn):
    """The turned group of the table and the upright marks agree: a ball in a pocket's mouth."""
    view = View(table=TABLE, width_px=960, legend=False, turn=turn)
    svg = ET.fromstring(top_view_svg(TABLE, AFTER, turn=turn))
    assert [float(v) for v in svg.get("viewBox").split()] == pytest.approx(
        view.box, rel=0, abs=DRAWN_MM
    )
    a, b, c, d, e, f = map(float, view.turned.removeprefix("matrix(").rstrip(")").split())
    balls = [each for each in svg.iter(f"{SVG}g") if each.get("class") == "ball"]
    for drawn, ball in zip(balls, AFTER.balls, strict=True):
        x, y = ball.x_mm, TABLE.width_mm - ball.y_mm
        turned = (a * x + c * y + e, b * x + d * y + f)
        assert translation(drawn) == pytest.approx(turned, rel=0, abs=DRAWN_MM)


def test_seen_from_the_head_end_the_foot_is_up_and_left_is_left():
    view = View(table=TABLE, width_px=480, legend=False, turn=1)
    (foot_x, foot_y), (head_x, head_y) = view.at((2500, 600)), view.at((40, 600))
    assert foot_y < head_y
    assert foot_x == head_x
    assert view.at((1000, TABLE.width_mm))[0] < view.at((1000, 0))[0]
