"""Two cameras and a lamp between them, rendered: a room of ``--set pairs``."""

from __future__ import annotations

from pathlib import Path

import pytest

from service.bench.cameras.rendered import rendered_figures
from service.bench.cameras.simulated import simulated_figures
from vision.training.paired_rooms import behind_mm, paired_jobs, paired_rooms

STILLS = Path(__file__).parent / "paired_stills"


@pytest.fixture(scope="module")
def figures():
    return rendered_figures(STILLS)


def test_what_the_lamp_hides_from_one_the_other_sees(figures) -> None:
    blind = figures["blind_share"]
    assert min(blind["a"], blind["b"]) > 0.09
    assert blind["joined"] == 0
    missed = {name: each["missed"] for name, each in figures["accuracy"].items()}
    assert missed["joined"] == 0


def test_joined_places_are_better_than_one_cameras(figures) -> None:
    # of one moment; the figures of many stand in the documents
    assert figures["gain_where_both_see"] > 1.2
    joined = figures["accuracy"]["joined"]
    assert (joined["invented"], joined["wrong_names"]) == (0, 0)
    assert joined["coverage_95"] > 0.9


def test_a_knocked_camera_is_named_by_its_rails_and_without_them(figures) -> None:
    assert figures["knocked"] == ["0001: with rails: moved b; without: camera-moved b"]


def test_the_bench_counts_knocks_and_false_alarms() -> None:
    found = simulated_figures(12)
    assert found["gain"] > 1.3
    assert found["said_to_disagree_though_still"] == 0
    by_size = {each["pushed_mm"]: each for each in found["knocked"]}
    assert by_size[8.0]["named"] == by_size[8.0]["knocks"] == 3
    assert all(each["other_named"] == 0 for each in by_size.values())


def test_a_pair_of_rooms_differs_by_its_camera_alone() -> None:
    by = paired_rooms(820_001)
    assert by["a"].camera != by["b"].camera
    assert by["a"].lamps == by["b"].lamps
    shade = by["a"].lamps[-1]
    hidden = [behind_mm(shade, room, room.camera) for room in by.values()]
    bed = by["a"].table.length_mm * by["a"].table.width_mm
    assert all(0.1 < part.area / bed < 0.16 for part in hidden)
    assert hidden[0].distance(hidden[1]) > 50
    jobs = {job.path: job for job in paired_jobs(820_000, [1], 1)}
    assert [path.split("-", 1)[1] for path in jobs] == [
        "empty-a.jpg", "empty-b.jpg", "1-a.jpg", "1-b.jpg", "knocked-b.jpg",
    ]  # fmt: skip
    assert jobs["pairs/0001-1-a.jpg"].scene.balls == jobs["pairs/0001-1-b.jpg"].scene.balls
