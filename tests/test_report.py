"""The report: self-contained, escaped, and saying verdicts, doubts and refusals plainly."""

import math
import re
from html.parser import HTMLParser

import cv2
import numpy as np
import pytest

from calibration.camera import Camera
from calibration.errors import FileFormatError, RestmarkError
from calibration.jsonfile import make_folder, write_text
from calibration.kept.calibration import Calibration, Residual
from calibration.notices import Notice
from calibration.table import Table
from service.drawing.charts.landings import LandingPoint, landings_svg
from service.position import Intent
from service.position.verdict.judged import judged_angle
from service.practice import score_session
from service.practice.statistics.summary import summarise
from service.report.figures import StripRow, residuals_svg
from service.report.model import Accuracy, Source, make_report, table_points
from service.report.page import render_page
from service.words import balls, intents, lengths, plain
from service.words.lengths import LEFT_RIGHT, LONG_SHORT, MILLIMETRES, Lengths, Units
from service.words.summary import summary_facts, summary_lines
from vision.layout import Ball, Layout

TABLE = Table()
COV = ((0.2, 0.05), (0.05, 0.15))
INTENT = {
    "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
    "cut_deg": [10, 40], "side": "right", "distance_mm": [200, 900], "cushion_mm": 60,
}  # fmt: skip
STOPS_MM = [(1750, 700), (1200, 900), None, (1900, 600), (1830, 930), (1700, 560), (1980, 1000)]
EVIL = '<img src="x" onerror="alert(1)">'


def layout(name, *, warnings=(), obstructed=False, **places):
    balls = tuple(
        Ball(id=key.lstrip("b"), x_mm=x, y_mm=y, cov_mm2=COV) for key, (x, y) in places.items()
    )
    return Layout(
        still=name, surface_mm=TABLE.surface_mm, balls=balls,
        notices=tuple(Notice(code="note", text=text) for text in warnings),
        obstructed=obstructed,
    )  # fmt: skip


def readings():
    out = []
    for number, stop in enumerate(STOPS_MM, start=1):
        rest = {"b4": (1500, 250), "b8": (400, 1000)}
        doubts = (f"Ball 8 is in doubt {EVIL}.",) if number == 1 else ()
        cue = {} if stop is None else {"cue": stop}
        out += [
            (
                f"shot-{number}-before.jpg",
                layout(f"shot-{number}-before.jpg", cue=(700, 500), b3=(2000, 900), **rest),
            ),
            (
                f"shot-{number}-after.jpg",
                layout(f"shot-{number}-after.jpg", warnings=doubts, **cue, **rest),
            ),
        ]
    hidden = layout("shot-8-after.jpg", obstructed=True, cue=(500, 500))
    broken = RestmarkError("shot-9-after.jpg: cut off or damaged", code="bad-still")
    for number, after in ((8, hidden), (9, broken)):
        out += [
            (f"shot-{number}-before.jpg", out[0][1]),
            (f"shot-{number}-after.jpg", after),
        ]
    return out


@pytest.fixture(scope="module")
def result():
    return score_session(readings(), {"shots": [INTENT] * 9}, TABLE)


@pytest.fixture(scope="module")
def source():
    camera = Camera.looking(
        position_mm=(1270, 500, 2700), target_mm=(1270, 640, 0), up=(0, 1, 0),
        image_size_px=(640, 360), focal_px=560,
    )  # fmt: skip
    residuals = tuple(
        Residual(name=f"{kind}-{i}", kind=kind, off_px=0.2, off_mm=0.1 * i - 0.3, sigma_px=0.3,
                 weight=1.0 if i else 0.0)
        for kind in ("nose", "sight") for i in range(6)
    )  # fmt: skip
    made = Calibration(
        camera=camera, table=TABLE, head="left", scale_source="lens file", residuals=residuals,
        parameter_names=("lens_x_mm",), parameter_cov=((0.04,),),
        notices=(Notice(code="note", text="a note of the calibration"),),
    )  # fmt: skip
    jpeg = cv2.imencode(".jpg", np.full((360, 640, 3), 90, np.uint8))[1].tobytes()
    return Source(
        heading=f"A practice {EVIL}", lead="Lead.", provenance="Made of rendered stills.",
        table=TABLE, calibration=made, empty_still=jpeg,
        stills={name: jpeg for name, _ in readings()},
        accuracy=Accuracy(lead="Rendered.", lines=("median 0.50 mm",)),
    )  # fmt: skip


@pytest.fixture(scope="module")
def page(result, source):
    return render_page(make_report(result, source))


class Page(HTMLParser):
    """Collects text, tags and addresses."""

    def __init__(self, text):
        super().__init__()
        self.tags, self.addresses, self.ids, self.words = [], [], [], []
        self.feed(text)
        self.text = re.sub(r"\s+", " ", " ".join(self.words))

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        for key, value in attrs:
            if key in ("src", "href", "xlink:href", "data", "action"):
                self.addresses.append(value)
            if key == "id":
                self.ids.append(value)

    handle_startendtag = handle_starttag

    def handle_data(self, data):
        self.words.append(data)


