"""The school's bench: what it counts, what it reckons, and that a small run of it answers."""

from __future__ import annotations

import json
from io import StringIO

import pytest
from rich.console import Console

from service.bench.school import Answer, Sending, main, model, print_school


def sent(*answers):
    sending = Sending(1, (), 2, 1.0, None)
    sending.answers.extend(
        Answer(table=table, waited_s=waited_s, status=status, took_ms=30.0)
        for table, waited_s, status in answers
    )
    return sending


def test_only_good_answers_count_and_tables_are_laid_side_by_side():
    found = sent((1, 0.1, 201), (1, 0.3, 201), (2, 0.2, 200), (2, 9.0, 503)).figures(2.0)
    assert found["rate"] == 1.5
    assert found["statuses"] == {"200": 1, "201": 2, "503": 1}
    assert found["wait_ms"]["p50"] == pytest.approx(200)
    assert found["wait_ms"]["p100"] == pytest.approx(300)
    assert found["a_table"] == [1, 2]


def test_without_an_answer_no_wait_is_told():
    found = sent((1, 1.0, 0)).figures(1.0)
    assert (found["rate"], found["wait_ms"]["p50"]) == (0.0, None)


def test_more_cores_read_more_until_the_service_itself_has_none_left():
    by_cores = {
        each["cores"]: each["rate"]
        for each in model({"service_cpu_ms": 10.0, "reader_cpu_ms": 30.0})
    }
    assert by_cores[1] == pytest.approx(25)
    assert by_cores[2] == pytest.approx(50)
    assert by_cores[4] == by_cores[16] == pytest.approx(100)


def test_a_number_of_cores_that_is_not_there_is_refused(capsys):
    with pytest.raises(SystemExit):
        main(["--cores", "0"])
    assert "allowed: 1 to" in capsys.readouterr().err


def test_a_small_run_reads_at_every_table(capsys):
    assert main(["--cores", "1", "--tables", "2", "--seconds", "1", "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)
    (run,) = figures["runs"]
    assert set(run["full"]["statuses"]) == {"201"}
    assert run["full"]["a_table"][0] > 0
    assert set(run["calm"]["statuses"]) == {"201"}
    assert run["reader_cpu_ms"] > 0
    assert run["memory_mb"]["readers"]
    out = StringIO()
    print_school(figures, Console(file=out, width=200))
    assert "1 core, 1 reading" in out.getvalue()
