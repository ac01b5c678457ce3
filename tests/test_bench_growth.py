"""The benches of growth and load: their shape, and one generous bound each."""

from __future__ import annotations

import json
from io import StringIO
from typing import Any

import pytest
from api_kit import picture
from rich.console import Console

from service.bench.growth.__main__ import growth_figures, print_growth
from service.bench.growth.__main__ import main as growth
from service.bench.growth.filled import fill
from service.bench.load.__main__ import bound_by
from service.bench.load.__main__ import main as load
from service.bench.load.posted import marked
from service.desk.sums import lately_of, progress_of
from service.store import Store
from vision.still import decode_still

COUNT = 700
PAGE_CPU_MS = 400.0
"""Processor time of a page's data; 30 measured."""


@pytest.fixture(scope="module")
def found() -> dict[str, Any]:
    """What is measured at two small sizes, as JSON has it."""
    figures: dict[str, Any] = json.loads(json.dumps(growth_figures((60, COUNT))))
    return figures


def test_growth_is_measured_at_every_size(found: dict[str, Any]) -> None:
    assert [each["attempts"] for each in found["sizes"]] == [60, COUNT]
    for each in found["sizes"]:
        times = {key: value for key, value in each.items() if key.endswith("_ms")}
        assert len(times) == 34
        assert min(times.values()) >= 0
        assert 0 < each["page_data_cpu_ms"] < PAGE_CPU_MS
        assert each["attempts_player"] <= each["attempts"]
    assert found["database"] == "sqlite"


def test_growth_is_printed_for_people(found: dict[str, Any]) -> None:
    said = StringIO()
    print_growth(found, Console(file=said, width=100))
    text = said.getvalue()
    for words in (
        "page data, ms",
        "first page after it",
        "one player's statistics",
        "daily look and copy",
    ):
        assert words in text


def test_a_postgresql_store_is_one_size(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        growth(["10", "20", "--store", "postgresql+psycopg://x/y"])
    assert "allowed: one" in capsys.readouterr().err


def test_a_filled_store_holds_whole_evenings_of_ten_players(tmp_path):
    fill(tmp_path / "data", COUNT)
    store = Store(tmp_path / "data")
    with store.reading() as reader:
        assert reader.counts()["attempts"] == COUNT
        first = progress_of(reader, player_id=1)
        assert [session.attempts for session in first.sessions] == [60, 60]
        second = progress_of(reader, player_id=2)
        assert [session.attempts for session in second.sessions] == [60, 40]
        assert lately_of(reader).now.attempts == 60
        attempt = reader.attempt(reader.attempts(limit=1)[0].id)
    store.close()
    assert attempt.verdict["verdict"] in ("in", "out", "too close to call")


def test_load_is_measured_on_a_service_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    assert load(["--rate", "2", "--seconds", "2", "--screens", "1", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["stills"], found["statuses"]) == (4, {"201": 4})
    assert 0 < found["rate"] <= 2
    assert found["wait_ms"]["p50"] <= found["wait_ms"]["p100"]
    assert 50 < found["memory"]["begin_mb"] <= found["memory"]["most_mb"] < 2000
    assert found["cpu_ms_a_still"] > 0
    assert found["parts_fetched"] >= 3
    assert found["bound_by"] in ("nothing", "processor", "waiting")


def test_what_bounds_a_rate():
    assert bound_by(1.0, 0.99) == "nothing"
    assert bound_by(0.7, 0.95) == "processor"
    assert bound_by(0.7, 0.3) == "waiting"


def test_a_marked_still_is_the_same_picture_in_other_bytes():
    data = picture()
    one, other = marked(data, "1"), marked(data, "2")
    assert one != other
    assert (decode_still(one, name="1") == decode_still(data, name="0")).all()
