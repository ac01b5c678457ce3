"""A report as one HTML file that needs nothing beside itself."""

from __future__ import annotations

from importlib.resources import files
from typing import Any

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from .model import Report


def render_page(report: Report) -> str:
    """The page: style inline, drawings and stills inside, no address of another file."""
    return filled("report.html", report=report)


def filled(template: str, **values: Any) -> str:
    """A template of this room filled in, the common style inline.

    Every text is escaped; only the drawings, which escape their own texts, go in as they are.
    """
    environment = Environment(
        loader=FunctionLoader(_template),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["drawing"] = _drawing
    return environment.get_template(template).render(
        style=Markup(_template("report.css")), **values
    )


def _drawing(svg: str) -> Markup:
    return Markup(svg)


def _template(name: str) -> str:
    return (files("service.report") / "templates" / name).read_text(encoding="utf-8")
