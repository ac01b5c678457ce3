"""The documents keep their promises: commands exist and have help, CI runs the README's words."""

import re
from pathlib import Path

import pytest
import typer

from service.cli import app

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DESIGNED = {
    "demo", "serve", "board", "lens", "calibrate", "map", "read", "score", "session", "bench",
}  # fmt: skip


def commands():
    return typer.main.get_command(app).commands


def test_designed_commands_are_there():
    assert set(commands()) >= DESIGNED


def test_every_command_and_option_has_help():
    for name, command in commands().items():
        assert command.help, f"{name} has no help"
        for parameter in command.params:
            text = getattr(parameter, "help", None)
            assert text, f"{name} {parameter.name} has no help"


def test_readme_names_only_commands_and_options_that_exist():
    known = commands()
    lines = re.findall(r"restmark ([a-z]+)([^`\n]*)", README)
    assert len(lines) >= 8
    for name, rest in lines:
        assert name in known, f"README names restmark {name}"
        options = {flag for parameter in known[name].params for flag in parameter.opts}
        for flag in re.findall(r"(--[a-z-]+)", rest):
            assert flag in options | {"--help"}, f"README names restmark {name} {flag}"


def test_every_command_stands_in_the_readme():
    for name in commands():
        assert f"restmark {name}" in README, f"README does not name restmark {name}"


def test_ci_runs_the_readme_commands_word_for_word():
    walk = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    blocks = re.findall(r"```\n(.*?)\n```", README, flags=re.DOTALL)
    for command in blocks[:2]:
        assert command.strip() in walk


@pytest.mark.parametrize("package", ["calibration", "vision", "service"])
def test_every_module_stands_in_the_layout_of_the_tree(package):
    rooms = DEVELOPERS.split("## Layout of the tree")[1].split("\n## ")[0]
    for path in sorted((ROOT / package).rglob("*.py")):
        if path.name != "__init__.py":  # packages stand as rooms
            assert f"`{path.stem}`" in rooms, f"{path.relative_to(ROOT)} is not in DEVELOPERS.md"


def test_every_public_module_says_what_it_is_for():
    for package in ("calibration", "vision", "service"):
        for path in (ROOT / package).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            assert not text.strip() or text.lstrip().startswith('"""'), path
