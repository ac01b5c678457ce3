"""One A4 page after another: millimetres from the top left, words, lines, and the scale check."""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream, PDFString
from reportlab.pdfgen.canvas import Canvas

from calibration.lens.paper import PAPERS_MM, UNPRINTABLE_MM
from calibration.lens.sheet import POINTS_A_MM, RULER_MM, draw_ruler

from .fonts import fitted, width_pt, wrapped
from .ink import ON_PAPER
from .painter import draw_svg, svg_box

A4_MM = PAPERS_MM["A4"]
SIDE_MM = 12.0
"""White at the left and right of words and drawings."""
FOOT_MM = UNPRINTABLE_MM + 8.0
"""Strip at the bottom of a page for the scale check."""
LINE_SHARE = 1.32
"""From one line to the next, in font sizes."""
_MUTED, _BLACK = 0.38, 0.0


class Paper:
    """A PDF being written; ``y`` runs down from the top of the page, all in mm, fonts in points."""

    def __init__(self, title: str, *, lying: bool = False) -> None:
        self.size_mm = (A4_MM[1], A4_MM[0]) if lying else A4_MM
        self._held = BytesIO()
        self._canvas = Canvas(self._held, pagesize=self._size_pt(), invariant=True)
        self._canvas.setTitle(title)
        self._canvas.setViewerPreference("PrintScaling", "None")
        self._pages = 0

    @property
    def room_mm(self) -> float:
        """Width between the white sides."""
        return self.size_mm[0] - 2 * SIDE_MM

    @property
    def bottom_mm(self) -> float:
        """Down to where words and drawings may run."""
        return self.size_mm[1] - FOOT_MM

    def end_page(self, foot: str = "", *, to_scale: bool = True) -> None:
        """The scale check with ``foot`` beside it, or ``foot`` alone; then a new page."""
        self._pages += 1
        if not to_scale:
            words, y_mm = f"{foot}  ·  page {self._pages}", self.size_mm[1] - UNPRINTABLE_MM
            self.text(SIDE_MM, y_mm, words, 6.5, muted=True, room_mm=self.room_mm)
            self._canvas.showPage()
            return
        self._canvas.setFillGray(_BLACK)
        draw_ruler(self._canvas, SIDE_MM)
        left_mm = SIDE_MM + RULER_MM + 4
        check = "Print at 100 %. The bar must measure 100 mm; if not, the page is not to scale."
        y_mm = self.size_mm[1] - UNPRINTABLE_MM
        for k, words in enumerate((f"{foot}  ·  page {self._pages}".lstrip(" ·"), check)):
            self.text(left_mm, y_mm - 3.4 * k, words, 6.5, muted=True, room_mm=self.room_mm - 104)
        self._canvas.showPage()

    def attach(self, name: str, data: bytes) -> None:
        """One file of JSON that goes with the pages, as viewers list attachments; once."""
        content = data.decode("ascii")
        held = PDFDictionary(
            {
                "Type": PDFName("EmbeddedFile"),
                # a slash within a name is written so
                "Subtype": "/application#2Fjson",
                "Params": PDFDictionary({"Size": len(content)}),
            }
        )
        said = PDFString(name)
        file = PDFDictionary(
            {
                "Type": PDFName("Filespec"),
                "F": said,
                "UF": said,
                "EF": PDFDictionary({"F": PDFStream(held, content)}),
            }
        )
        named = PDFDictionary({"Names": PDFArray([said, file])})
        self._canvas.setCatalogEntry("Names", PDFDictionary({"EmbeddedFiles": named}))

    def finished(self) -> bytes:
        """The whole PDF."""
        self._canvas.save()
        return self._held.getvalue()

    def turn_to(self, *, lying: bool) -> None:
        """Pages from here on upright or on their side."""
        self.size_mm = (A4_MM[1], A4_MM[0]) if lying else A4_MM
        self._canvas.setPageSize(self._size_pt())

    def text(
        self,
        x_mm: float,
        y_mm: float,
        words: str,
        size_pt: float = 10.0,
        *,
        bold: bool = False,
        muted: bool = False,
        align: str = "left",
        room_mm: float | None = None,
    ) -> None:
        """One line with its base at ``y_mm``; made smaller where it would not fit the room."""
        if room_mm is not None:
            wide = width_pt(words, size_pt, bold=bold)
            size_pt *= min(1.0, room_mm * POINTS_A_MM / max(wide, 1e-6))
        shown, font = fitted(words, bold=bold)
        self._canvas.setFillGray(_MUTED if muted else _BLACK)
        self._canvas.setFont(font, size_pt)
        x, y = self._pt(x_mm, y_mm)
        draw = {
            "left": self._canvas.drawString,
            "right": self._canvas.drawRightString,
            "middle": self._canvas.drawCentredString,
        }[align]
        draw(x, y, shown)

    def paragraph(self, y_mm: float, words: str, size_pt: float = 10.0, *, most: int = 60) -> float:
        """Words in lines across the page from ``y_mm`` down; returns where the next may start."""
        lines = wrapped(words, size_pt, self.room_mm * POINTS_A_MM)
        if len(lines) > most:
            lines = [*lines[: most - 1], f"{lines[most - 1]} …"]
        for line in lines:
            y_mm += size_pt * LINE_SHARE / POINTS_A_MM
            self.text(SIDE_MM, y_mm, line, size_pt)
        return y_mm

    def drawing(
        self,
        svg: str,
        *,
        left_mm: float,
        top_mm: float,
        wide_mm: float,
        ink: Mapping[str, str] = ON_PAPER,
    ) -> float:
        """One of our drawings, so wide; returns its height."""
        left, top = self._pt(left_mm, top_mm)
        high = draw_svg(
            self._canvas, svg, left_pt=left, top_pt=top, width_pt=wide_mm * POINTS_A_MM, ink=ink
        )
        return high / POINTS_A_MM

    @staticmethod
    def drawn_mm(svg: str, wide_mm: float) -> float:
        """How high one of our drawings is, so wide."""
        _, _, wide, high = svg_box(svg)
        return wide_mm * high / wide

    def line(
        self, x1_mm: float, y1_mm: float, x2_mm: float, y2_mm: float, *, wide_mm: float = 0.2,
        dash_mm: tuple[float, ...] = (), gray: float = 0.0,
    ) -> None:  # fmt: skip
        """A straight line."""
        self._stroke(wide_mm, dash_mm, gray)
        self._canvas.line(*self._pt(x1_mm, y1_mm), *self._pt(x2_mm, y2_mm))

    def circle(
        self, x_mm: float, y_mm: float, radius_mm: float, *, wide_mm: float = 0.3,
        dash_mm: tuple[float, ...] = (), gray: float = 0.0,
    ) -> None:  # fmt: skip
        """A ring."""
        self._stroke(wide_mm, dash_mm, gray)
        self._canvas.circle(*self._pt(x_mm, y_mm), radius_mm * POINTS_A_MM, stroke=1, fill=0)

    def _stroke(self, wide_mm: float, dash_mm: tuple[float, ...], gray: float) -> None:
        self._canvas.setLineWidth(wide_mm * POINTS_A_MM)
        self._canvas.setDash([v * POINTS_A_MM for v in dash_mm], 0)
        self._canvas.setStrokeGray(gray)

    def _size_pt(self) -> tuple[float, float]:
        return (self.size_mm[0] * POINTS_A_MM, self.size_mm[1] * POINTS_A_MM)

    def _pt(self, x_mm: float, y_mm: float) -> tuple[float, float]:
        return x_mm * POINTS_A_MM, (self.size_mm[1] - y_mm) * POINTS_A_MM
