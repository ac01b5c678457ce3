"""The user's own proof: its figure against the true error, on simulated and on rendered stills."""

import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest

from calibration.errors import FileFormatError
from calibration.kept.calibration import Calibration
from calibration.kept.proof import KeptProof
from calibration.table import BALL_DIAMETER_MM, FROZEN_INSET_MM, Table
from service.cli import main
from service.proving.gauges import FROZEN_SIGMA_MM
from service.proving.proof import proof_of
from service.proving.seen import SeenStill, look
from vision.layout import BALL_IDS
from vision.read import read_still
from vision.truth.file import read_truth

SAMPLES = Path(__file__).parent.parent / "sample_frames"
TABLE = Table.from_surface("9ft")
PICTURE_MM = 0.25
"""Stated error of a ball's place by the picture, 1 sigma of a direction."""
OWN_MM = 0.5
"""Stated error of where the lens stands, which shifts every ball alike."""


def stated(made):
    """The calibration, stating that its camera may stand aside by ``OWN_MM``."""
    cov = tuple(tuple(OWN_MM**2 * (i == j) for j in range(2)) for i in range(2))
    return replace(made, parameter_names=("lens_x_mm", "lens_y_mm"), parameter_cov=cov)


@pytest.fixture(scope="module")
def made():
    still = next(iter(read_truth(SAMPLES / "practice").values()))
    return stated(Calibration.exact(still.camera, still.table, head=still.head))


def rack(table):
    """Fifteen balls, tight, with the first on the foot spot."""
    rows = [
        (row * BALL_DIAMETER_MM * np.sqrt(3) / 2, (k - row / 2) * BALL_DIAMETER_MM)
        for row in range(5)
        for k in range(row + 1)
    ]
    return np.array(rows) + table.spots_mm["foot"]


def clusters(table, where, rng):
    """Three threes of touching balls at the shares ``where``, and four frozen ones."""
    three = BALL_DIAMETER_MM * np.array([(0.0, 0.0), (1.0, 0.0), (0.5, np.sqrt(3) / 2)])
    size = np.array(table.surface_mm)
    heaps = [three + np.array(place) * size for place in where]
    length, width = size
    a, b, c, d = FROZEN_INSET_MM + FROZEN_SIGMA_MM * rng.standard_normal(4)
    frozen = [(a, 400), (length - b, 800), (600, c), (1900, width - d)]
    return np.concatenate([*heaps, frozen])


def read_with(places, made, factor, rng, name):
    """Readings whose errors are ``factor`` times what they state, and the same move for all."""
    cov = np.tile(PICTURE_MM**2 * np.eye(2), (len(places), 1, 1))
    noise = factor * PICTURE_MM * rng.standard_normal(places.shape)
    return SeenStill(
        still=name,
        names=BALL_IDS[: len(places)],
        doubtful=(False,) * len(places),
        place_mm=places + noise,
        picture_cov_mm2=cov,
    )


def simulated(made, factor, seed):
    """A rack and two stills of clusters, read with errors that are ``factor`` times as stated."""
    rng = np.random.default_rng(seed)
    layouts = [
        rack(made.table),
        clusters(made.table, [(0.2, 0.3), (0.5, 0.7), (0.8, 0.2)], rng),
        clusters(made.table, [(0.3, 0.8), (0.6, 0.4), (0.9, 0.6)], rng),
        clusters(made.table, [(0.1, 0.5), (0.4, 0.2), (0.7, 0.8)], rng),
    ]
    move = factor * OWN_MM * rng.standard_normal(2)
    seen = []
    for number, places in enumerate(layouts):
        slopes = made.slopes_mm(places)
        seen.append(read_with(places + slopes @ move, made, factor, rng, f"still {number}"))
    return seen


