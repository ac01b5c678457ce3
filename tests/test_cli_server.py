"""Commands with ``--server``: a running service reads, scores and keeps."""

import json

import pytest
from api_kit import INTENT, after, layout, still

from service.cli import main


@pytest.fixture
def server(client):
    return str(client.base_url).removesuffix("/api/v1/")


@pytest.fixture
def folder(tmp_path):
    """Two attempts in pairs, with their plan."""
    folder = tmp_path / "shots"
    folder.mkdir()
    for number, stop in enumerate(((2300.0, 200.0), (1300.0, 600.0))):
        (folder / f"{number}-before.jpg").write_bytes(still(layout(), shade=30 + 60 * number))
        (folder / f"{number}-after.jpg").write_bytes(still(after(stop), shade=60 + 60 * number))
    # the names put after before
    for path in sorted(folder.iterdir()):
        number, _, role = path.stem.partition("-")
        path.rename(folder / f"{number}{'1' if role == 'before' else '2'}-{role}.jpg")
    (folder / "plan.json").write_text(json.dumps({"shots": [INTENT, INTENT]}), encoding="utf-8")
    return folder


def printed(capsys):
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_read_asks_the_service(client, server, tmp_path, capsys):
    (tmp_path / "good.jpg").write_bytes(still())
    (tmp_path / "bad.jpg").write_bytes(b"none")
    names = [str(tmp_path / name) for name in ("good.jpg", "bad.jpg")]
    assert main(["read", *names, "--server", server, "--json"]) == 1
    good, bad = printed(capsys)
    assert good == layout(still=names[0]).to_dict()
    assert (bad["still"], bad["error"]["code"]) == (names[1], "bad-still")
    assert client.get("/stills").json()["stills"][0]["name"] == "good.jpg"
    assert main(["read", names[0], "--server", server]) == 0
    assert "4 balls" in capsys.readouterr().out


def test_session_sends_a_folder_with_its_intents_between(client, server, folder, capsys):
    assert main(["session", str(folder), "--server", server, "--json"]) == 0
    said = printed(capsys)
    assert [each["still"] for each in said] == [
        "01-before.jpg", "02-after.jpg", "11-before.jpg", "12-after.jpg"
    ]  # fmt: skip
    assert [each["attempt"] is not None for each in said] == [False, True, False, True]
    assert said[1]["attempt"]["verdict"]["verdict"] == "out"
    assert len(client.get("/attempts").json()["attempts"]) == 2


def test_a_folder_sent_again_counts_once(client, server, folder, capsys):
    for _ in range(2):
        assert main(["session", str(folder), "--server", server]) == 0
    assert "had arrived before" in capsys.readouterr().out
    assert client.get("/health").json()["attempts"] == 2


def test_progress_asks_the_service(server, folder, capsys):
    assert main(["session", str(folder), "--server", server]) == 0
    capsys.readouterr()
    assert main(["progress", "--server", server, "--json"]) == 0
    (said,) = printed(capsys)
    assert main(["progress", "--server", server]) == 0
    assert capsys.readouterr().out.splitlines() == said["words"]


def test_layout_asks_the_service(client, server, tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    there = ["--server", server]
    (tmp_path / "now.jpg").write_bytes(still(layout()))
    assert main(["layout", "record", *there]) == 1
    assert "nothing was read at this table yet" in capsys.readouterr().err
    assert main(["read", "now.jpg", *there]) == 0
    words = ["--title", "One", "--note", "soft", "--tag", "a"]
    assert main(["layout", "record", *words, *there, "--out", "one.pdf"]) == 0
    (tmp_path / "other.json").write_text(json.dumps(after((2300.0, 200.0)).to_dict()))
    assert main(["layout", "record", "other.json", "--title", "Two", *there]) == 0
    assert main(["layout", "import", "one.pdf", *there]) == 0
    capsys.readouterr()
    assert main(["layout", "list", "--words", "soft", "--json", *there]) == 0
    found = printed(capsys)
    assert [(each["id"], each["title"], each["tags"]) for each in found] == [
        (3, "One", ["a"]), (1, "One", ["a"])
    ]  # fmt: skip
    assert found == client.get("/layouts", params={"q": "soft"}).json()["layouts"]
    assert main(["layout", "export", "1", "2", "--out", "both.html", *there]) == 0
    assert (tmp_path / "both.html").read_text(encoding="utf-8").count("<article>") == 2
    assert main(["layout", "export", "3", "--mirror", "across", "--out", "x.png", *there]) == 0
    assert main(["layout", "guide", "--layout", "1", *there]) == 0
    assert main(["layout", "guide", "--layout", "x.png", *there]) == 1
    assert "toward" in capsys.readouterr().out
    assert main(["layout", "guide", "other.json", "--layout", "2", *there]) == 0


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (["layout", "list", "--server", "URL", "--data", "d"], "--data"),
        (["read", "a.jpg", "--server", "URL", "--calibration", "table.json"], "--calibration"),
        (["read", "a.jpg", "--server", "URL", "--set", "set.json"], "--set"),
        (["session", ".", "--server", "URL", "--data", "d"], "--data"),
        (["session", ".", "--server", "URL", "--report", "r.html"], "--report"),
        (["progress", "--server", "URL", "--player", "2"], "--player"),
    ],
)
def test_what_the_service_settles_itself_cannot_be_given(capsys, words, text):
    assert main([word.replace("URL", "http://127.0.0.1:9") for word in words]) == 1
    said = capsys.readouterr().err
    assert f"{text}: cannot stand beside --server" in said


def test_reading_needs_one_of_the_two(capsys):
    assert main(["read", "a.jpg"]) == 2
    assert "--server" in capsys.readouterr().err


def test_nobody_there_is_said_once(folder, capsys, monkeypatch):
    monkeypatch.setattr("service.client.asking.FIRST_PAUSE_S", 0.001)
    assert main(["session", str(folder), "--server", "http://127.0.0.1:9"]) == 1
    assert capsys.readouterr().err.count("no answer") == 1
