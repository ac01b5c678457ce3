"""Data flows one way: service → vision → calibration; nobody imports back."""

import ast
from pathlib import Path

import pytest

import calibration
import service
import vision

FORBIDDEN = {
    calibration: {"vision", "service"},
    vision: {"service"},
    service: set(),
}
TRAINING_ONLY = {"ultralytics", "mitsuba", "drjit", "torch", "onnx"}


def imported_names(path: Path) -> set[str]:
    """Top-level package names that a module imports, at any depth of its code."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


def modules(package) -> list[Path]:
    return sorted(Path(package.__file__).parent.rglob("*.py"))


@pytest.mark.parametrize("package", list(FORBIDDEN), ids=lambda package: package.__name__)
def test_import_direction(package):
    found = modules(package)
    assert found, "the package has modules"
    wrong = {str(path): bad for path in found if (bad := imported_names(path) & FORBIDDEN[package])}
    assert not wrong


def test_training_libraries_stay_in_the_training_room():
    wrong = {
        str(path): bad
        for package in FORBIDDEN
        for path in modules(package)
        if "training" not in path.parts and (bad := imported_names(path) & TRAINING_ONLY)
    }
    assert not wrong


def test_relative_imports_do_not_leave_their_package():
    for package in FORBIDDEN:
        root = Path(package.__file__).parent
        for path in modules(package):
            depth = len(path.relative_to(root).parts)
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.ImportFrom):
                    assert node.level <= depth, f"{path}:{node.lineno}"
