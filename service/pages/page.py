"""The page at ``/``: rendered here, kept new by its script, self-sufficient without a network."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.staticfiles import StaticFiles

from service.store import Store

from .view import page_view

_TEMPLATES = Environment(
    loader=PackageLoader("service.pages"), autoescape=True, undefined=StrictUndefined
)


def install_pages(app: FastAPI, store: Store) -> None:
    """Add the page, its parts, a page about the API and static files to ``app``."""

    @app.get("/", include_in_schema=False)
    def page() -> HTMLResponse:
        return _rendered("page.html", store)

    @app.get("/parts", include_in_schema=False)
    def parts() -> HTMLResponse:
        return _rendered("parts.html", store)

    @app.get("/docs", include_in_schema=False)
    def docs() -> HTMLResponse:
        return HTMLResponse(
            _TEMPLATES.get_template("docs.html").render(
                document=app.openapi(), schema_path=app.openapi_url
            )
        )

    static = files("service.pages") / "static"
    app.mount("/static", StaticFiles(directory=str(static)), name="static")


def _rendered(template: str, store: Store) -> HTMLResponse:
    with store.reading() as reader:
        view = page_view(reader)
    context: dict[str, Any] = {"view": view}
    return HTMLResponse(
        _TEMPLATES.get_template(template).render(context), headers={"Cache-Control": "no-store"}
    )
