"""The page at ``/``: rendered here, kept new by its script, self-sufficient without a network."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from importlib.resources import files
from typing import Any

from fastapi import FastAPI, HTTPException, Request
from fastapi.responses import FileResponse, HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.staticfiles import StaticFiles

from service.desk.known_set import KnownSet
from service.docs import pages as documents
from service.drawing import ball_icon_svg
from service.store import Store
from service.words.lengths import Units
from vision.layout import BALL_IDS

from .view import page_view

_TEMPLATES = Environment(
    loader=PackageLoader("service.pages"), autoescape=True, undefined=StrictUndefined
)
UNITS_COOKIE = "restmark-units"
"""Where the browser keeps what lengths are shown in; the page's script sets it."""
_NAMES = tuple((name, Markup(ball_icon_svg(name))) for name in BALL_IDS)
"""The sixteen names that a ball may have, each with its symbol."""


def install_pages(
    app: FastAPI,
    store: Store,
    known_set: Callable[[], Awaitable[KnownSet]],
    *,
    units: Units = Units.MM,
) -> None:
    """Add the page, its parts, the documents with the API's page, and static files to ``app``.

    ``known_set`` gives what is known of the ball set; ``units`` is what lengths are shown in
    until a reader chooses, which their browser keeps.
    """

    async def rendered(template: str, request: Request) -> HTMLResponse:
        shown = units_of(request, units)
        return await run_in_threadpool(_rendered, template, store, await known_set(), shown)

    @app.get("/", include_in_schema=False)
    async def page(request: Request) -> HTMLResponse:
        return await rendered("page.html", request)

    @app.get("/parts", include_in_schema=False)
    async def parts(request: Request) -> HTMLResponse:
        return await rendered("parts.html", request)

    @app.get("/docs", include_in_schema=False)
    def docs() -> HTMLResponse:
        return HTMLResponse(
            _TEMPLATES.get_template("docs.html").render(
                document=app.openapi(), schema_path=app.openapi_url, pages=documents.pages()
            )
        )

    @app.get(f"/docs/{documents.DRAWING}", include_in_schema=False)
    def drawing() -> FileResponse:
        return FileResponse(str(files("service.docs") / documents.DRAWING))

    @app.get("/docs/{name}", include_in_schema=False)
    def document(name: str) -> HTMLResponse:
        page = documents.page(name)
        if page is None:
            raise HTTPException(404)
        return HTMLResponse(_TEMPLATES.get_template("document.html").render(page=page))

    static = files("service.pages") / "static"
    app.mount("/static", StaticFiles(directory=str(static)), name="static")


def units_of(request: Request, default: Units) -> Units:
    """What the reader's browser keeps as chosen; whatever else stands there is no choice."""
    try:
        return Units(request.cookies.get(UNITS_COOKIE, default))
    except ValueError:
        return default


def _rendered(template: str, store: Store, known: KnownSet, units: Units) -> HTMLResponse:
    with store.reading() as reader:
        view = page_view(reader, known, units)
    context: dict[str, Any] = {"view": view, "names": _NAMES, "units": tuple(Units)}
    return HTMLResponse(
        _TEMPLATES.get_template(template).render(context), headers={"Cache-Control": "no-store"}
    )
