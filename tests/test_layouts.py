"""The library of layouts: kept ones, mirrored and turned copies, files and lessons."""

import json
from dataclasses import replace

import pytest
from api_kit import BEFORE, INTENT, layout
from hypothesis import given, settings
from hypothesis import strategies as st
from laid_out import SURFACE_MM, laid, layouts, places

from calibration.errors import RestmarkError
from calibration.table import POCKET_NAMES, Table
from service.layouts.entry import KeptLayout, carried_over
from service.layouts.errors import LayoutError
from service.layouts.files import layout_json, layout_svg, plain_svg, read_layout, zone_of
from service.layouts.lesson import Lesson
from service.layouts.turned import Turned
from service.position import DrawnZone, Intent, landing_zone
from service.practice import Plan
from vision.layout import Layout

PLACE_MM = 1e-9
"""What a place may lose to rounding when it is mirrored twice."""
WAYS = [
    Turned.of(),
    Turned.of(mirror="across"),
    Turned.of(mirror="along"),
    Turned.of(turn_deg=180),
    Turned.of(mirror="across", turn_deg=180),
]
ways = st.sampled_from(WAYS)
KEPT = KeptLayout(
    title="Stop beside the 4",
    note="Soft, with a little draw.",
    tags=("soft", "draw"),
    layout=layout(still="shot.jpg"),
    intent=Intent.from_dict(INTENT),
)
text = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=30)


def same(one: Layout, other: Layout) -> bool:
    """The same balls, places within rounding, with the same errors."""
    return all(
        a.id == b.id
        and a.centre_mm == pytest.approx(b.centre_mm, abs=PLACE_MM)
        and a.cov_mm2 == b.cov_mm2
        for a, b in zip(one.balls, other.balls, strict=True)
    )


@given(layouts, ways)
def test_a_copy_of_the_copy_is_the_layout(given_layout, way):
    assert same(way.layout(way.layout(given_layout)), given_layout)


@given(layouts)
def test_mirrored_both_ways_is_half_a_turn(given_layout):
    across, along = Turned.of(mirror="across"), Turned.of(mirror="along")
    turned = Turned.of(turn_deg=180).layout(given_layout)
    assert same(across.layout(along.layout(given_layout)), turned)
    assert Turned.of(mirror="across", turn_deg=180) == along
    assert Turned.of(mirror="along", turn_deg=180) == across


def test_a_copy_lies_where_the_table_says():
    (ball,) = laid({"3": (100.0, 200.0)}, cov=((1.0, 0.3), (0.3, 2.0))).balls
    one = laid({"3": (100.0, 200.0)}, cov=((1.0, 0.3), (0.3, 2.0)))
    assert WAYS[1].layout(one).balls[0].centre_mm == (100.0, 1070.0)
    assert WAYS[1].layout(one).balls[0].cov_mm2 == ((1.0, -0.3), (-0.3, 2.0))
    assert WAYS[2].layout(one).balls[0].centre_mm == (2440.0, 200.0)
    assert WAYS[3].layout(one).balls[0].centre_mm == (2440.0, 1070.0)
    assert WAYS[3].layout(one).balls[0].cov_mm2 == ball.cov_mm2


@pytest.mark.parametrize("way", WAYS, ids=str)
@pytest.mark.parametrize("name", POCKET_NAMES)
def test_a_pocket_s_copy_is_the_pocket_at_the_copied_place(way, name):
    table = Table()
    aim = way.point(table.pocket(name).aim_mm, table.surface_mm)
    assert table.pocket(way.pocket(name)).aim_mm == pytest.approx(aim, abs=PLACE_MM)


@pytest.mark.parametrize("way", WAYS, ids=str)
@pytest.mark.parametrize("side", ["left", "right", "either"])
def test_the_zone_of_the_copy_is_the_copy_of_the_zone(way, side):
    intent = Intent.from_dict(INTENT | {"side": side})
    kept = replace(KEPT, intent=intent)
    zone, copied = zone_of(kept), zone_of(kept.turned(way))
    assert copied.shape.area == pytest.approx(zone.shape.area, rel=1e-6)
    if zone.wanted_mm is not None:
        wanted = way.point(zone.wanted_mm, SURFACE_MM)
        # the search for the wanted spot is half a millimetre fine
        assert copied.wanted_mm == pytest.approx(wanted, abs=2.0)


def test_drawn_zones_routes_and_plans_are_copied_too():
    drawn = Intent(
        pot="3",
        pocket="foot-left",
        zone=DrawnZone(polygon_mm=((100.0, 100.0), (300.0, 100.0), (300.0, 200.0))),
        route_mm=((2000.0, 900.0), (2500.0, 600.0)),
    )
    circle = Intent(zone=DrawnZone(circle_mm=(400.0, 300.0, 150.0)))
    way = Turned.of(mirror="along")
    copy = way.intent(drawn, SURFACE_MM)
    assert copy.zone.polygon_mm == ((2440.0, 100.0), (2240.0, 100.0), (2240.0, 200.0))
    assert copy.route_mm == ((540.0, 900.0), (40.0, 600.0))
    assert copy.pocket == "head-left"
    plan = way.plan(Plan(shots=(drawn, None, circle)), SURFACE_MM)
    assert plan.shots[1] is None
    assert plan.shots[2].zone.circle_mm == (2140.0, 300.0, 150.0)
    assert way.plan(plan, SURFACE_MM) == Plan(shots=(drawn, None, circle))


