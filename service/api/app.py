"""The application: store, desk, routes, page and gate put together."""

from __future__ import annotations

from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from importlib.metadata import version
from pathlib import Path

from fastapi import FastAPI
from starlette.concurrency import run_in_threadpool

from service.desk.arriving.gathering import WAIT_S
from service.desk.desk import Desk
from service.desk.laying.guiding import Guides
from service.desk.live import Live
from service.desk.readers import ReadStill, TableReaders, looking
from service.desk.reading import PooledReaders
from service.desk.reading.pool import ReaderPool
from service.desk.watching.watch import Opened
from service.door import Door, Entry, SourceRule
from service.door.names import LOOPBACK_NAMES
from service.pages import install_pages
from service.setup.setting_up import SettingUp
from service.store import Store
from service.words.lengths import Units
from vision.find.detect import Finder
from vision.sources.opening import open_source

from .asked import AskedBy
from .gate import Gate
from .paired import PairedOnly
from .problems import install_problems
from .published import publish
from .routes import router

_DESCRIPTION = (
    "Where every ball lies, in millimetres with its error, and how far from the intended zone "
    "the cue ball stopped. Errors are problem details (RFC 9457); changes arrive as server-sent "
    "events at /api/v1/events; uploads are idempotent by an Idempotency-Key header."
)


def create_app(
    data_dir: Path,
    *,
    store_url: str | None = None,
    read: ReadStill | None = None,
    host_names: Collection[str] = LOOPBACK_NAMES,
    entry: Entry | None = None,
    units: Units = Units.MM,
    opened: Opened = open_source,
    finder: Finder | None = None,
    wait_s: float = WAIT_S,
    workers: int | None = None,
) -> FastAPI:
    """The service on ``data_dir``; StoreError where that cannot be used.

    ``store_url`` names a PostgreSQL database; None: everything is in ``data_dir``.

    ``read`` reads the stills; by default a reader a table does, with ``finder`` in the place of
    the shipped one where it is given, or, with ``workers``, so many processes.

    ``host_names`` are the names and addresses it may be asked by. ``entry``: only paired devices
    come in, as a service that listens beyond this machine wants; None: whoever reaches it does.
    ``units`` is what the page shows lengths in until a reader chooses. ``opened`` opens the sources
    that are watched. A still waits ``wait_s`` at most for those of its table's other cameras.
    """
    store = Store(data_dir, store_url, hold=True)
    live = Live(store)
    pool = None if workers is None or read is not None else ReaderPool(workers)
    if read is None:
        read = TableReaders(finder) if pool is None else PooledReaders(pool)
    desk = Desk(store, live, read, opened=opened, wait_s=wait_s)
    setting_up = SettingUp(desk)
    door = Door(store)

    @asynccontextmanager
    async def life(_app: FastAPI) -> AsyncIterator[None]:
        if pool is not None:
            pool.start()
        await run_in_threadpool(desk.kept_watches.resume)
        yield
        live.close()
        setting_up.close()
        door.close()
        desk.close()
        if pool is not None:
            pool.close()

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
    app.state.door = door
    app.state.entry = entry
    app.state.sources = SourceRule() if entry is None else entry.sources
    # looks at a table that is being laid are a sequence of their own beside its stills
    app.state.guides = Guides(desk.store, looking(read))
    install_problems(app)
    app.state.setting_up = setting_up
    # routes are tried in this order, and every change has each open page fetch its parts
    install_pages(app, desk, units=units)
    app.include_router(router)
    publish(app)
    if entry is not None:
        app.add_middleware(PairedOnly, door=door, entry=entry)
    app.add_middleware(Gate, host_names=host_names)
    app.add_middleware(AskedBy)
    return app
