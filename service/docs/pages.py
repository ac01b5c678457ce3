"""The pages in the order in which somebody meets them, and Markdown to HTML."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from markdown_it import MarkdownIt

PAGES = (
    "setting-up",
    "reading",
    "two-cameras",
    "intent",
    "verdict",
    "player",
    "sessions",
    "layouts",
    "service",
    "network",
    "keeping",
    "pot-chance",
    "programs",
    "snapshots",
    "scoring-by-program",
    "recording-by-program",
    "archives",
    "rereading",
    "training",
    "measured",
    "licences",
    "changelog",
)
DRAWING = "attempt.svg"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page; ``html`` is its text with the heading."""

    name: str
    title: str
    html: str


@cache
def page(name: str) -> Page | None:
    """The page of that name, with or without ``.md`` as links in the files have it."""
    name = name.removesuffix(".md")
    if name not in PAGES:
        return None
    text = (files(__package__) / f"{name}.md").read_text(encoding="utf-8")
    title = text.partition("\n")[0].removeprefix("# ")
    html = MarkdownIt("commonmark", {"html": False}).enable("table").render(text)
    return Page(name=name, title=title, html=html)


def pages() -> tuple[Page, ...]:
    """Every page in order."""
    return tuple(found for name in PAGES if (found := page(name)) is not None)