@pytest.mark.parametrize("factor", [1.0, 1.6, 2.0])
def test_the_measured_error_is_the_true_one(made, factor):
    figures = [proof_of(simulated(made, factor, seed), made).whole for seed in range(100)]
    measured = np.array([figure.factor for figure in figures])
    # balls are exactly round here, and 0.07 mm is allowed for: a tenth of the least error
    np.testing.assert_allclose(np.median(measured), factor, rtol=0.1)
    # one proof of 58 gauges spreads by a tenth: nine in ten, less three standard deviations
    assert np.mean(np.abs(measured / factor - 1) < 0.2) >= 0.8
    inside = np.mean([one.factor_low <= factor <= one.factor_high for one in figures])
    assert inside >= 0.88  # 95 % of 100, less three standard deviations
    # the move that all share adds to frozen balls alone
    mm = np.array([figure.measured_mm / figure.stated_mm for figure in figures])
    np.testing.assert_allclose(np.median(mm), factor, rtol=0.1)


@pytest.mark.parametrize("small", [0.5, 1.0])
def test_millimetres_do_not_lean_on_what_is_stated(made, small):
    exact = replace(made, parameter_names=(), parameter_cov=())
    figures = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        laid = clusters(made.table, [(0.2, 0.3), (0.5, 0.7), (0.8, 0.2)], rng)
        # half of the balls say five times what they are off, others what they are or half
        says = PICTURE_MM * np.where(np.arange(len(laid)) % 2, 5.0, small)
        cov = says[:, None, None] ** 2 * np.eye(2)
        seen = replace(read_with(laid, made, 1.0, rng, "still"), picture_cov_mm2=cov)
        figures.append(proof_of([seen], exact).whole)
        assert figures[-1].stated_mm > 2.5 * PICTURE_MM
    measured = np.array([figure.measured_mm for figure in figures])
    np.testing.assert_allclose(np.sqrt(np.mean(measured**2)), PICTURE_MM, rtol=0.1)
    inside = np.mean([one.low_mm <= PICTURE_MM <= one.high_mm for one in figures])
    assert inside >= 0.86  # 95 % of 60, less three standard deviations


@pytest.mark.parametrize(("factor", "most_wrong"), [(1.0, 0.1), (2.0, 0.0)])
def test_a_factor_is_kept_only_where_the_stated_error_is_too_small(made, factor, most_wrong):
    proofs = [proof_of(simulated(made, factor, seed), made) for seed in range(40)]
    wrong = [proof.factor == 1.0 if factor > 1 else proof.factor > 1.0 for proof in proofs]
    assert np.mean(wrong) <= most_wrong
    if factor > 1:
        np.testing.assert_allclose(np.median([p.factor for p in proofs]), factor, rtol=0.1)


def test_what_stays_in_view_counts_once(made):
    rng = np.random.default_rng(5)
    places = rack(made.table)
    seen = [read_with(places, made, 1.0, rng, f"still {number}") for number in range(4)]
    proof = proof_of(seen, made)
    assert proof.kinds["rack"].gauges == 30
    assert proof.repeated == 3
    assert proof.kinds["repeated"].gauges == 3 * 2 * 15
    assert not proof.names_changed


def test_whatever_lies_within_three_millimetres_is_meant_to_touch(made):
    x, y = made.table.spots_mm["centre"]
    places = np.array([(x + k * (BALL_DIAMETER_MM + gap), y) for k, gap in enumerate((0, 2.9))])
    still = SeenStill(
        still="a",
        names=BALL_IDS[:2],
        doubtful=(False, False),
        place_mm=places,
        picture_cov_mm2=np.tile(0.01 * np.eye(2), (2, 1, 1)),
    )
    proof = proof_of([still], made)
    (one,) = proof.weighed
    np.testing.assert_allclose(one.gauge.off_mm, 2.9, rtol=0, atol=1e-9)
    assert proof.factor > 1
    told = proof_of([still], made, apart=[frozenset(BALL_IDS[:2])])
    assert (told.weighed, told.factor, [one.code for one in told.left_out]) == ((), 1.0, ["told"])
    farther = replace(still, place_mm=places + np.array([(0, 0), (0.2, 0)]))
    assert [one.code for one in proof_of([farther], made).left_out] == ["apart"]


