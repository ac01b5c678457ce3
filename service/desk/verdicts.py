"""Stored verdicts as values, checked: a damaged cell is a refusal, never a figure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_type_hints

from pydantic import BaseModel, ConfigDict, ValidationError, create_model

from service.position import Intent, Verdict
from service.store import AttemptRecord, Score, StoreError

_DEFAULTS = Verdict()
_KINDS = get_type_hints(Verdict)
_FIELDS: dict[str, Any] = {
    name: (_KINDS[name], getattr(_DEFAULTS, name)) for name in _DEFAULTS.to_dict() if name in _KINDS
}
_Printed: type[BaseModel] = create_model(
    "_Printed",
    __config__=ConfigDict(strict=True, allow_inf_nan=False, extra="ignore"),
    **_FIELDS,
)
"""The fields of a verdict that are printed, by the kinds that ``Verdict`` gives them."""


def verdict_of(attempt: AttemptRecord) -> Verdict:
    """The verdict as it was given, without the zone and the line that it was taken from."""
    return _verdict(
        attempt.verdict,
        intent=attempt.intent.document,
        offsets_mm=(attempt.offset_along_mm, attempt.offset_across_mm),
        path=f"attempts[{attempt.id}].verdict",
    )


def scored_verdict(score: Score) -> Verdict:
    """The same of what statistics are given."""
    return _verdict(
        score.verdict,
        intent=score.intent,
        offsets_mm=(score.offset_along_mm, score.offset_across_mm),
        path=f"attempts[{score.attempt_id}].verdict",
    )


def _verdict(
    document: Mapping[str, Any],
    *,
    intent: Mapping[str, Any],
    offsets_mm: tuple[float | None, float | None],
    path: str,
) -> Verdict:
    try:
        printed = _Printed.model_validate(
            {
                name: tuple(value) if isinstance(value, list) else value
                for name, value in document.items()
            }
        )
    except (ValidationError, AttributeError) as wrong:
        raise StoreError(
            f"{path}: is damaged ({_first(wrong)}); allowed: a verdict as it was stored. Put "
            "restmark.db back from your copy."
        ) from None
    return Verdict(
        **dict(printed),
        intent=Intent.from_dict(intent),
        offset_along_mm=offsets_mm[0],
        offset_across_mm=offsets_mm[1],
    )


def _first(wrong: ValidationError | AttributeError) -> str:
    if not isinstance(wrong, ValidationError):
        return "no object"
    each = wrong.errors()[0]
    where = ".".join(str(part) for part in each["loc"])
    return f"{where}: got {each['input']!r}"
