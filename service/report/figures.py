"""The report's own small figure: residuals of the calibration."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.drawing.svg import add, root, text_of

_INK = "var(--muted,#667)"
_LINE = "var(--rule,#bbb)"


@dataclass(frozen=True, slots=True, kw_only=True)
class StripRow:
    """One kind of landmark with its residuals in mm."""

    label: str
    values_mm: tuple[float, ...]


def residuals_svg(rows: Sequence[StripRow]) -> str:
    """Residuals of each kind of landmark as ticks on one mm scale."""
    wide, row_high, left = 620.0, 34.0, 150.0
    high = row_high * len(rows) + 34
    largest = max((abs(v) for row in rows for v in row.values_mm), default=1.0)
    limit = next((n for n in (0.5, 1, 2, 3, 5, 10, 20) if n >= largest), largest)
    scale = (wide - left - 24) / (2 * limit)
    middle = left + (wide - left - 24) / 2
    svg = root(
        (0, 0, wide, high), int(wide), title="Residuals of the calibration by kind of landmark",
        description="; ".join(
            f"{row.label}: {len(row.values_mm)}, largest "
            f"{max((abs(v) for v in row.values_mm), default=0):.2f} mm" for row in rows
        ), kind="residuals",
    )  # fmt: skip
    for i, row in enumerate(rows):
        y = row_high * (i + 0.5)
        add(svg, "text", row.label, x=0, y=y + 4.5, font_size=13, fill="var(--ink,#222)")
        add(svg, "line", x1=left, x2=wide - 24, y1=y, y2=y, stroke=_LINE)
        ticks = add(svg, "g", stroke_width=1.6, stroke="var(--accent,#277)", stroke_opacity=0.6)
        for value in row.values_mm:
            x = middle + value * scale
            add(ticks, "line", x1=x, x2=x, y1=y - 9, y2=y + 9)
    bottom = row_high * len(rows) + 8
    add(svg, "line", x1=middle, x2=middle, y1=0, y2=bottom, stroke=_LINE, stroke_dasharray="3 3")
    for value in (-limit, 0.0, limit):
        add(
            svg, "text", f"{value:+g} mm" if value else "0", x=middle + value * scale,
            y=bottom + 16, text_anchor="middle", font_size=11.5, fill=_INK,
        )  # fmt: skip
    return text_of(svg)
