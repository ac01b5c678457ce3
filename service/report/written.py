"""A session's report written to disk: one HTML file, or a folder with its drawings beside it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from calibration.jsonfile import make_folder, write_text
from calibration.table import Table
from service.words.plain import counted

from .model import Report, Source, make_report
from .page import render_page

if TYPE_CHECKING:
    from service.practice import SessionResult

REPORT_FILE = "report.html"
_PAGE_SUFFIXES = (".html", ".htm")


def write_report(where: Path, result: SessionResult, source: Source) -> Path:
    """Write the report of a scored session; returns where the page lies.

    A name that ends in .html is the page itself, every drawing inside it. Any other is a folder,
    made if missing: the page goes there as ``report.html``, and each drawing once more beside it
    as an SVG file.
    """
    report = make_report(result, source)
    if where.suffix.lower() in _PAGE_SUFFIXES:
        write_text(where, render_page(report))
        return where
    make_folder(where)
    for name, svg in drawings(report).items():
        write_text(where / name, svg)
    write_text(where / REPORT_FILE, render_page(report))
    return where / REPORT_FILE


def drawings(report: Report) -> dict[str, str]:
    """The report's drawings by the names of their files."""
    found = {"landings.svg": report.landings_svg} if report.tiles else {}
    for part in report.attempts:
        for kind, svg in (("", part.top_view), ("-still", part.overlay)):
            if svg is not None:
                found[f"attempt-{part.number:02d}{kind}.svg"] = svg
    return found


def lead_words(attempts: int, table: Table) -> str:
    """What stands under the heading: how many attempts, on which table, and what is said."""
    return (
        f"{counted(attempts, 'attempt')} on one table of {table.length_mm:g} × "
        f"{table.width_mm:g} mm: where the cue ball was meant to stop, where it stopped, and what "
        "the difference cost."
    )
