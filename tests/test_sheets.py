"""Paper and pictures: pages true to scale, markers 1:1, lessons, and our SVG drawn on them."""

import json
import math
import re
import zlib
from dataclasses import replace
from html.parser import HTMLParser
from io import BytesIO
from xml.etree import ElementTree as ET

import numpy as np
import pypdfium2
import pytest
from api_kit import INTENT, layout
from hypothesis import given
from hypothesis import strategies as st
from laid_out import laid, places
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from calibration.errors import RestmarkError
from calibration.lens.sheet import RULER_MM
from calibration.table import BALL_DIAMETER_MM
from service.drawing import ball_icon_svg, guide_svg
from service.guide import guided
from service.layouts.entry import KeptLayout, table_of
from service.layouts.files import layout_json, plain_svg, read_layout
from service.layouts.lesson import Lesson
from service.layouts.turned import Turned
from service.position import Intent
from service.sheets.errors import SheetError
from service.sheets.fonts import fitted, width_pt, wrapped
from service.sheets.layout_sheet import layout_pdf
from service.sheets.lesson_sheet import lesson_html, lesson_pdf
from service.sheets.page import A4_MM, Paper
from service.sheets.picture import drawing_pdf, layout_png, svg_png
from service.sheets.tiles import CELL_MM, tiles_of
from vision.layout import BALL_IDS

PX_PER_MM = 8
PX_MM = 2 / PX_PER_MM
"""A ring's line is a pixel or two wide."""
KEPT = KeptLayout(
    title="Stop beside the 4",
    note="Soft, with a little draw.",
    tags=("soft", "draw"),
    layout=layout(still="shot.jpg"),
    intent=Intent.from_dict(INTENT),
)
FULL = KeptLayout(
    title="Everything " * 10,
    note="Many words that fill the page. " * 100,
    tags=tuple(f"tag {i}" for i in range(20)),
    layout=laid({name: (300 + 140 * i, 300 + 60 * (i % 3)) for i, name in enumerate(BALL_IDS)}),
    intent=Intent(pot="3", pocket="foot-left", next="5"),
)


class Pdf:
    """A PDF opened for looking at."""

    def __init__(self, data: bytes) -> None:
        self.document = pypdfium2.PdfDocument(data)

    def __enter__(self) -> "Pdf":
        return self

    def __exit__(self, *_: object) -> None:
        self.document.close()

    def __len__(self) -> int:
        return len(self.document)

    def sizes_mm(self) -> list[tuple[float, float]]:
        out = []
        for page in self.document:
            out.append(tuple(v * 25.4 / 72 for v in page.get_size()))
            page.close()
        return out

    def text(self, number: int) -> str:
        page = self.document[number]
        words = page.get_textpage()
        out = words.get_text_bounded()
        words.close()
        page.close()
        return out

    def places_mm(self, number: int, words: str) -> list[tuple[float, float]]:
        """Left and bottom of every occurrence, from the page's top left."""
        page = self.document[number]
        held = page.get_textpage()
        high = page.get_height()
        search, out = held.search(words), []
        while (found := search.get_next()) is not None:
            left, bottom, _, _ = held.get_charbox(found[0])
            out.append((left * 25.4 / 72, (high - bottom) * 25.4 / 72))
        search.close()
        held.close()
        page.close()
        return out

    def dark(self, number: int) -> np.ndarray:
        """The page as rendered: True where it is dark."""
        page = self.document[number]
        picture = page.render(scale=PX_PER_MM * 25.4 / 72, grayscale=True).to_numpy()
        page.close()
        return np.asarray(picture).reshape(picture.shape[:2]) < 128


def test_a_sheet_tells_every_ball_from_two_rails_and_in_diamonds():
    with Pdf(layout_pdf(KEPT)) as pdf:
        words = pdf.text(0)
        assert len(pdf) == 1
        assert pdf.sizes_mm() == [pytest.approx(A4_MM, abs=0.1)]
    for expected in (
        KEPT.title, KEPT.note, "soft", "draw", "Pot 3 in the foot left", "Cue ball",
        "1040.0 mm", "400.0 mm", "4.72, 1.26", "Ball 9", "300.0 mm", "270.0 mm", "0.94, 3.15",
        "100 mm",
    ):  # fmt: skip
        assert expected in words


def test_the_same_layout_gives_the_same_bytes():
    assert layout_pdf(KEPT, tiles=True) == layout_pdf(KEPT, tiles=True)


