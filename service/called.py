"""What a person calls something, as every door of the service takes it."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, StringConstraints

NAME_LIMIT = 100


def _shown(text: str) -> str:
    if not text.isprintable():
        raise ValueError("characters that can be shown are allowed, on one line")
    return text


Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=NAME_LIMIT),
    AfterValidator(_shown),
]
"""One line, without space around it."""