def test_page_needs_nothing_beside_itself(page):
    seen = Page(page)
    assert seen.addresses
    for address in seen.addresses:
        assert address.startswith(("data:image/jpeg;base64,", "#attempt-"))
    assert not {"script", "link", "iframe", "object", "img"} & set(seen.tags)
    assert "@import" not in page
    assert "url(" not in page


def test_links_lead_to_attempts_and_ids_are_unique(page):
    seen = Page(page)
    for address in seen.addresses:
        if address.startswith("#"):
            assert address[1:] in seen.ids
    drawn = [name for name in seen.ids if not name.endswith(("-title", "-desc"))]
    assert len(drawn) == len(set(drawn))


def test_foreign_text_is_escaped(page):
    assert "<img" not in page
    assert EVIL in Page(page).text


def test_every_attempt_has_its_drawings_and_words(page, result):
    assert page.count('class="top-view"') == len(result.attempts)
    # the still that could not be read has no overlay, the empty table has one
    assert page.count('class="overlay"') == len(result.attempts)
    text = Page(page).text
    for phrase in (
        "In the zone", "Out by", "ball widths", "no position to judge", "as wanted",
        "too much angle", "by hand", "fewer than from the best place in the zone",
        "no arrival line is known", "of the potting line", "diamonds",
    ):  # fmt: skip
        assert phrase in text, phrase


def test_refusals_and_doubts_are_said(page):
    text = Page(page).text
    assert "Refused: shot-9-after.jpg: cut off or damaged" in text
    assert "something lies over the playing surface" in text
    assert "Ball 8 is in doubt" in text


def test_calibration_and_truth_are_said(page):
    text = Page(page).text
    assert "good enough to trust: within 0.5 mm over the bed" in text
    assert "cushion edges (noses): 5 seen" in text
    assert "1 more set aside as disagreeing" in text
    assert "note: a note of the calibration" in text
    assert "median 0.50 mm" in text


def test_rates_stand_with_their_intervals(page, result):
    text = Page(page).text
    zone = result.summary.zone
    assert f"In the zone {zone.successes} of {zone.n} 95 % interval" in text
    for fact in summary_facts(result.summary):
        assert fact.value in text
        assert fact.aside in text
        if fact.label in ("In the zone", "Pots made"):
            assert "95 % interval" in fact.aside


def test_empty_session_has_words_too():
    assert summary_lines(summarise([]))[0] == "Attempts: 0"


def test_report_without_calibration_leaves_its_section_out(result):
    bare = Source(heading="H", lead="L", provenance="P", table=TABLE)
    page = render_page(make_report(result, bare))
    assert 'id="calibration"' not in page
    assert 'class="overlay"' not in page


# -- figures ---------------------------------------------------------------------------------


def points(places):
    return [
        LandingPoint(label=str(i), along_mm=a, across_mm=b, verdict="out")
        for i, (a, b) in enumerate(places)
    ]


def test_long_is_up_and_left_is_left():
    svg = landings_svg(points([(100.0, 50.0)]))
    match = re.search(r'translate\(([-\d.]+) ([-\d.]+)\)"><title>attempt 0', svg)
    x, y = float(match[1]), float(match[2])
    assert x < 0, "left of the arrival line stands on the left"
    assert y < 0, "long stands at the top"
    assert y / x == pytest.approx(2.0, rel=0, abs=0.01)


def test_by_the_table_the_foot_is_right_and_side_left_is_up(result):
    spots = table_points(result.attempts)
    svg = landings_svg(spots, by_table=True)
    for attempt in result.attempts[:2]:
        stop, wanted = attempt.verdict.cue_stop_mm, attempt.verdict.wanted_mm
        match = re.search(
            rf'translate\(([-\d.]+) ([-\d.]+)\)"><title>attempt {attempt.attempt}:', svg
        )
        x, y = float(match[1]), float(match[2])
        assert math.copysign(1, x) == math.copysign(1, stop[0] - wanted[0])
        assert math.copysign(1, -y) == math.copysign(1, stop[1] - wanted[1])
    assert "<ellipse" not in svg


def test_most_stops_without_an_arrival_line_are_all_drawn_by_the_table(page, result):
    drawn = re.search(r"<svg[^>]*class=\"landings\".*?</svg>", page, re.S)[0]
    assert drawn.count("<title>attempt ") == len(table_points(result.attempts)) == 6
    assert "toward the" in drawn


def test_ellipse_is_drawn_from_five_attempts_on():
    places = [(10.0, 5.0), (-20.0, 30.0), (40.0, -10.0), (0.0, 0.0), (25.0, 60.0)]
    assert "<ellipse" not in landings_svg(points(places[:4]))
    assert "<ellipse" in landings_svg(points(places))


def test_ellipse_of_stops_along_the_arrival_line_stands_upright():
    places = [(-200.0, 0.0), (-90.0, 10.0), (0.0, -10.0), (110.0, 5.0), (200.0, -5.0)]
    match = re.search(r"rotate\(([-\d.]+)\)", landings_svg(points(places)))
    assert abs(float(match[1])) == pytest.approx(90.0, rel=0, abs=2.0)


