"""The application: store, desk, routes, page and gate put together."""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from importlib.metadata import version
from pathlib import Path

from fastapi import FastAPI

from service.desk.arriving import ReadStill
from service.desk.desk import Desk
from service.desk.live import Live
from service.desk.readers import TableReaders
from service.pages import install_pages
from service.store import Store
from service.words.lengths import Units

from .gate import LOOPBACK_NAMES, Gate
from .problems import install_problems
from .routes import router

_DESCRIPTION = (
    "Where every ball lies, in millimetres with its error, and how far from the intended zone "
    "the cue ball stopped. Errors are problem details (RFC 9457); changes arrive as server-sent "
    "events at /api/v1/events; uploads are idempotent by an Idempotency-Key header."
)


def create_app(
    data_dir: Path,
    *,
    read: ReadStill | None = None,
    host_names: Collection[str] = LOOPBACK_NAMES,
    any_address: bool = False,
    units: Units = Units.MM,
) -> FastAPI:
    """The service on ``data_dir``; StoreError where that cannot be used.

    ``read`` reads the stills; by default a reader a table does.

    ``host_names`` are the names it may be asked by; ``any_address`` takes plain IP addresses
    too, for a service that listens beyond this machine. ``units`` is what the page shows lengths
    in until a reader chooses.
    """
    live = Live()
    desk = Desk(Store(data_dir, hold=True), live, read or TableReaders())

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        yield
        live.close()
        desk.close()

    app = FastAPI(
        title="Restmark",
        version=version("restmark"),
        description=_DESCRIPTION,
        openapi_url="/api/v1/openapi.json",
        docs_url=None,  # the built-in pages load their scripts from the net; ours is at /docs
        redoc_url=None,
        lifespan=life,
    )
    app.state.desk = desk
    install_problems(app)
    app.include_router(router)
    install_pages(app, desk.store, desk.known_set, units=units)
    app.add_middleware(Gate, host_names=host_names, any_address=any_address)
    return app
