"""One install: packages are siblings, typed, light to import, and offer the names they promise."""

import ast
import subprocess
import sys
from importlib import import_module
from importlib.machinery import ModuleSpec
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path

import pytest

from service import __main__ as command
from service.api import ServeError, serve
from service.siblings import PACKAGES, mixed_install

OFFERING = ["calibration", "vision", "service.position"]
HEAVY = {"cv2", "scipy", "shapely", "onnxruntime", "fastapi", "sqlalchemy"}


def stranger(folder):
    """A finder of packages for which ``vision`` lies in another folder."""
    spec = ModuleSpec("vision", None, is_package=True)
    spec.submodule_search_locations = [str(folder / "vision")]
    return lambda name: spec if name == "vision" else find_spec(name)


def test_packages_of_this_install_are_siblings():
    assert mixed_install() is None


def test_a_stranger_is_named_with_its_place_and_the_way_out(tmp_path):
    said = mixed_install(stranger(tmp_path))
    assert f"vision from {tmp_path}" in said
    assert "calibration from" not in said
    assert "environment of its own" in said


def test_a_missing_package_is_named():
    said = mixed_install(lambda name: None if name == "calibration" else find_spec(name))
    assert "calibration from nowhere" in said


def test_the_service_refuses_a_mixed_install(tmp_path, monkeypatch):
    said = mixed_install(stranger(tmp_path))
    monkeypatch.setattr(import_module("service.api.serve"), "mixed_install", lambda: said)
    with pytest.raises(ServeError, match="one install") as refused:
        serve(tmp_path / "data")
    assert refused.value.code == "mixed-install"
    assert not (tmp_path / "data").exists()


def test_the_command_names_a_stranger_before_it_runs_its_code(tmp_path):
    """A foreign ``calibration`` in the folder of the start takes our one's place on the path."""
    foreign = tmp_path / "calibration"
    foreign.mkdir()
    (foreign / "__init__.py").write_text("raise SystemExit('ran')", encoding="utf-8")
    lines = (
        f"import sys; sys.path[:0] = [{str(tmp_path)!r}]",
        "from service.__main__ import main",
        "sys.exit(main(['--help']))",
    )
    done = subprocess.run(
        [sys.executable, "-c", "\n".join(lines)],
        capture_output=True, text=True, cwd=Path(command.__file__).parent.parent, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith("error: Restmark's packages are not of one install")
    assert str(tmp_path) in done.stderr


def test_the_module_is_the_command(capsys):
    assert command.main(["--help"]) == 0
    assert "restmark" in capsys.readouterr().out


@pytest.mark.parametrize("package", PACKAGES)
def test_packages_are_typed(package):
    assert (files(package) / "py.typed").is_file()


@pytest.mark.parametrize("package", OFFERING)
def test_offered_names_are_those_that_a_type_checker_sees(package):
    module = import_module(package)
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    (seen,) = (node.body for node in tree.body if isinstance(node, ast.If))
    told = {
        alias.asname: getattr(import_module(f"{package}.{node.module}"), alias.name)
        for node in seen
        for alias in node.names
    }
    assert sorted(told) == sorted(module.__all__)
    for name, value in told.items():
        assert getattr(module, name) is value, name


@pytest.mark.parametrize("package", OFFERING)
def test_an_unknown_name_is_refused_as_by_any_module(package):
    with pytest.raises(AttributeError, match="no attribute 'calibrated'"):
        _ = import_module(package).calibrated


@pytest.mark.parametrize("package", [*PACKAGES, "service.position"])
def test_a_package_alone_loads_nothing_heavy(package):
    asked = f"import sys, {package}; print(*{{name.split('.')[0] for name in sys.modules}})"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert not HEAVY & set(done.stdout.split())
