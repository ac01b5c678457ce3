"""Export, import and CSV over HTTP and from the command line; the client moves stores too."""

import csv
import io
import zipfile

import httpx
import pytest
from api_kit import Client, after, assert_problem, running, still
from docs_kit import FOLDER

from service.cli import main
from service.client import Client as Caller
from service.listed import COLUMNS
from service.listed.attempts import attempt_lines

BOTH_DATABASES = True
ZIP = {"Content-Type": "application/zip"}


@pytest.fixture
def played(client):
    """A service with two attempts and an intent that waits."""
    for stop in ((2300.0, 200.0), (1300.0, 600.0)):
        assert client.round(after(stop)).json()["attempt"]
    client.put("/intent", json={"zone": {"circle_mm": [600, 600, 100]}})
    return client


def export(client):
    answer = client.get("/export")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/zip"
    return answer.content


def take(client, content, **headers):
    return client.post("/import", content=content, headers=ZIP | headers)


def lines(client, **asked):
    answer = client.get("/attempts.csv", params=asked)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    return list(csv.DictReader(io.StringIO(answer.text)))


# -- archives ------------------------------------------------------------------------------


def test_a_service_moves_to_another(played, tmp_path):
    content = export(played)
    with running(tmp_path / "other") as address, Client(address) as other:
        done = take(other, content)
        assert done.status_code == 200, done.text
        assert done.json()["added"]["attempts"] == 2
        assert done.json()["numbers"] == {"tables": {"1": 1}, "players": {"1": 1}}
        for path in ("/attempts", "/summary", "/stills", "/calibration"):
            assert other.get(path).json() == played.get(path).json(), path
        assert_problem(other.get("/intent"), 404, "no-intent")
        picture = other.get("/stills/1/picture").content
        assert picture == played.get("/stills/1/picture").content
        again = take(other, content).json()
        assert not any(again["added"].values())
        assert again["there"]["attempts"] == 2


def test_an_import_is_told_to_listeners_once(played, tmp_path):
    content = export(played)
    with running(tmp_path / "other") as address, Caller(address) as other:
        for _ in range(2):
            with Client(address) as other_hand:
                assert take(other_hand, content).status_code == 200
        told = other.events(after=0)
        assert [next(told).kind for _ in range(2)] == ["hello", "import"]
        other.send_still(still(), name="next.jpg")
        assert next(told).kind == "reading"


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"", "bad-archive"), (b"text", "bad-archive"), (b"PK\x03\x04" + bytes(90), "bad-archive")],
)
def test_what_is_no_archive_is_refused(client, content, code):
    body = assert_problem(take(client, content), 422, code)
    assert body["fields"] == {"where": "archive"}
    assert client.get("/health").json()["stills"] == 0


def test_another_media_type_is_refused(client):
    answer = client.post("/import", content=b"x", headers={"Content-Type": "text/plain"})
    assert_problem(answer, 415, "unsupported-media", text="application/zip")
    assert_problem(client.post("/import"), 415, "unsupported-media")


def test_an_archive_may_be_larger_than_a_still(played, tmp_path):
    """It is held to no still's limit, and arrives in pieces of unstated length."""
    made = io.BytesIO(export(played))
    with zipfile.ZipFile(made, "a") as file:
        file.comment = bytes(60_000)
    for more in (1, 2):
        large = still() + b"\n" * (15_000_000 + more)
        assert played.give(large, "large.jpg").status_code == 201
    large = export(played)
    assert len(large) > 25_000_000
    pieces = (large[i : i + 1_000_000] for i in range(0, len(large), 1_000_000))
    with running(tmp_path / "other") as address, Client(address) as other:
        assert take(other, made.getvalue()).status_code == 200
        assert take(other, pieces).json()["added"]["stills"] == 2


def test_nothing_is_left_of_an_upload(played, data):
    take(played, export(played))
    take(played, b"no archive")
    assert {path.name for path in data.iterdir()} <= {
        "restmark.db", "restmark.db-wal", "restmark.db-shm", "copies", "restmark.lock",
        "stills",
    }  # fmt: skip


def test_an_export_before_which_the_folder_went_away_is_a_problem(played, data):
    data.rename(data.parent / "away")
    assert_problem(played.get("/export"), 503, "store-failed")
    assert_problem(played.get("/attempts.csv"), 503, "store-failed")


def test_the_client_moves_a_store(played, tmp_path):
    with Caller(str(played.base_url).removesuffix("/api/v1/")) as service:
        service.export(tmp_path / "all.zip")
    assert not list(tmp_path.glob("*.part"))
    with running(tmp_path / "other") as address, Caller(address) as other:
        moved = other.take_archive(tmp_path / "all.zip")
        assert (moved.added["attempts"], moved.there["tables"]) == (2, 1)
        assert [each.id for each in other.attempts()] == [2, 1]


