"""Examples of bodies that are text; those of JSON are shaped after their schema."""

from __future__ import annotations

from collections.abc import Mapping

_TEXTS: Mapping[str, str] = {
    "text/event-stream": "id: 7\nevent: change\n"
    'data: {"kind": "attempt", "reading_id": 12, "attempt_id": 3}\n\n',
    "text/csv": "attempt,made_at,called,miss_mm\r\n3,2026-11-24T19:30:00+00:00,out,102.7\r\n",
    "text/html": "<!DOCTYPE html><title>Lesson</title>",
    "image/svg+xml": '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 2540 1270"></svg>',
}


def text_example(media_type: str) -> str | None:
    """An example of a body that is text; None for one that is not."""
    return _TEXTS.get(media_type.partition(";")[0])
