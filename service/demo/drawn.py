"""The documents' drawing: one attempt of the sample practice from above.

``python -m service.demo.drawn`` draws it anew. It is made from the true places of the balls, so
that every machine draws the same.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

from calibration.jsonfile import write_text
from calibration.table import Table
from service.drawing import top_view_svg
from service.position import score_shot
from service.practice import Plan
from vision.layout import Ball, Layout
from vision.truth.file import read_truth

from .samples import PRACTICE_SURFACE, SHOTS_FOLDER, sample_folder

ATTEMPT = 3
"""A stop short of its zone and beside it: everything that a verdict draws is there."""
WIDTH_PX = 960


def drawn_attempt() -> str:
    """The attempt as an <svg> element: balls before and after, zone, stop and verdict."""
    table = Table.from_surface(PRACTICE_SURFACE)
    before, after = (_true_layout(f"shot-{ATTEMPT:02d}-{when}.jpg") for when in ("before", "after"))
    intent = Plan.read(sample_folder(f"{SHOTS_FOLDER}/plan.json")).intent(ATTEMPT)
    verdict = score_shot(before, after, intent, table)
    return top_view_svg(table, after, before=before, verdict=verdict, width_px=WIDTH_PX)


def drawing_path() -> Path:
    """Where the drawing lies among the documents."""
    return Path(str(files("service.docs"))) / "attempt.svg"


def _true_layout(name: str) -> Layout:
    still = read_truth(sample_folder(SHOTS_FOLDER))[name]
    balls = tuple(Ball(id=ball.id, x_mm=ball.x_mm, y_mm=ball.y_mm) for ball in still.balls)
    return Layout(still=name, surface_mm=still.table.surface_mm, balls=balls)


def main() -> None:
    """Write the drawing to its place."""
    write_text(drawing_path(), drawn_attempt() + "\n")


if __name__ == "__main__":
    main()
