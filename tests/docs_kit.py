"""The documents as text, and what stands in them in code."""

from pathlib import Path

from markdown_it import MarkdownIt

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
FOLDER = ROOT / "service" / "docs"


def blocks(text, language=""):
    """Fenced blocks of a language."""
    tokens = MarkdownIt("commonmark").parse(text)
    return [found.content for found in tokens if (found.type, found.info) == ("fence", language)]
