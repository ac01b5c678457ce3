"""Letters on paper: the PDF's own Helvetica, and for other scripts a font that the machine has."""

from __future__ import annotations

from functools import cache

from reportlab.pdfbase.pdfmetrics import registerFont, stringWidth
from reportlab.pdfbase.ttfonts import TTFError, TTFont

PLAIN, BOLD = "Helvetica", "Helvetica-Bold"
_OTHER_SCRIPTS = (
    "DejaVuSans.ttf", "NotoSans-Regular.ttf", "LiberationSans-Regular.ttf", "FreeSans.ttf",
    "arial.ttf", "Arial.ttf",
)  # fmt: skip
"""Looked for by the PDF library where machines keep their fonts, in this order."""
_PLAINER = str.maketrans({"\N{MINUS SIGN}": "\N{EN DASH}", "\N{RIGHTWARDS ARROW}": ">"})
"""Signs of ours that Helvetica lacks."""
_ENCODING = "cp1252"


def fitted(text: str, *, bold: bool = False) -> tuple[str, str]:
    """The text as it can be shown, and the name of the font that shows it.

    A letter that no font of this machine has becomes a question mark.
    """
    plain = text.translate(_PLAINER)
    if _has_helvetica(plain):
        return plain, BOLD if bold else PLAIN
    other = _other_font()
    if other is not None:
        return text, other
    return plain.encode(_ENCODING, "replace").decode(_ENCODING), BOLD if bold else PLAIN


def width_pt(text: str, size_pt: float, *, bold: bool = False) -> float:
    """How wide the text stands."""
    shown, font = fitted(text, bold=bold)
    return float(stringWidth(shown, font, size_pt))


def wrapped(text: str, size_pt: float, room_pt: float, *, bold: bool = False) -> list[str]:
    """The text in lines that fit; a longer word is cut."""
    lines: list[str] = []
    for paragraph in text.splitlines() or [""]:
        line = ""
        for word in paragraph.split():
            while width_pt(word, size_pt, bold=bold) > room_pt and len(word) > 1:
                keep = next(
                    k
                    for k in range(len(word) - 1, 0, -1)
                    if k == 1 or width_pt(word[:k], size_pt, bold=bold) <= room_pt
                )
                lines += [line] if line else []
                lines.append(word[:keep])
                line, word = "", word[keep:]
            longer = f"{line} {word}" if line else word
            if line and width_pt(longer, size_pt, bold=bold) > room_pt:
                lines.append(line)
                line = word
            else:
                line = longer
        lines.append(line)
    return lines


def _has_helvetica(text: str) -> bool:
    try:
        text.encode(_ENCODING)
    except UnicodeEncodeError:
        return False
    return True


@cache
def _other_font() -> str | None:
    for file in _OTHER_SCRIPTS:
        try:
            registerFont(TTFont("restmark-other", file))
        except (TTFError, OSError):
            continue
        return "restmark-other"
    return None