def test_a_name_that_changes_where_a_ball_stayed_is_told(made):
    rng = np.random.default_rng(6)
    places = rack(made.table)
    one, other = (read_with(places, made, 1.0, rng, name) for name in "ab")
    other = replace(other, names=("1", "cue", *other.names[2:]))
    changed = proof_of([one, other], made).names_changed
    assert {(c.name, c.other_name) for c in changed} == {("cue", "1"), ("1", "cue")}


def test_a_balls_real_error_on_a_rendered_rack_is_what_its_contacts_say():
    truth = read_truth(SAMPLES / "others")["other-02.jpg"]
    path = SAMPLES / "others" / truth.name
    seen, left = look([path], truth.calibration)
    proof = proof_of(seen, truth.calibration)
    assert not left
    assert proof.kinds["rack"].gauges == 30
    true_mm = np.array([(ball.x_mm, ball.y_mm) for ball in truth.balls])
    off = np.array([p - true_mm[np.argmin(np.hypot(*(true_mm - p).T))] for p in seen[0].place_mm])
    # an error that all balls share moves no contact
    real_mm = float((off - off.mean(0)).std())
    figure = proof.whole
    assert figure.low_mm <= real_mm <= figure.high_mm
    # thirty contacts tell a spread to 13 % at best
    np.testing.assert_allclose(figure.measured_mm, real_mm, rtol=0.3)


def test_a_picture_given_twice_proves_nothing(tmp_path):
    truth = read_truth(SAMPLES / "others")["other-02.jpg"]
    data = (SAMPLES / "others" / truth.name).read_bytes()
    for name in "ab":
        (tmp_path / f"{name}.jpg").write_bytes(data)
    stills = [tmp_path / "a.jpg", tmp_path / "b.jpg", tmp_path / "none.jpg"]
    seen, left = look(stills, truth.calibration)
    assert (len(seen), [one.code for one in left]) == (1, ["same-picture", "unreadable"])


def test_a_kept_factor_widens_every_reading(tmp_path, capsys):
    truth = read_truth(SAMPLES / "others")["other-02.jpg"]
    path = SAMPLES / "others" / truth.name
    proof = KeptProof(factor=1.5, stills=1, gauges=30, at="2026-11-28T20:00:00+00:00")
    proved = replace(truth.calibration, proof=proof)
    proved.write(tmp_path / "table.json")
    assert Calibration.read(tmp_path / "table.json") == proved
    bare, wide = (read_still(path.read_bytes(), made) for made in (truth.calibration, proved))
    for one, other in zip(bare.balls, wide.balls, strict=True):
        np.testing.assert_allclose(other.cov_mm2, 2.25 * np.array(one.cov_mm2), rtol=1e-9)
        assert other.centre_mm == one.centre_mm
    # proved again, the factor is what it is without an earlier one; what holds takes it away
    page = tmp_path / "proof.html"
    told = [str(path), "--calibration", str(tmp_path / "table.json"), "--json", "--keep"]
    assert main(["prove", *told, "--out", str(page)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["factor"] == Calibration.read(tmp_path / "table.json").error_factor == 1.0
    assert said["whole"]["gauges"] == 30
    assert (
        ElementTree.fromstring(re.search(r"<svg.*?</svg>", page.read_text(), re.S)[0]) is not None
    )


@pytest.mark.parametrize("factor", [0.5, "2", float("nan")])
def test_a_factor_that_none_can_be_is_refused(factor):
    with pytest.raises(FileFormatError, match=r"factor.*1 to 100"):
        KeptProof.from_dict({"factor": factor, "stills": 1, "gauges": 3, "at": "2026-11-28"})


@pytest.mark.parametrize("pair", ["3", "3,3", "3,16", "3,4,5"])
def test_two_balls_apart_are_two_balls(pair, tmp_path, capsys):
    made = next(iter(read_truth(SAMPLES / "others").values())).calibration
    made.write(tmp_path / "table.json")
    told = ["x.jpg", "--calibration", str(tmp_path / "table.json"), "--apart", pair]
    assert main(["prove", *told]) == 1
    assert "--apart" in capsys.readouterr().err