def test_many_stops_are_one_path_a_verdict_with_the_ellipse_of_all():
    rng = np.random.default_rng(3)
    spots = rng.normal(0.0, 40.0, (90, 2))
    many = [
        LandingPoint(label="", along_mm=a, across_mm=b, verdict=("in", "out")[k % 2])
        for k, (a, b) in enumerate(spots[-60:])
    ]
    svg = landings_svg(many, all_mm=spots)
    discs, rings = re.findall(r'<path d="(M[^"]+)"', svg)
    assert [discs.count("M"), rings.count("M")] == [30, 30]
    x, y = map(float, re.match(r"M([-\d.]+),([-\d.]+)m", discs).groups())
    assert y / x == pytest.approx(many[0].along_mm / many[0].across_mm, rel=1e-3)
    assert "30 stops: in" in svg
    shapes = re.compile(r"<ellipse[^>]*>")
    alone = landings_svg(many[:-1])
    assert shapes.search(svg)[0] != shapes.search(alone)[0], "the ellipse is that of every stop"


def test_figures_stand_degenerate_data():
    assert "<svg" in landings_svg([])
    assert "nan" not in landings_svg(points([(5.0, 5.0)] * 6))
    assert "<svg" in residuals_svg([StripRow(label="nose", values_mm=())])


# -- words -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_mm", "units", "said"),
    [
        (84.2, "mm", "84 mm"), (4.26, "mm", "4.3 mm"), (0.0, "mm", "0 mm"),
        (254.0, "inches", "10.0 in"), (84.2, "inches", "3.31 in"),
        (635.0, "diamonds", "2.00 diamonds"), (3.175, "diamonds", "0.010 diamonds"),
    ],
)  # fmt: skip
def test_lengths_in_every_unit(length_mm, units, said):
    assert Lengths.on(TABLE, Units(units)).text(length_mm) == said


def test_places_in_diamonds_count_quarters_of_the_width():
    short = Table(length_mm=1981.2, width_mm=990.6)
    assert Lengths.on(short, Units.DIAMONDS).place((990.6, 495.3)) == "4.00, 2.00 diamonds"
    assert Lengths.on(short, Units.INCHES).place((990.6, 495.3)) == "39.0, 19.5 in"
    assert lengths.diamonds(short.surface_mm, (495.3, 742.95)) == "2.00, 3.00"


@pytest.mark.parametrize(
    ("value_mm", "ends", "said"),
    [
        (84.2, LONG_SHORT, "84 mm long"), (-12.0, LONG_SHORT, "12 mm short"),
        (0.2, LONG_SHORT, "neither long nor short"), (9.96, LEFT_RIGHT, "10 mm left"),
        (-30.0, LEFT_RIGHT, "30 mm right"), (-0.1, LEFT_RIGHT, "neither left nor right"),
    ],
)  # fmt: skip
def test_sides(value_mm, ends, said):
    assert MILLIMETRES.sided(value_mm, ends) == said


def test_signed_numbers_have_a_real_minus_and_zero_none():
    assert [plain.signed(v) for v in (3.4, -3.4, -0.2)] == ["+3", "\N{MINUS SIGN}3", "0"]


def test_error_is_the_larger_half_axis_of_the_95_ellipse():
    ball = Ball(id="1", x_mm=1, y_mm=1, cov_mm2=((4.0, 0.0), (0.0, 1.0)))
    assert balls.error_95_mm(ball) == pytest.approx(2 * 2.4477, rel=0, abs=1e-3)


def test_intent_in_words():
    said = intents.intent_words(Intent.from_dict(INTENT))
    assert said == (
        "Pot 3 in the foot left, leave 4 for the side right, cut 10 to 40°, "
        "right of the potting line, 200 to 900 mm away, 60 mm off the cushions"
    )
    drawn = Intent.from_dict({"zone": {"circle_mm": [500, 500, 100]}})
    assert intents.intent_words(drawn) == "Stop in the drawn zone"


@pytest.mark.parametrize(
    ("cut_deg", "said"),
    [(5.0, "too straight"), (20.0, "good angle"), (50.0, "too much angle"), (None, "")],
)
def test_judged_angle(cut_deg, said):
    assert judged_angle(cut_deg, (10.0, 40.0)) == said
    assert judged_angle(cut_deg, None) == ""


# -- files -----------------------------------------------------------------------------------


def test_text_is_written_whole_or_not_at_all(tmp_path):
    path = tmp_path / "report.html"
    write_text(path, "old")
    with pytest.raises(UnicodeEncodeError):
        write_text(path, "half \ud800")
    assert path.read_text() == "old"
    with pytest.raises(FileFormatError, match=r"report\.html: cannot be written"):
        write_text(tmp_path / "nowhere" / "report.html", "new")
    assert [p.name for p in tmp_path.iterdir()] == ["report.html"]


def test_folder_in_the_way_of_a_file_is_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(FileFormatError, match=r"file/out: cannot be made"):
        make_folder(tmp_path / "file" / "out")
