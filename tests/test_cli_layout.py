"""``restmark layout``: record, list, export, and where each ball goes."""

import json

import pytest
from api_kit import BEFORE, INTENT, layout

from calibration.jsonfile import write_json
from service.cli import main
from service.layouts.files import read_layout


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with layouts of a table, worked in."""
    monkeypatch.chdir(tmp_path)
    write_json("now.json", layout(still="now.jpg").to_dict())
    off = BEFORE | {"3": (2058.0, 893.0)}
    off.pop("9")
    write_json("off.json", layout(off, still="off.jpg").to_dict())
    write_json("intent.json", INTENT)
    return tmp_path


def run(*words: str) -> int:
    return main(["layout", *words])


def test_a_layout_is_recorded_to_a_file_and_to_a_library(folder, capsys):
    words = (
        "--title",
        "One",
        "--note",
        "soft",
        "--tag",
        "a",
        "--tag",
        "b",
        "--intent",
        "intent.json",
    )
    assert run("record", "now.json", *words, "--out", "one.json", "--data", "store") == 0
    kept = read_layout((folder / "one.json").read_bytes())
    assert (kept.title, kept.note, kept.tags) == ("One", "soft", ("a", "b"))
    assert kept.intent.pot == "3"
    capsys.readouterr()
    assert run("list", "--data", "store", "--words", "soft", "--json") == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert json.loads(line)["title"] == "One"
    assert run("list", "--data", "store", "--tag", "c", "--json") == 0
    assert capsys.readouterr().out == ""
    assert run("list", "--data", "store") == 0
    assert "One" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("ending", "start"),
    [
        ("svg", b"<svg"),
        ("png", b"\x89PNG"),
        ("pdf", b"%PDF"),
        ("json", b"{"),
        ("html", b"<!doctype"),
    ],
)
def test_a_layout_is_exported_by_the_name_of_the_file(folder, capsys, ending, start):
    assert run("record", "now.json", "--title", "One", "--data", "store") == 0
    assert run("export", "1", "--data", "store", "--mirror", "across", "--out", f"x.{ending}") == 0
    assert (folder / f"x.{ending}").read_bytes().startswith(start)
    if ending != "html":
        copy = read_layout((folder / f"x.{ending}").read_bytes())
        assert copy.layout.ball("cue").y_mm == 1270 - BEFORE["cue"][1]
        assert copy.title == "One (mirrored across)"
        assert run("import", f"x.{ending}", "--data", "store") == 0
        assert f"layout 2 in store: {copy.title}" in capsys.readouterr().out
        assert run("export", "2", "--data", "store", "--out", "again.json") == 0
        assert read_layout((folder / "again.json").read_bytes()) == copy


def test_a_file_without_a_layout_is_said_and_the_others_come_in(folder, capsys):
    assert run("record", "now.json", "--out", "one.png") == 0
    (folder / "lost.pdf").write_bytes(b"%PDF-1.4 nothing")
    assert run("import", "lost.pdf", "none.svg", "one.png", "--data", "store") == 1
    said = capsys.readouterr()
    assert "lost.pdf: holds no layout; allowed: " in said.err
    assert "none.svg: no such file" in said.err
    assert "one.png: layout 1 in store" in said.out


def test_several_layouts_make_a_lesson(folder):
    assert run("export", "now.json", "off.json", "--title", "Both", "--out", "lesson.html") == 0
    page = (folder / "lesson.html").read_text(encoding="utf-8")
    assert page.count("<article>") == 2
    assert "<h1>Both</h1>" in page
    assert run("export", "now.json", "off.json", "--out", "lesson.png") == 1


def test_the_guide_says_where_each_ball_goes_and_its_exit_status_when_it_is_done(folder, capsys):
    assert run("guide", "off.json", "--layout", "now.json") == 1
    said = capsys.readouterr().out
    assert "toward the foot rail 42 mm, toward the left long rail 7.0 mm" in said
    assert "put ball 9 on the table, 300 mm from the head rail and 270 mm from" in said
    assert run("guide", "now.json", "--layout", "now.json", "--tolerance", "2") == 0
    assert "Done: 4 balls within 2.0 mm." in capsys.readouterr().out
    assert run("guide", "off.json", "--layout", "now.json", "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert not found["done"]
    assert [step["do"] for step in found["steps"]] == ["move", "put on"]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("record", "now.json"), 2, "give --out FILE, --data DIR or --server URL"),
        (("record", "--data", "store"), 2, "give STILL, or --server"),
        (("guide", "--layout", "now.json"), 2, "give STILL, or --server"),
        (("export", "7", "--out", "x.svg"), 1, "or its number in a library that --data or"),
        (("record", "none.json", "--out", "x.json"), 1, "no such file"),
        (("list", "--data", "none"), 1, "holds no store"),
        (("export", "now.json", "--out", "x.gif"), 1, "allowed: a name that ends in .svg"),
        (("export", "now.json", "--turn", "90", "--out", "x.svg"), 1, "allowed: 0 or 180 degrees"),
        (("guide", "now.json", "--layout", "off.json", "--tolerance", "0"), 1, "0.5 to 100 mm"),
        (("guide", "now.json", "--layout", "intent.json"), 1, "surface_mm: missing"),
    ],
)
def test_what_cannot_be_done_is_said_in_a_line(folder, capsys, words, code, said):
    assert run(*words) == code
    complaint = capsys.readouterr().err
    assert said in complaint
    assert complaint.count("\n") == 1


def test_a_still_with_something_over_the_table_is_not_recorded(folder, capsys):
    write_json("arm.json", layout(obstructed=True).to_dict())
    assert run("record", "arm.json", "--out", "x.json") == 1
    assert "something lies over the table" in capsys.readouterr().err
    assert not (folder / "x.json").exists()
