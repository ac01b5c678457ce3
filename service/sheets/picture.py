"""A drawing or a layout as a PNG: its page of PDF, rendered by the PDF library's own letters."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from io import BytesIO
from types import MappingProxyType

import pypdfium2
from PIL.PngImagePlugin import PngInfo
from reportlab.pdfgen.canvas import Canvas

from service.layouts.entry import KeptLayout
from service.layouts.files import carried_json, plain_svg
from service.layouts.inside import KEY
from service.position import Player
from service.words.lengths import Units

from .errors import SheetError
from .painter import draw_svg

LEAST_PX, MOST_PX = 200, 6000
"""Widths of a picture that are of use to anybody."""
_PAGE_PT = 720.0
_ONE_AT_A_TIME = threading.Lock()
"""The renderer is not made for several threads."""


def layout_png(
    kept: KeptLayout,
    *,
    player: Player | None = None,
    units: Units = Units.MM,
    width_px: int = 1920,
) -> bytes:
    """The layout's drawing as PNG with the layout itself inside, so that it can be read back.

    Raises:
        IntentError: the shot that goes with the layout does not suit it.
        SheetError: a width out of bounds.
    """
    svg = plain_svg(kept, player=player, units=units)
    return svg_png(svg, width_px=width_px, texts={KEY: carried_json(kept)})


def svg_png(
    svg: str, *, width_px: int = 1920, texts: Mapping[str, str] = MappingProxyType({})
) -> bytes:
    """The drawing as PNG, so wide, with ``texts`` in ASCII inside by their names.

    Raises:
        SheetError: a width out of bounds, or a drawing that is none of ours.
    """
    if not LEAST_PX <= width_px <= MOST_PX:
        raise SheetError(
            f"width_px: got {width_px}; allowed: {LEAST_PX} to {MOST_PX}. Choose a width there."
        )
    held = BytesIO()
    with _ONE_AT_A_TIME:
        document = pypdfium2.PdfDocument(drawing_pdf(svg))
        page = document[0]
        picture = page.render(scale=width_px / _PAGE_PT).to_pil()
        page.close()
        document.close()
    inside = PngInfo()
    for name, text in texts.items():
        inside.add_text(name, text)
    picture.save(held, "PNG", optimize=True, pnginfo=inside)
    return held.getvalue()


def drawing_pdf(svg: str) -> bytes:
    """One page of PDF that holds the drawing alone."""
    # drawn twice: the first time tells the height
    high = draw_svg(Canvas(BytesIO()), svg, left_pt=0, top_pt=0, width_pt=_PAGE_PT)
    held = BytesIO()
    canvas = Canvas(held, pagesize=(_PAGE_PT, high), invariant=True)
    draw_svg(canvas, svg, left_pt=0, top_pt=high, width_pt=_PAGE_PT)
    canvas.showPage()
    canvas.save()
    return held.getvalue()
