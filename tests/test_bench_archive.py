"""What reading an archive again costs: figures of a few stills, and what is reckoned from them."""

from io import StringIO

import pytest
from rich.console import Console

from service.bench.archive import on_paper, print_bench_archive, run_bench_archive

MEASURED = {"workers": 2, "per_s": 50.0, "keeping_ms": 1.0}


def test_workers_of_an_archive_are_measured_beside_loops():
    figures = run_bench_archive(stills=6, workers=(1,))
    (one,) = figures["workers"]
    assert one["per_s"] == pytest.approx(1000 / one["still_ms"])
    assert one["overhead"] == pytest.approx(one["still_ms"] / one["loop_still_ms"] - 1)
    assert len(one["loops_ms"]) == 2
    assert 100 < one["worker_mb"] < 450
    said = StringIO()
    print_bench_archive(figures, Console(file=said, width=400))
    assert f"1 worker(s): {one['per_s']:.1f} stills a second" in said.getvalue()
    assert "on paper: 1,000,000 stills on 64 such workers" in said.getvalue()


@pytest.mark.parametrize(
    ("keeping_ms", "rate", "limit"),
    [(0.5, 1600.0, "workers"), (1.0, 1000.0, "the process that keeps")],
)
def test_many_workers_are_no_quicker_than_what_keeps(keeping_ms, rate, limit):
    found = on_paper([MEASURED | {"keeping_ms": keeping_ms}], mean_bytes=300_000)
    assert (found["per_s"], found["limit"]) == (rate, limit)
    assert found["hours"] == pytest.approx(1e6 / rate / 3600)
    assert found["fetched_mb_s"] == pytest.approx(rate * 0.3)
    assert found["archive_gb"] == pytest.approx(300)
