"""Whether ``calibration``, ``vision`` and ``service`` are of one install.

Three names as plain as these may be taken by something else in the same environment, or by a
folder that Python happens to be started in.
"""

from __future__ import annotations

from collections.abc import Callable
from importlib.machinery import ModuleSpec
from importlib.util import find_spec
from pathlib import Path

PACKAGES = ("calibration", "vision", "service")
CODE = "mixed-install"
Find = Callable[[str], ModuleSpec | None]


def mixed_install(find: Find = find_spec) -> str | None:
    """Which packages come from where and what to do; None where all lie in one folder.

    ``find`` gives a package's spec. Nothing is imported, so that a stranger's code does not run.
    """
    ours = Path(__file__).resolve().parent.parent
    strange = [
        f"{name} from {folder or 'nowhere'}"
        for name in PACKAGES
        if (folder := _folder_of(find(name))) != ours
    ]
    if not strange:
        return None
    return (
        f"Restmark's packages are not of one install: got {', '.join(strange)}; allowed: "
        f"{', '.join(PACKAGES)} beside each other in {ours}. Something else in this environment "
        "or in the folder where you started has one of these names: install Restmark into an "
        "environment of its own (`python3 -m venv`), and start it from another folder."
    )


def _folder_of(spec: ModuleSpec | None) -> Path | None:
    """The folder that a package lies in."""
    if spec is None:
        return None
    places = list(spec.submodule_search_locations or ()) or [spec.origin or ""]
    return Path(places[0]).resolve().parent
