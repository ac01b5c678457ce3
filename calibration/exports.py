"""Names that a package offers and loads only when somebody asks for one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def on_demand(package: str, homes: Mapping[str, str]) -> Callable[[str], Any]:
    """A package's ``__getattr__``: ``homes`` says in which module of it each name stands.

    Whoever imports the package for one small value does not wait for OpenCV and the networks.
    """

    def load(name: str) -> Any:
        if name not in homes:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(f"{package}.{homes[name]}"), name)

    return load
