"""The page at ``/``: rendered here, kept new by its script, self-sufficient without a network."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from importlib.resources import files
from typing import Any

from fastapi import FastAPI, HTTPException
from fastapi.responses import FileResponse, HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.staticfiles import StaticFiles

from service.desk.known_set import KnownSet
from service.docs import pages as documents
from service.drawing import ball_icon_svg
from service.store import Store
from vision.layout import BALL_IDS

from .view import page_view

_TEMPLATES = Environment(
    loader=PackageLoader("service.pages"), autoescape=True, undefined=StrictUndefined
)
_NAMES = tuple((name, Markup(ball_icon_svg(name))) for name in BALL_IDS)
"""The sixteen names that a ball may have, each with its symbol."""


def install_pages(app: FastAPI, store: Store, known_set: Callable[[], Awaitable[KnownSet]]) -> None:
    """Add the page, its parts, the documents with the API's page, and static files to ``app``.

    ``known_set`` gives what is known of the ball set.
    """

    @app.get("/", include_in_schema=False)
    async def page() -> HTMLResponse:
        return await run_in_threadpool(_rendered, "page.html", store, await known_set())

    @app.get("/parts", include_in_schema=False)
    async def parts() -> HTMLResponse:
        return await run_in_threadpool(_rendered, "parts.html", store, await known_set())

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


def _rendered(template: str, store: Store, known: KnownSet) -> HTMLResponse:
    with store.reading() as reader:
        view = page_view(reader, known)
    context: dict[str, Any] = {"view": view, "names": _NAMES}
    return HTMLResponse(
        _TEMPLATES.get_template(template).render(context), headers={"Cache-Control": "no-store"}
    )
