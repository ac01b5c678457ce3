"""Versions, and whether what is installed belongs together."""

from __future__ import annotations

import platform
import sqlite3
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version

from calibration.errors import RestmarkError
from service.siblings import mixed_install
from vision.networks import fingerprint

from .findings import WRONG, Finding

_TOLD = (
    "opencv-python", "numpy", "scipy", "onnxruntime", "shapely", "fastapi", "uvicorn", "pydantic",
    "sqlalchemy", "alembic",
)  # fmt: skip
_OPTIONAL = ("psycopg", "pillow-heif", "ultralytics")


def installed() -> Iterator[Finding]:
    """Restmark, Python, libraries, networks."""
    yield Finding(what="restmark", found=version("restmark"))
    yield Finding(what="python", found=f"{platform.python_version()} on {platform.platform()}")
    names = [f"{name} {found}" for name in _TOLD if (found := _version(name))]
    extras = [f"{name} {found}" for name in _OPTIONAL if (found := _version(name))]
    yield Finding(
        what="libraries", found=", ".join([*names, f"SQLite {sqlite3.sqlite_version}", *extras])
    )
    mixed = mixed_install()
    if mixed is not None:
        yield Finding(
            what="packages", state=WRONG, found=mixed,
            to_do="Install Restmark into an environment of its own.",
        )  # fmt: skip
    try:
        yield Finding(what="networks", found=f"whole, {fingerprint()[:12]}")
    except RestmarkError as wrong:
        yield Finding(
            what="networks", state=WRONG, found=wrong.detail, to_do="Install Restmark again."
        )


def _version(name: str) -> str | None:
    try:
        return version(name)
    except PackageNotFoundError:
        return None
