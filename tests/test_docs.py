"""The documents keep their promises: commands, paths, formats and examples are what they say."""

import json
import re
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path

import pytest
import typer
from docs_kit import FOLDER, README, ROOT, blocks
from markdown_it import MarkdownIt

from calibration.seen.points import read_points
from service.cli import app
from service.demo.drawn import drawing_path, drawn_attempt
from service.docs.pages import PAGES, page, pages
from service.position import Intent
from service.position.meant.player_file import read_player
from service.practice import Plan
from vision.layout import Layout

DOCUMENTS = sorted(
    [
        ROOT / "README.md",
        ROOT / "DEVELOPERS.md",
        ROOT / "vision" / "weights" / "README.md",
        *FOLDER.glob("*.md"),
    ]
)
DESIGNED = {
    "demo", "serve", "board", "lens", "calibrate", "map", "read", "score", "session", "bench",
}  # fmt: skip
TOP = ("calibration", "vision", "service", "tests", "sample_frames")
DRAWN_UNITS = 0.5
"""Libraries round differently on other machines; a drawing unit is a millimetre of the table."""

documents = pytest.mark.parametrize(
    "document", DOCUMENTS, ids=lambda path: str(path.relative_to(ROOT))
)


def commands():
    return typer.main.get_command(app).commands


def parts_of(command):
    """The command itself, or those that it holds."""
    return list(getattr(command, "commands", {}).values()) or [command]


def code_of(text):
    """What stands in code: lines of fenced blocks, and spans."""
    tokens = MarkdownIt("commonmark").enable("table").parse(text)
    fences = [found.content.replace("\\\n", " ") for found in tokens if found.type == "fence"]
    inline = [child for found in tokens for child in found.children or ()]
    spans = [child.content for child in inline if child.type == "code_inline"]
    return [line for fence in fences for line in fence.splitlines()] + spans


def test_designed_commands_are_there():
    assert set(commands()) >= DESIGNED


def test_every_command_and_option_has_help():
    for name, command in commands().items():
        for part in (command, *parts_of(command)):
            assert part.help, f"{name} has no help"
            for parameter in part.params:
                text = getattr(parameter, "help", None)
                assert text, f"{name} {parameter.name} has no help"


@documents
def test_documents_name_only_commands_and_options_that_exist(document):
    known = commands()
    for code in code_of(document.read_text(encoding="utf-8")):
        for name, rest in re.findall(r"\brestmark ([a-z]+(?:-[a-z]+)*)([^&]*)", code):
            assert name in known, f"restmark {name}"
            options = {
                flag
                for part in parts_of(known[name])
                for parameter in part.params
                for flag in parameter.opts
            }
            for flag in re.findall(r"(?<!\S)(--[a-z-]+)", rest):
                assert flag in options | {"--help"}, f"restmark {name} {flag}"


def test_every_command_stands_in_a_document():
    said = "\n".join(path.read_text(encoding="utf-8") for path in DOCUMENTS)
    for name in commands():
        assert f"restmark {name}" in said, f"no document names restmark {name}"


@documents
def test_modules_paths_and_links_in_documents_exist(document):
    text = document.read_text(encoding="utf-8")
    for code in code_of(text):
        for module, rest in re.findall(r"python -m ([a-z_.]+)([^&;]*)", code):
            check_module(module, re.findall(r"(?<!\S)(--[a-z-]+)", rest))
        for path in re.findall(rf"(?<![\w/.])((?:{'|'.join(TOP)})/[\w/.-]*)", code):
            assert (ROOT / path).exists(), path
        if re.fullmatch(rf"(?:{'|'.join(TOP)})(?:\.\w+)+", code):
            assert stands(code), code
    for link in re.findall(r"\]\(([^)#]+)", text):
        assert (document.parent / link).is_file(), link


def check_module(module, options):
    """The module exists, and its source knows the options: training ones cannot be started here."""
    if module == "build":
        return
    found = find_spec(module)
    assert found, module
    source = Path(found.origin).read_text(encoding="utf-8")
    for option in options:
        assert f'"{option}"' in source, f"{module} {option}"


def stands(dotted):
    """Whether a dotted name is a module, or a name in one."""
    module, _, name = dotted.rpartition(".")
    return hasattr(import_module(module), name) or find_spec(dotted) is not None


def test_ci_runs_the_readme_commands_word_for_word():
    walk = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for command in blocks(README)[:2]:
        assert command.strip() in walk


def test_readme_begins_with_the_job_in_one_paragraph_and_its_drawing():
    heading, job, drawing = README.split("\n\n")[:3]
    assert heading == "# Restmark"
    assert "\n" not in job
    assert drawing.endswith("(service/docs/attempt.svg)")


def test_the_drawing_is_what_the_sample_practice_draws_today():
    """``python -m service.demo.drawn`` draws it anew."""
    kept, now = (
        re.sub(r'"top-view-\w+-', '"top-view-', text.strip())
        for text in (drawing_path().read_text(encoding="utf-8"), drawn_attempt())
    )
    number = r"-?\d+(?:\.\d+)?"
    assert re.split(number, kept) == re.split(number, now)
    assert [float(n) for n in re.findall(number, kept)] == pytest.approx(
        [float(n) for n in re.findall(number, now)], rel=0, abs=DRAWN_UNITS
    )


def taken(data, tmp_path):
    """Read an example by the reader of its format; None where there is no such format."""
    file = tmp_path / "example.json"
    file.write_text(json.dumps(data), encoding="utf-8")
    if data.get("format") == "restmark-points":
        return read_points(file)
    if data.get("format") == "restmark-player":
        return read_player(file)
    if "balls" in data:
        return Layout.from_dict(data)
    if "shots" in data:
        return Plan.read(file)
    return Intent.read(file)


@documents
def test_json_in_documents_is_taken_by_its_reader(document, tmp_path):
    for block in blocks(document.read_text(encoding="utf-8"), "json"):
        data = json.loads(block)
        if "verdict" not in data:  # an answer, not an input
            assert taken(data, tmp_path)


def test_pages_are_those_of_the_folder_and_begin_with_a_heading():
    assert sorted(PAGES) == sorted(path.stem for path in FOLDER.glob("*.md"))
    for found in pages():
        assert found.html.startswith(f"<h1>{found.title}</h1>")


def test_a_page_is_found_by_its_file_name_and_others_are_not():
    assert page("intent.md") == page("intent")
    assert page("../README") is None


def test_every_module_says_what_it_is_for():
    for package in ("calibration", "vision", "service"):
        for path in (ROOT / package).rglob("*.py"):
            assert path.read_text(encoding="utf-8").startswith('"""'), path
