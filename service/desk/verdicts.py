"""Stored verdicts as values, checked: a damaged cell is a refusal, never a figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from calibration.errors import FileFormatError
from service.position import Intent, Verdict
from service.store import AttemptRecord, StoreError


def verdict_of(attempt: AttemptRecord) -> Verdict:
    """The verdict as it was given, without the zone and the line that it was taken from."""
    return _verdict(
        attempt.verdict,
        intent=attempt.intent.document,
        offsets_mm=(attempt.offset_along_mm, attempt.offset_across_mm),
        path=f"attempts[{attempt.id}].verdict",
    )


def _verdict(
    document: Mapping[str, Any],
    *,
    intent: Mapping[str, Any],
    offsets_mm: tuple[float | None, float | None],
    path: str,
) -> Verdict:
    printed, meant = dict(document), Intent.from_dict(intent)
    if printed.get("arrival_from") is None and printed.get("arrival") is not None:
        # verdicts of old: without a route a straight line to the wanted spot, which is no arrival
        seen = printed["arrival"] == "seen"
        printed["arrival_from"] = "video" if seen else "route" if meant.route_mm else None
    known = printed.get("arrival_from") is not None
    if not known:
        printed |= {"along_mm": None, "across_mm": None}
    try:
        verdict = Verdict.from_dict(printed, path=path)
    except FileFormatError as wrong:
        raise StoreError(
            f"{wrong.detail} It is damaged; allowed: a verdict as it was stored. Put "
            "restmark.db back from your copy."
        ) from None
    return replace(
        verdict,
        intent=meant,
        offset_along_mm=offsets_mm[0] if known else None,
        offset_across_mm=offsets_mm[1] if known else None,
    )
