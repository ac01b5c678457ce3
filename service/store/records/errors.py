"""What the store refuses, and the way out of damage."""

from __future__ import annotations

import json
from typing import Any

from calibration.errors import RestmarkError


class StoreError(RestmarkError):
    """The data directory cannot be used; the text names it and says what to do."""

    code = "store-failed"


class NoStoreError(StoreError):
    """No store was ever made there."""

    code = "no-store"

    @classmethod
    def at(cls, place: str) -> NoStoreError:
        """Error that names the place."""
        return cls(
            f"{place}: holds no store; allowed: a folder that `restmark serve --data` or `restmark "
            "session --data` filled, or the --store that they did. Give that one."
        )


class DamagedError(StoreError):
    """The database is not what was written to it; the text says where."""

    code = "store-damaged"


RESTORE = "restmark restore --replace --data FOLDER"
"""The command that puts the newest whole copy in place."""
WAY_OUT = (
    f"Stop Restmark and run `{RESTORE}` with this folder: it puts the newest whole copy of copies/ "
    "in place, and the damaged files aside; where --store names a PostgreSQL database, bring that "
    "back from your dump. Stills posted since can be posted again: their pictures are in stills/."
)


def whole_json(text: str | bytes, *, way_out: str = WAY_OUT) -> Any:
    """The document in a cell; damage that came after the start is a refusal, no failure.

    Raises:
        DamagedError: there is none in it.
    """
    try:
        found = json.loads(text)
        if not isinstance(found, dict | list):
            raise ValueError("neither an object nor a list")
        return found
    except (ValueError, RecursionError) as wrong:
        raise DamagedError(
            f"the database has a damaged cell ({wrong}); allowed: a whole database. {way_out}"
        ) from None


class JsonText(str):
    """A document that is JSON already, written where there was time for it."""


def json_text(document: object) -> str:
    """A document as its cell holds it."""
    return document if isinstance(document, JsonText) else json.dumps(document)


class NotFoundError(RestmarkError):
    """No row of that number."""

    code = "not-found"

    @classmethod
    def of(cls, kind: str, number: int, collection: str) -> NotFoundError:
        """Error that names the kind of row and the collection that lists what there is."""
        return cls(
            f"{kind}: got number {number}; allowed: a number that {collection} lists. "
            "Look it up there."
        )
