"""What ``vision`` offers other programs, and what asking for it costs."""

from __future__ import annotations

import subprocess
import sys

import pytest


def loaded_by(code: str) -> set[str]:
    """Names of the modules that a new process has loaded after ``code``."""
    said = subprocess.run(
        [sys.executable, "-c", f"{code}\nimport sys\nprint(*sys.modules)"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(said.stdout.split())


def test_values_are_had_without_the_networks_runtime() -> None:
    loaded = loaded_by("from vision import Ball, Layout")
    assert "vision.layout" in loaded
    assert "onnxruntime" not in loaded


@pytest.mark.parametrize("name", ["Layout", "StillError", "Taught", "corrected", "Reader"])
def test_each_room_can_be_the_first_to_be_imported(name: str) -> None:
    """No circle hides behind the order of imports."""
    assert "vision" in loaded_by(f"from vision import {name}")
