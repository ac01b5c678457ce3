"""A store as Parquet files, and the service's figures from them over Dask dataframes."""

from __future__ import annotations

from contextlib import closing
from datetime import UTC, datetime, timedelta

import dask
import pyarrow.parquet as pq
import pytest
from archive_kit import TRUTH, fill
from store_kit import URLS, open_store

from service.bench.growth.drawn import PLAYERS, STARTED
from service.bench.growth.filled import fill as fill_attempts
from service.cli import main
from service.desk.sums import progress_of, statistics_of, summary_of
from service.listed.attempts import COLUMNS
from service.parquet import ParquetError, columns_in, standing_in, standings_in, write_parquet
from service.parquet import writing as parquet_writing
from service.parquet.columns import FIELDS
from service.practice.statistics.progress import over_sessions, plain_of
from service.practice.statistics.summary import sum_up

BOTH_DATABASES = True
ATTEMPTS = 700


@pytest.fixture
def stored(data):
    """A store of ten players' evenings, some attempts struck, noted and in sets."""
    fill_attempts(data, ATTEMPTS, url=URLS.get(data))
    with closing(open_store(data)) as store:
        with store.writing() as writer:
            for number in range(1, 60, 7):
                writer.strike_attempt(number)
        yield store


@pytest.fixture
def folder(stored, tmp_path, monkeypatch):
    """Its files, in several parts."""
    monkeypatch.setattr(parquet_writing, "_ROWS", 300)
    done = write_parquet(stored, tmp_path / "tables")
    assert done.attempts == ATTEMPTS
    assert len(list((tmp_path / "tables" / "attempts").iterdir())) == 3
    with dask.config.set(scheduler="synchronous"):
        yield tmp_path / "tables"


def test_every_figure_of_every_player_is_the_services(stored, folder):
    found = standings_in(folder)
    assert sorted(found) == list(range(1, PLAYERS + 1))
    with stored.reading() as reader:
        for player, told in found.items():
            assert told == statistics_of(reader, player_id=player).to_dict()


def test_every_choice_gives_the_services_figures(stored, folder):
    middle = STARTED + timedelta(days=60)
    with stored.reading() as reader:
        for which in (
            {}, {"player_id": 3}, {"table_id": 1}, {"table_id": 2}, {"practice_id": 1},
            {"since": middle}, {"until": middle}, {"player_id": 1, "since": middle},
        ):  # fmt: skip
            told = statistics_of(reader, **which).to_dict()
            assert standing_in(folder, **which).to_dict() == told, which
        shots = columns_in(folder, player_id=2)
        assert sum_up(plain_of(shots)) == summary_of(reader, player_id=2)
        assert over_sessions(shots).to_dict() == progress_of(reader, player_id=2).to_dict()


def test_columns_have_units_and_rows_are_the_stores(data, tmp_path):
    fill(data, 2)
    with closing(open_store(data)) as store:
        done = write_parquet(store, tmp_path / "tables")
    assert (done.attempts, done.readings) == (0, 2)
    for kind, fields in FIELDS.items():
        table = pq.read_table(tmp_path / "tables" / kind)
        assert table.column_names == [each.name for each in fields]
        for each in fields:
            assert table.schema.field(each.name).metadata[b"unit"].decode() == each.unit
    assert [each.name for each in FIELDS["attempts"]][: len(COLUMNS)] == [c.name for c in COLUMNS]
    readings = pq.read_table(tmp_path / "tables" / "readings").to_pylist()
    balls = pq.read_table(tmp_path / "tables" / "balls").to_pylist()
    assert [row["still_name"] for row in readings] == ["shot-01-after.jpg", "shot-01-before.jpg"]
    assert readings[0]["received_at"] < datetime.now(UTC)
    truth = {ball.id: ball for ball in TRUTH["shot-01-after.jpg"].balls}
    mine = {row["ball"]: row for row in balls if row["reading"] == 1}
    assert {name: row["x_mm"] for name, row in mine.items()} == {
        name: ball.x_mm for name, ball in truth.items()
    }
    assert len(balls) == done.balls == sum(row["balls"] for row in readings)


def test_the_command_writes_them_and_refuses_what_it_cannot(tmp_path, capsys):
    fill(tmp_path / "data", 1)
    where = ["export", "--data", str(tmp_path / "data")]
    assert main([*where, "--parquet", str(tmp_path / "tables")]) == 0
    assert "0 attempts, 1 readings" in capsys.readouterr().out
    assert main([*where, "--parquet", str(tmp_path / "tables")]) == 1
    assert "holds something already" in capsys.readouterr().err
    assert main([*where, "--parquet", str(tmp_path / "no" / "tables")]) == 1
    assert "cannot be written" in capsys.readouterr().err
    assert main(where) == 2
    assert "--out or --parquet" in capsys.readouterr().err
    assert main([*where, "--parquet", "x", "--server", "http://127.0.0.1:1"]) == 1
    with pytest.raises(ParquetError, match="restmark export --parquet"):
        columns_in(tmp_path / "none")