def test_a_full_table_with_a_long_note_still_fits_one_page():
    with Pdf(layout_pdf(FULL)) as pdf:
        assert len(pdf) == 1
        words = pdf.text(0)
        (foot,) = pdf.places_mm(0, "The table is")
        (bar,) = pdf.places_mm(0, "The bar must")
    assert all(f"Ball {n}" in words for n in range(1, 16))
    assert foot[1] < bar[1]


def test_the_scale_check_is_as_long_as_it_says():
    with Pdf(layout_pdf(KEPT)) as pdf:
        dark = pdf.dark(0)
    foot = dark[int((A4_MM[1] - 8) * PX_PER_MM) :, : int(114 * PX_PER_MM)]
    columns = np.flatnonzero(foot.any(axis=0))
    assert (columns[-1] - columns[0] + 1) / PX_PER_MM == pytest.approx(RULER_MM, abs=PX_MM)


# -- markers 1:1 -----------------------------------------------------------------------------


@given(places(least=1, most=10))
def test_every_ball_lies_whole_on_the_sheet_of_its_cell(where):
    kept = laid(where)
    tiles = tiles_of(kept)
    for ball in kept.balls:
        own = [
            tile
            for tile in tiles
            if all(
                0 <= v - low < side
                for v, low, side in zip(ball.centre_mm, tile.low_mm, CELL_MM, strict=True)
            )
        ]
        assert len(own) == 1
        x, y = own[0].on_sheet(ball.centre_mm)
        radius = BALL_DIAMETER_MM / 2
        # 5 mm that no printer reaches, and the strip of the scale check
        assert x - radius >= 5
        assert x + radius <= A4_MM[1] - 5
        assert y - radius >= 5
        assert y + radius <= A4_MM[0] - 13
    assert len(tiles) <= len(kept.balls)


def test_a_marker_is_as_large_as_a_ball_and_stands_where_the_marks_say():
    one = replace(KEPT, layout=laid({"5": (700.0, 500.0)}), intent=None)
    (tile,) = tiles_of(one.layout)
    with Pdf(layout_pdf(one, tiles=True)) as pdf:
        assert len(pdf) == 3
        assert pdf.sizes_mm()[2] == pytest.approx((A4_MM[1], A4_MM[0]), abs=0.1)
        dark = pdf.dark(2)
        words = pdf.text(2)
    x, y = tile.on_sheet((700.0, 500.0))
    row = dark[round(y * PX_PER_MM)]
    middle = round(x * PX_PER_MM)
    right = next(i for i in range(middle + 20 * PX_PER_MM, len(row)) if row[i])
    left = next(i for i in range(middle - 20 * PX_PER_MM, 0, -1) if row[i])
    assert (right - left) / PX_PER_MM == pytest.approx(BALL_DIAMETER_MM, abs=2 * PX_MM)
    assert (right + left) / 2 / PX_PER_MM == pytest.approx(x, abs=PX_MM)
    # each registration mark lies where its words say it does
    for corner in tile.corners_mm:
        u, v = tile.on_sheet(corner)
        assert dark[round(v * PX_PER_MM) - 2 : round(v * PX_PER_MM) + 3, round(u * PX_PER_MM)].any()
        assert math.dist((u, v), (x, y)) == pytest.approx(math.dist(corner, (700.0, 500.0)))
        assert f"{corner[0]:.0f} mm from the head rail" in words
        assert f"{corner[1]:.0f} mm from the right long rail" in words
    assert f"sheet {tile.name}" in words


def test_neighbouring_sheets_share_their_marks():
    both = laid({"5": (CELL_MM[0] - 10.0, 60.0), "6": (CELL_MM[0] + 60.0, 60.0)})
    first, second = tiles_of(both)
    assert set(first.corners_mm) & set(second.corners_mm)
    assert first.shows((CELL_MM[0] - 10.0, 60.0))
    assert second.shows((CELL_MM[0] - 10.0, 60.0))


# -- lessons ---------------------------------------------------------------------------------


def lesson() -> Lesson:
    mirrored = replace(KEPT.turned(Turned.of(mirror="across")), title="<b>The other side</b>")
    return Lesson(title="Thursday & Friday", note="Slow\nand soft.", parts=(KEPT, mirrored))


