"""What every document of an archive must be, so that no page or figure fails on it later."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calibration.kept.calibration import Calibration
from calibration.lens.file import Lens
from service.position import Intent, Verdict
from service.position.meant.player_file import player_from
from service.practice import Plan
from service.store.archive import ArchiveError, Checks
from vision.layout import Layout
from vision.name.corrected import Correction


def _kept_layout(document: Mapping[str, Any]) -> None:
    """A layout, and the shot that goes with it where one does."""
    Layout.from_dict({key: document[key] for key in document if key != "intent"}, path="layout")
    if document.get("intent") is not None:
        Intent.from_dict(document["intent"])


def _names(document: list[Any]) -> None:
    for place, item in enumerate(document):
        Correction.from_dict(item, path=f"names[{place}]")


def _places(document: Any) -> None:
    numbers = document if isinstance(document, list) else [None]
    if any(not isinstance(each, int) or isinstance(each, bool) or each < 1 for each in numbers):
        raise ArchiveError(
            "got no places of shots; allowed: a list of whole numbers from 1. Export it again, or "
            "use another copy."
        )


def _object(document: Any) -> None:
    if not isinstance(document, dict):
        raise ArchiveError(
            "got a list; allowed: a JSON object. Export it again, or use another copy."
        )


def _lens(document: Any) -> None:
    """A lens that the lens page offers."""
    Lens.from_dict(document, path="lens")


CHECKS: Checks = {
    "attempts.player": lambda document: player_from(document, path="player"),
    "attempts.set_up": _object,
    "attempts.verdict": lambda document: Verdict.from_dict(document, path="verdict"),
    "calibrations.document": lambda document: Calibration.from_dict(document, path="calibration"),
    "corrections.layout_before": lambda document: Layout.from_dict(document, path="layout"),
    "corrections.names": _names,
    "intents.document": Intent.from_dict,
    "intents.waits_for": lambda document: Layout.from_dict(document, path="layout"),
    "lenses": _lens,
    "layouts.layout": _kept_layout,
    "plans.document": Plan.from_dict,
    "player_settings.document": lambda document: player_from(document, path="player"),
    "practices.skipped": _places,
    "practices.way": _object,
    "readings.comparison": _object,
    "readings.layout": lambda document: Layout.from_dict(document, path="layout"),
    "readings.outcome": _object,
    "receipts.body": _object,
    # a set of other networks teaches nothing, but what it was is kept
    "sets.document": _object,
}
"""By column; ``tests/test_archive.py`` holds every document's column to be here."""
