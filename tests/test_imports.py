"""Data flows one way: between the packages, and between the rooms inside each of them.

An import stands for "needs": a folder's direct children, modules or folders, may need one another
in one direction only. Imports inside functions count, and so do those for types alone.
"""

import ast
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
MAY_NEED = {
    "calibration": set(),
    "vision": {"calibration", "sample_frames"},
    "service": {"calibration", "vision", "sample_frames"},
    "sample_frames": set(),
}
TRAINING_ONLY = {"ultralytics", "mitsuba", "drjit", "torch", "onnx"}
MOST_MODULES = 14


def modules(folder: Path) -> list[Path]:
    """Every module below a folder."""
    return sorted(folder.rglob("*.py"))


def folders() -> list[Path]:
    """Every folder that holds modules, from the packages down."""
    return sorted({path.parent for package in MAY_NEED for path in modules(ROOT / package)})


def place(module: Path, root: Path) -> tuple[str, ...]:
    """A module as its path of names; a package's own module is its ``__init__``."""
    return module.relative_to(root).with_suffix("").parts


def resolved(names: tuple[str, ...], root: Path) -> tuple[str, ...] | None:
    """Where an imported path of names stands in the tree; a package stands as its ``__init__``."""
    path = root.joinpath(*names)
    if path.with_suffix(".py").is_file():
        return names
    return (*names, "__init__") if (path / "__init__.py").is_file() else None


def needed(module: Path, root: Path) -> Iterator[tuple[str, ...]]:
    """The places in the tree that a module imports from.

    ``from room import name`` is the module of that name, else the room's ``__init__``.
    """
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        wanted = []
        if isinstance(node, ast.Import):
            wanted = [tuple(alias.name.split(".")) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            here = place(module, root)
            base = here[: len(here) - node.level] if node.level else ()
            base += tuple(node.module.split(".")) if node.module else ()
            wanted = [(*base, alias.name) for alias in node.names]
        for names in wanted:
            found = resolved(names, root) or resolved(names[:-1], root)
            if found is not None:
                yield found


def graph(folder: Path, root: Path) -> dict[str, set[str]]:
    """Which direct children of a folder need which; ``__init__`` is a child like the others."""
    inside = place(folder, root)
    needs: dict[str, set[str]] = {}
    for module in modules(folder):
        child = place(module, root)[len(inside)]
        needs.setdefault(child, set())
        for other in needed(module, root):
            if other[: len(inside)] == inside and other[len(inside)] != child:
                needs[child].add(other[len(inside)])
    return needs


def circle(needs: dict[str, set[str]]) -> list[str]:
    """A circle in a graph of needs; empty where there is none."""
    try:
        TopologicalSorter(needs).prepare()
    except CycleError as found:
        return found.args[1]
    return []


def top_names(module: Path) -> set[str]:
    """Top-level names that a module imports, ours or a library's."""
    names = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("package", MAY_NEED)
def test_packages_need_only_what_comes_before_them(package):
    wrong = {
        str(path.relative_to(ROOT)): bad
        for path in modules(ROOT / package)
        if (bad := top_names(path) & set(MAY_NEED) - MAY_NEED[package] - {package})
    }
    assert not wrong


@pytest.mark.parametrize("folder", folders(), ids=lambda path: str(path.relative_to(ROOT)))
def test_no_circle_among_the_children_of_a_folder(folder):
    assert not circle(graph(folder, ROOT))


@pytest.mark.parametrize("folder", folders(), ids=lambda path: str(path.relative_to(ROOT)))
def test_a_room_is_small_and_says_what_it_is(folder):
    assert len([path for path in folder.glob("*.py") if path.stem != "__init__"]) <= MOST_MODULES
    if "migrations" not in folder.parts:  # loaded by path, no package
        assert ast.get_docstring(ast.parse((folder / "__init__.py").read_text(encoding="utf-8")))


def test_training_libraries_stay_in_the_training_room():
    wrong = {
        str(path.relative_to(ROOT)): bad
        for package in MAY_NEED
        for path in modules(ROOT / package)
        if "training" not in path.parts and (bad := top_names(path) & TRAINING_ONLY)
    }
    assert not wrong


@pytest.mark.parametrize(
    ("files", "expected"),
    [
        ({"p/a.py": "from .b import x", "p/b.py": "def f():\n    import p.a"}, {"a", "b"}),
        ({"p/r/a.py": "from p.s import x", "p/s/b.py": "from p.r.a import y"}, {"r", "s"}),
        ({"p/__init__.py": "from .a import x", "p/a.py": "from . import x"}, {"__init__", "a"}),
        ({"p/r/a.py": "from p import b", "p/b.py": "from .r import a"}, {"r", "b"}),
        ({"p/r/a.py": "from ..b import x", "p/b.py": "import json"}, set()),
        ({"p/__init__.py": "from .a import x", "p/a.py": "from .b import x", "p/b.py": ""}, set()),
    ],
    ids=["in a function", "rooms", "own package", "module of a package", "one way", "chain"],
)
def test_circles_are_seen(tmp_path, files, expected):
    for name in ("p/__init__.py", "p/r/__init__.py", "p/s/__init__.py"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("", encoding="utf-8")
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert set(circle(graph(tmp_path / "p", tmp_path))) == expected