def test_a_lesson_is_a_page_a_layout():
    with Pdf(lesson_pdf(lesson())) as pdf:
        assert len(pdf) == 2
        assert "Thursday & Friday" in pdf.text(0)
        assert "Pot 3 in the foot right" in pdf.text(1)


class _Elements(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def test_a_lesson_is_one_html_file_without_scripts_or_addresses():
    page = lesson_html(lesson())
    found = _Elements()
    found.feed(page)
    names = [tag for tag, _ in found.tags]
    assert names.count("article") == 2
    assert names.count("svg") == 2
    assert not {"script", "link", "img", "iframe", "b"} & set(names)
    assert not [a for _, a in found.tags if {"src", "href", "onclick", "onload"} & set(a)]
    assert "&lt;b&gt;The other side&lt;/b&gt;" in page
    assert "Thursday &amp; Friday" in page
    assert "http" not in re.sub(r'xmlns="http://www.w3.org/2000/svg"', "", page)


def test_a_shot_without_a_zone_is_said_on_paper_and_page():
    hopeless = replace(KEPT, intent=Intent.from_dict(INTENT | {"distance_mm": [2400, 2500]}))
    sheet = Lesson(title="Hopeless", parts=(hopeless,))
    assert "No landing zone here" in lesson_html(sheet)
    with Pdf(lesson_pdf(sheet)) as pdf:
        assert "No landing zone here" in pdf.text(0)


# -- the layout inside -----------------------------------------------------------------------


@pytest.mark.parametrize("kept", [KEPT, FULL, replace(KEPT, title="Ünï ⚫ 球", intent=None)])
def test_a_picture_and_a_sheet_give_their_layout_back(kept):
    assert read_layout(layout_png(kept, width_px=300)) == kept
    assert read_layout(layout_pdf(kept)) == kept


def test_the_layout_is_an_attachment_that_any_reader_of_pdf_finds():
    with Pdf(layout_pdf(KEPT)) as pdf:
        held = pdf.document.get_attachment(0)
        assert held.get_name() == "restmark-layout.json"
        assert KeptLayout.from_dict(json.loads(bytes(held.get_data()))) == KEPT


def png_with(text: str, *, packed: bool = False) -> bytes:
    held, inside = BytesIO(), PngInfo()
    inside.add_text("restmark-layout", text, zip=packed)
    Image.new("L", (4, 4)).save(held, "PNG", pnginfo=inside)
    return held.getvalue()


def pdf_with(text: str) -> bytes:
    paper = Paper("x")
    paper.attach("restmark-layout.json", text.encode())
    paper.end_page()
    return paper.finished()


@pytest.mark.parametrize("made", [png_with, pdf_with])
@pytest.mark.parametrize(
    ("text", "said"),
    [
        (json.dumps(KEPT.to_dict()).replace("1500.0", "1e999"), "finite number|out of range"),
        (json.dumps(KEPT.to_dict()).replace("1500.0", '"1500"'), r"x_mm: got '1500'"),
        ("[" * 100_000, "cannot be read as JSON"),
        ("[]", "got .*; allowed: an object"),
        (" " * 1_000_001, "holds no layout"),
    ],
    ids=["endless number", "a number as text", "nesting", "list", "large"],
)
def test_what_lies_inside_is_believed_no_more_than_a_file(made, text, said):
    with pytest.raises(RestmarkError, match=said):
        read_layout(made(text))


def packed_pdf(packed: bytes) -> bytes:
    """A PDF whose attachment is compressed, as another program might write it."""
    sheet = pdf_with("{}")
    begin, end = sheet.index(b"stream\n{}"), sheet.index(b"endstream", sheet.index(b"stream\n{}"))
    length = sheet.rindex(b"/Length 2", 0, begin)
    said = b"/Filter /FlateDecode /Length %d" % len(packed) + sheet[length + 9 : begin]
    # the places of what follows are told wrongly then, and readers look for them
    return sheet[:length] + said + b"stream\n" + packed + sheet[end:]


def test_files_made_to_swell_or_to_break_a_reader_are_refused():
    assert read_layout(packed_pdf(zlib.compress(layout_json(KEPT)))) == KEPT
    packing = zlib.compressobj()
    start = packing.compress(b"[") + packing.flush(zlib.Z_FULL_FLUSH)
    part = packing.compress(bytes(1_000_000)) + packing.flush(zlib.Z_FULL_FLUSH)
    for file in (
        packed_pdf(start + 1200 * part),
        png_with("[" * 3_000_000, packed=True),
        layout_pdf(KEPT)[:2000],
        layout_png(KEPT, width_px=300)[:40],
    ):
        with pytest.raises(RestmarkError, match="holds no layout"):
            read_layout(file)


# -- our SVG on a page -----------------------------------------------------------------------


def test_a_drawing_becomes_a_picture_of_the_width_asked_for():
    with Image.open(BytesIO(svg_png(plain_svg(KEPT), width_px=900))) as picture:
        assert picture.size[0] == 900
        rgb = np.asarray(picture.convert("RGB"))
    # the cloth's colour in the middle of the bed
    assert tuple(rgb[rgb.shape[0] // 3, 450]) == pytest.approx((0x2C, 0x70, 0x77), abs=3)


@pytest.mark.parametrize("width", [199, 6001])
def test_a_picture_has_a_width_of_use(width):
    with pytest.raises(SheetError, match=r"width_px: got .*; allowed: 200 to 6000"):
        svg_png(plain_svg(KEPT), width_px=width)


def test_balls_stand_in_the_picture_where_they_stand_on_the_table():
    kept = laid({"1": (635.0, 317.5)})
    svg = plain_svg(KeptLayout(title="One", layout=kept))
    left, top, wide, _ = (float(v) for v in ET.fromstring(svg).get("viewBox").split())
    with Image.open(BytesIO(svg_png(svg, width_px=2000))) as picture:
        rgb = np.asarray(picture.convert("RGB")).astype(int)
    yellow = np.argwhere(np.abs(rgb - (0xF3, 0xC2, 0x1B)).sum(axis=2) < 30)
    v, u = yellow.mean(axis=0) * wide / 2000
    # the number and the light spot shift the middle of the yellow a little
    assert (u + left, v + top) == pytest.approx((635.0, 1270 - 317.5), abs=3)


@pytest.mark.parametrize("name", BALL_IDS)
def test_every_ball_s_symbol_can_be_drawn(name):
    assert drawing_pdf(ball_icon_svg(name)).startswith(b"%PDF")


def test_a_set_up_guide_can_be_drawn():
    found = guided(layout(), laid({"cue": (300, 300), "9": (310, 1000), "7": (900, 900)}))
    assert svg_png(guide_svg(table_of(layout()), found, "said")).startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("inside", "said"),
    [
        ("<video/>", "got <video>"),
        ('<rect width="1" height="1" fill="rgb(1,2,3)"/>', "got the colour"),
    ],
)
def test_what_no_drawing_of_ours_has_is_refused(inside, said):
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 2 1">{inside}</svg>'
    with pytest.raises(SheetError, match=said):
        drawing_pdf(svg)


def test_arcs_turns_and_fallback_colours_are_drawn_as_svg_says():
    inside = (
        '<path d="M20,50 A30,30 0 0 1 80,50 Z" fill="#000"/>'
        '<g transform="translate(150 50) rotate(90)"><rect x="0" y="-5" width="40" height="10" '
        'style="fill:var(--ink,#000)"/></g>'
        '<g transform="matrix(0 -1 1 0 0 100)"><rect x="10" y="100" width="10" height="10"/></g>'
    )
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 100">{inside}</svg>'
    with Image.open(BytesIO(svg_png(svg, width_px=400))) as picture:
        dark = np.asarray(picture.convert("L")) < 128
    assert dark[2 * 30, 2 * 50]
    assert not dark[2 * 60, 2 * 50]
    assert dark[2 * 80, 2 * 150]
    assert not dark[2 * 50, 2 * 180]
    assert dark[2 * 85, 2 * 105]


# -- letters ---------------------------------------------------------------------------------


def test_letters_of_any_script_are_shown_or_replaced_never_refused():
    for words in ("Bälle – ±5°", "Шары", "台球", "a\u2212b", "3 → foot"):
        shown, font = fitted(words)
        assert shown
        assert font
        assert width_pt(words, 10) > 0
    assert fitted("a\u2212b")[0] == "a–b"


@given(st.text(max_size=200), st.floats(20, 300))
def test_wrapped_lines_fit_and_lose_no_letter(words, room):
    words = "".join(c for c in words if ord(c) < 256)
    lines = wrapped(words, 10, room)
    assert "".join("".join(lines).split()) == "".join(words.split())
    assert all(width_pt(line, 10) <= room or len(line) == 1 for line in lines)
