"""The library of layouts that a command means: a folder's store, or a running service's."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from calibration.errors import RestmarkError

from ..given.inputs import InputError, read_bytes
from .asked import Service, client, refuse_beside_server

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from service.client import Client
    from service.layouts.entry import KeptLayout
    from service.position import Intent
    from service.store import Store
    from vision.layout import Layout

LISTED_MOST = 10_000


class Library(Protocol):
    """Kept layouts by their numbers."""

    @property
    def where(self) -> str:
        """What it is called in a line to the user."""

    def kept(self, number: int) -> KeptLayout:
        """The layout of that number."""

    def listed(self, *, words: str | None, tag: str | None) -> list[dict[str, Any]]:
        """Those with the words and the tag, newest first, as the API tells them."""

    def record(self, kept: KeptLayout) -> int:
        """Keep it; its number."""

    def bring_in(self, path: Path) -> tuple[int, KeptLayout]:
        """Keep the layout in a file; its number, and what it is."""


class ServedLibrary:
    """That of a running service."""

    def __init__(self, service: Client, server: str) -> None:
        self._service = service
        self.where = server

    def kept(self, number: int) -> KeptLayout:
        """As in ``Library``."""
        return _kept_in(self._service.layout(number))

    def listed(self, *, words: str | None, tag: str | None) -> list[dict[str, Any]]:
        """As in ``Library``."""
        return [dict(each) for each in self._service.layouts(words=words, tag=tag)]

    def record(self, kept: KeptLayout) -> int:
        """As in ``Library``."""
        number: int = self._service.record_layout(
            kept.title,
            note=kept.note,
            tags=kept.tags,
            layout=kept.layout.to_dict(),
            intent=None if kept.intent is None else kept.intent.to_dict(),
        )["id"]
        return number

    def bring_in(self, path: Path) -> tuple[int, KeptLayout]:
        """As in ``Library``."""
        made = self._service.import_layout(read_bytes(path), name=path.name)
        return made["id"], _kept_in(made)

    def record_now(
        self, title: str | None, *, note: str, tags: tuple[str, ...], intent: Intent | None
    ) -> tuple[int, KeptLayout]:
        """Keep the table as it lies now."""
        document = None if intent is None else intent.to_dict()
        made = self._service.record_layout(title, note=note, tags=tags, intent=document)
        return made["id"], _kept_in(made)

    def now(self) -> Layout:
        """The table as its newest still shows it.

        Raises:
            InputError: code ``no-layout``; nothing was read there yet.
        """
        found = self._service.latest_reading()
        if found is None:
            raise InputError(
                f"{self.where}: nothing was read at that table yet; allowed: a table with a still. "
                "Send a still first, or give one.",
                code="no-layout",
            )
        return found.layout

    def calibration(self) -> Calibration | None:
        """The one that holds; None before one."""
        from calibration.kept.calibration import Calibration

        found = self._service.calibration()
        return None if found is None else Calibration.from_dict(found["calibration"])


class StoredLibrary:
    """That of a store."""

    def __init__(self, store: Store, where: str) -> None:
        from service.desk.laying.library import Library as DeskLibrary

        self._store = store
        self._desk = DeskLibrary(store)
        self.where = where

    def kept(self, number: int) -> KeptLayout:
        """As in ``Library``."""
        from service.desk.laying.library import kept_of

        with self._store.reading() as reader:
            return kept_of(reader.layout(number))

    def listed(self, *, words: str | None, tag: str | None) -> list[dict[str, Any]]:
        """As in ``Library``."""
        with self._store.reading() as reader:
            found = reader.layouts(limit=LISTED_MOST, words=words, tag=tag)
        return [each.to_dict() for each in found]

    def record(self, kept: KeptLayout) -> int:
        """As in ``Library``."""
        return self._desk.keep(kept).id

    def bring_in(self, path: Path) -> tuple[int, KeptLayout]:
        """As in ``Library``."""
        from service.layouts.files import read_layout

        kept = read_layout(read_bytes(path), name=str(path))
        return self._desk.keep(kept).id, kept


@contextmanager
def served(at: Service) -> Iterator[ServedLibrary]:
    """The library of the service that was named."""
    with client(at) as service:
        yield ServedLibrary(service, at.address)


@contextmanager
def stored(data: Path, url: str | None, *, new: bool = False) -> Iterator[StoredLibrary]:
    """The library of a store; ``new``: made where none is yet."""
    from service.store import Store

    with closing(Store(data, url, must_exist=not new)) as store:
        yield StoredLibrary(store, str(data))


@contextmanager
def library(
    data: Path | None,
    url: str | None,
    at: Service | None,
    *,
    new: bool = False,
) -> Iterator[Library | None]:
    """The one that was named; None where none was.

    Raises:
        InputError: a store and a service.
        ServiceError, StoreError: it cannot be opened.
    """
    if at is not None:
        refuse_beside_server(data=data)
        with served(at) as there:
            yield there
    elif data is not None:
        with stored(data, url, new=new) as here:
            yield here
    else:
        yield None


def kept_from(given: str, held: Library | None) -> KeptLayout:
    """A kept layout from a file, or by its number from the library where one was named.

    Raises:
        RestmarkError: there is no such file or number, or it is no layout.
    """
    from service.layouts.files import read_layout

    if held is not None and given.isascii() and given.isdecimal():
        return held.kept(int(given))
    path = Path(given)
    try:
        return read_layout(read_bytes(path), name=str(path))
    except RestmarkError as refused:
        if held is None and given.isdecimal() and refused.code == "missing-file":
            raise InputError(
                f"{given}: no such file; allowed: a layout's file, or its number in a library "
                "that --data or --server names. Name the library.",
                code="missing-file",
            ) from None
        raise


def _kept_in(document: dict[str, Any]) -> KeptLayout:
    """From what the API tells of a kept layout."""
    from service.layouts.entry import KeptLayout

    words = {name: document.get(name) for name in ("title", "note", "tags", "intent")}
    return KeptLayout.from_dict({**document["layout"], **words}, path="layout")
