"""Figures as JSON holds them: lists for tuples, ISO 8601 for times."""

from __future__ import annotations

from datetime import datetime
from typing import Any


def plain(value: Any) -> Any:
    """``value`` with every mapping, sequence and time inside it in its JSON form."""
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, dict):
        return {key: plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    return value