def test_the_commands_move_a_store(played, data, tmp_path, capsys):
    server = str(played.base_url).removesuffix("/api/v1/")
    out = tmp_path / "all.zip"
    assert main(["export", "--server", server, "--out", str(out)]) == 0
    assert main(["import", str(out), "--data", str(tmp_path / "new")]) == 0
    assert "2 attempts" in capsys.readouterr().out
    assert main(["export", "--data", str(tmp_path / "new"), "--out", str(out)]) == 0
    assert main(["import", str(out), "--server", server]) == 0
    assert "added: nothing" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["export", "--data", "nowhere", "--out", "x.zip"], "holds no store"),
        (["export", "--out", "no/such/folder/x.zip"], "its folder is not there"),
        (["import", "none.zip"], "no such file"),
        (["import", "bad.zip"], "no whole zip"),
        (["export", "--server", "http://127.0.0.1:1", "--out", "x.zip"], "no answer"),
        (["export", "--server", "ftp://x", "--out", "x.zip"], "allowed: one like http"),
    ],
)
def test_refusals_of_the_commands_are_one_line(tmp_path, monkeypatch, capsys, words, text):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bad.zip").write_bytes(b"text")
    assert main(words) == 1
    said = capsys.readouterr().err
    assert text in said
    assert said.count("\n") == 1
    assert not (tmp_path / "x.zip").exists()


# -- attempts as lines ---------------------------------------------------------------------


def test_each_attempt_is_a_line_in_the_order_played(played):
    found = lines(played)
    assert [row["attempt"] for row in found] == ["1", "2"]
    assert list(found[0]) == [column.name for column in COLUMNS]
    attempts = {str(each["id"]): each for each in played.get("/attempts").json()["attempts"]}
    for row in found:
        said = attempts[row["attempt"]]["verdict"]
        assert row["called"] == said["verdict"]
        assert float(row["miss_mm"]) == pytest.approx(said["miss_mm"], rel=1e-9)
        stop = [float(row["stop_x_mm"]), float(row["stop_y_mm"])]
        assert stop == pytest.approx(said["cue_stop_mm"], rel=1e-9)
        assert (row["pot"], row["next"], row["next_pocket"]) == ("3", "4", "side-right")
        assert (row["before"], row["after"]) == ("before.jpg", "after.jpg")
        assert (row["struck"], row["practice"], row["spin"]) == ("0", "", "")


def test_the_heading_stands_alone_before_the_first_attempt(client):
    assert client.get("/attempts.csv").text.count("\r\n") == 1


def test_attempts_are_chosen_by_player_practice_table_and_time(played):
    made = played.get("/attempts").json()["attempts"][0]["made_at"]
    assert [row["attempt"] for row in lines(played, since=made)] == ["2"]
    assert len(lines(played, player=1)) == 2
    assert lines(played, since="2100-01-01T00:00:00Z") == []
    for kind in ("player", "practice", "table"):
        answer = played.get("/attempts.csv", params={kind: 9})
        assert_problem(answer, 404, "not-found", text=f"{kind}: got number 9")
    assert_problem(played.get("/attempts.csv?since=yesterday"), 422, "invalid-request")
    assert_problem(played.get("/attempts.csv?player=0"), 422, "invalid-request")


def test_no_cell_is_a_formula_and_numbers_are_plain():
    row = dict.fromkeys((column.name for column in COLUMNS), None)
    row |= {"before": "=1+1", "after": '@a,"b"\n', "miss_x_mm": -0.5, "struck": True, "p_in": 1e-7}
    _, line = attempt_lines([row])
    (cells,) = csv.DictReader(io.StringIO(",".join(row) + "\r\n" + line))
    assert (cells["before"], cells["after"]) == ("'=1+1", '\'@a,"b"\n')
    assert (cells["miss_x_mm"], cells["struck"], cells["p_in"]) == ("-0.5", "1", "1e-07")


def test_the_page_lists_every_column_with_its_unit():
    said = (FOLDER / "archives.md").read_text(encoding="utf-8")
    for column in COLUMNS:
        assert f"| `{column.name}` | {column.unit} | {column.says} |" in said


def test_the_client_writes_the_lines(played, tmp_path):
    with Caller(str(played.base_url).removesuffix("/api/v1/")) as service:
        service.write_csv(tmp_path / "all.csv", player=1)
    assert (tmp_path / "all.csv").read_bytes() == played.get("/attempts.csv").content


def test_a_problem_carries_the_fields_of_its_refusal(client):
    calibrated = httpx.get(f"{client.base_url}calibration", verify=False)
    assert calibrated.status_code == 200
    assert_problem(take(client, b"x"), 422, "bad-archive")["fields"]
