"""Kept layouts as files: JSON, and drawings, pictures and sheets that carry their JSON along."""

from __future__ import annotations

import json
from dataclasses import replace
from xml.etree import ElementTree as ET

from calibration.strict import parse
from service.drawing import top_view_svg
from service.drawing.svg import SVG_NAMESPACE
from service.position import LandingZone, Player, landing_zone
from service.words.lengths import Units

from .entry import KeptLayout, table_of
from .errors import LayoutError
from .inside import KEY, PDF_START, PNG_START, json_inside

MOST_BYTES = 1_000_000
"""No layout is larger, nor a drawing of it."""
MOST_SHEET_BYTES = 20_000_000
"""The same of pictures and sheets."""
_REMEDY = "Give a .json, .svg, .png or .pdf file as the library writes it of one layout."
_WHAT = "one layout as `restmark read --json` prints it, or a file that the library wrote of it"

ET.register_namespace("", SVG_NAMESPACE)


def layout_json(kept: KeptLayout) -> bytes:
    """One JSON object, as a person can read it."""
    return (json.dumps(kept.to_dict(), indent=2, ensure_ascii=False) + "\n").encode()


def zone_of(kept: KeptLayout, *, player: Player | None = None) -> LandingZone | None:
    """The landing zone of the shot that goes with the layout; None where none does.

    Raises:
        IntentError: the shot does not suit the layout.
    """
    if kept.intent is None:
        return None
    table = table_of(kept.layout)
    intent = kept.intent.named_on(kept.layout)
    intent.check_on(kept.layout, table)
    return landing_zone(kept.layout, intent, table, player=player)


def plain_svg(
    kept: KeptLayout,
    *,
    player: Player | None = None,
    units: Units = Units.MM,
    width_px: int = 960,
    small: bool = False,
) -> str:
    """The layout's drawing, with the landing zone of the shot that goes with it.

    ``small``: for a card's picture, with larger balls and nothing that could not be read there.

    Raises:
        IntentError: the shot does not suit the layout.
    """
    shown = replace(kept.layout, still=kept.title)
    zone = zone_of(kept, player=player)
    return top_view_svg(
        table_of(shown), shown, zone=zone, units=units, width_px=width_px, small=small,
        legend=False if small else None,
    )  # fmt: skip


def layout_svg(
    kept: KeptLayout,
    *,
    player: Player | None = None,
    units: Units = Units.MM,
    width_px: int = 960,
) -> str:
    """The drawing with the layout itself inside, so that it can be read back."""
    svg = ET.fromstring(plain_svg(kept, player=player, units=units, width_px=width_px))
    held = ET.Element(f"{{{SVG_NAMESPACE}}}metadata", {"id": KEY})
    held.text = carried_json(kept)
    # after title and description, which come first
    svg.insert(2, held)
    return ET.tostring(svg, encoding="unicode")


def carried_json(kept: KeptLayout) -> str:
    """What a drawing, picture or sheet carries: JSON in ASCII, on one line."""
    return json.dumps(kept.to_dict(), ensure_ascii=True)


def read_layout(data: bytes, *, name: str = "layout", title: str = "") -> KeptLayout:
    """A kept layout from a file's bytes: JSON, or an SVG, PNG or PDF that carries its JSON.

    Raises:
        LayoutError, FileFormatError: it is none of these, or what it holds is no layout.
    """
    is_sheet = data.startswith((PNG_START, PDF_START))
    most = MOST_SHEET_BYTES if is_sheet else MOST_BYTES
    if len(data) > most:
        raise LayoutError(f"{name}: got {len(data)} bytes; allowed: up to {most}. {_REMEDY}")
    content: str | bytes | None = data
    start = data.lstrip(b"\xef\xbb\xbf \t\r\n")[:1]
    if is_sheet or start == b"<":
        content = json_inside(data, most_bytes=MOST_BYTES)
    elif start >= b"\x80":  # a picture of another kind
        content = None
    if content is None or len(content) > MOST_BYTES:
        raise LayoutError(
            f"{name}: holds no layout; allowed: {_WHAT}. A photo, a scan, a lesson and a "
            f"file that another program saved again hold none. {_REMEDY}"
        )
    found = parse(content, place=name, what=_WHAT, remedy=_REMEDY)
    return KeptLayout.from_dict(found, path=name, title=title)