def test_a_mirrored_leave_changes_its_side_and_a_turned_one_keeps_it():
    intent = Intent(next="4", next_pocket="side-right", side="left")
    assert Turned.of(mirror="across").intent(intent, SURFACE_MM).side == "right"
    assert Turned.of(mirror="along").intent(intent, SURFACE_MM).side == "right"
    assert Turned.of(turn_deg=180).intent(intent, SURFACE_MM).side == "left"
    assert Turned.of(turn_deg=180).intent(intent, SURFACE_MM).next_pocket == "side-left"


@pytest.mark.parametrize(("mirror", "turn"), [("up", 0), (None, 90), ("across", 270)])
def test_other_copies_are_refused(mirror, turn):
    with pytest.raises(LayoutError, match="allowed: "):
        Turned.of(mirror=mirror, turn_deg=turn)


# -- entries and files -----------------------------------------------------------------------


@given(places(), text, st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=60))
@settings(deadline=None)
def test_what_is_exported_comes_back_the_same(where, title, note):
    if not title.split():
        title = "x"
    kept = KeptLayout(title=title, note=note, tags=("soft",), layout=laid(where))
    assert read_layout(layout_json(kept)) == kept
    assert read_layout(layout_svg(kept).encode()) == kept
    assert read_layout(layout_svg(kept).encode("utf-8-sig")) == kept


def test_a_shot_goes_with_its_layout_through_both_files():
    assert read_layout(layout_json(KEPT)) == KEPT
    assert read_layout(layout_svg(KEPT).encode()) == KEPT
    assert 'class="zone"' in plain_svg(KEPT)


def test_the_exported_json_is_a_layout_to_whatever_reads_layouts():
    assert Layout.from_dict(json.loads(layout_json(KEPT))) == KEPT.layout


def test_a_plain_layout_is_kept_under_its_still_s_name():
    plain = json.dumps(layout(still="shot.jpg").to_dict()).encode()
    assert read_layout(plain).title == "shot.jpg"
    assert read_layout(plain, title="Mine").title == "Mine"


@pytest.mark.parametrize(
    "data",
    [
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"<!DOCTYPE x [<!ENTITY a 'b'>]><svg>&a;</svg>",
        b"<svg",
        b"",
        b"{}",
        b"[1]",
        b'{"surface_mm": [2540, 1270], "balls": []}',
        b"\x89PNG\r\n",
        b"{" * 5_000_000,
    ],
    ids=["other svg", "doctype", "torn", "empty", "no keys", "list", "no balls", "png", "large"],
)
def test_other_files_are_refused(data):
    with pytest.raises(RestmarkError, match="allowed: "):
        read_layout(data, name="given.svg")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"title": "  "}, "layout.title"),
        ({"title": "x" * 121}, "layout.title"),
        ({"title": 3}, "layout.title"),
        ({"note": "x" * 4001}, "layout.note"),
        ({"tags": ("a,b",)}, "layout.tags"),
        ({"tags": ("",)}, "layout.tags"),
        ({"tags": tuple(str(i) for i in range(21))}, "layout.tags"),
        ({"layout": laid({})}, "layout.balls"),
    ],
)
def test_entries_that_cannot_be_are_refused_by_their_field(change, said):
    with pytest.raises(LayoutError, match=f"{said}: got .*allowed: "):
        replace(KEPT, **change)


def test_tags_are_kept_once_whatever_their_capitals():
    assert replace(KEPT, tags=(" Soft ", "soft", "two  words")).tags == ("Soft", "two words")


# -- another table ---------------------------------------------------------------------------


def test_a_layout_is_carried_over_by_diamonds():
    smaller = carried_over(laid({"cue": (635, 635), "3": (1270, 317.5)}), (2235.2, 1117.6))
    assert smaller.balls[0].centre_mm == pytest.approx((558.8, 558.8))
    assert smaller.surface_mm == (2235.2, 1117.6)
    nearly = carried_over(laid({"cue": (635, 635)}), (2540.3, 1270.1))
    assert nearly.balls[0].centre_mm == (635, 635)


@pytest.mark.parametrize(
    ("where", "why"),
    [
        ({"cue": (500, 500), "3": (557.15, 500)}, "balls cue and 3 overlap"),
        ({"cue": (500, 28.575)}, "ball cue lies in a cushion"),
    ],
)
def test_a_layout_without_room_on_a_smaller_table_is_refused(where, why):
    with pytest.raises(LayoutError, match=why) as refused:
        carried_over(laid(where), (1981.2, 990.6))
    assert refused.value.code == "other-surface"


# -- lessons ---------------------------------------------------------------------------------


def test_a_lesson_comes_back_the_same():
    lesson = Lesson(title="Thursday", note="Slow.", parts=(KEPT, KEPT.turned(WAYS[1])))
    assert Lesson.from_dict(json.loads(json.dumps(lesson.to_dict()))) == lesson


@pytest.mark.parametrize("parts", [(), (KEPT,) * 25], ids=["none", "too many"])
def test_a_lesson_has_some_layouts(parts):
    with pytest.raises(LayoutError, match=r"lesson.parts: got .* layouts; allowed: 1 to 24"):
        Lesson(title="Thursday", parts=parts)


def test_the_kept_shot_is_planned_as_before_a_shot():
    zone = landing_zone(layout(BEFORE), KEPT.intent, Table())
    assert zone_of(KEPT).shape.equals(zone.shape)
