"""Reports, drawings and units of the commands: what a player gets without reading JSON."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import pytest

from calibration.table import Table
from service.cli import main
from service.position import Intent, landing_zone
from vision.layout import Ball, Layout

TABLE = Table()
BALLS = {"cue": (1800, 800), "3": (2200, 1000), "4": (1270, 400), "9": (1600, 700)}
AFTER = {"cue": (2100, 700), "4": (1270, 400), "9": (1600, 700)}
INTENT: dict[str, Any] = {
    "pot": 3, "pocket": "foot-left", "next": 4, "next_pocket": "side-right", "cut_deg": [0, 50],
    "distance_mm": [100, 700],
}  # fmt: skip
ROUTES = ([[2150, 970], [2100, 1242], [1300, 700]], [[2150, 970], [1300, 750]])
SVG = "{http://www.w3.org/2000/svg}"
NUMBER_IN = re.compile(r"Out by ([\d.]+) (mm|in|diamonds)")
UNIT_MM = {"mm": 1.0, "in": 25.4, "diamonds": 2540 / 8}


def layout(name: str, places: dict[str, tuple[float, float]]) -> Layout:
    balls = tuple(Ball(id=ball, x_mm=float(x), y_mm=float(y)) for ball, (x, y) in places.items())
    return Layout(still=name, surface_mm=TABLE.surface_mm, balls=balls)


def save(path: Path, data: Any) -> str:
    path.write_text(json.dumps(data), encoding="utf-8")
    return str(path)


@pytest.fixture
def files(tmp_path: Path) -> dict[str, str]:
    given = {
        "before": layout("before", BALLS).to_dict(),
        "after": layout("after", AFTER).to_dict(),
        "meant": INTENT,
        **{f"route-{i}": INTENT | {"route_mm": way} for i, way in enumerate(ROUTES)},
    }
    return {name: save(tmp_path / f"{name}.json", data) for name, data in given.items()}


def score(files: dict[str, str], *options: str) -> list[str]:
    return ["score", files["before"], files["after"], "--intent", files["meant"], *options]


# -- units ---------------------------------------------------------------------------------


@pytest.mark.parametrize("units", ["mm", "inches", "diamonds"])
def test_a_miss_is_the_same_length_in_every_unit(files, capsys, units):
    assert main(score(files, "--json", "--units", units)) == 0
    miss_mm = json.loads(capsys.readouterr().out)["miss_mm"]
    assert miss_mm > 20, "the case is a plain miss"
    assert main(score(files, "--units", units)) == 0
    number, sign = NUMBER_IN.search(capsys.readouterr().out).groups()
    # as many digits as are shown: half of the last one at most
    half_mm = UNIT_MM[sign] * 0.5 / 10 ** len(number.partition(".")[2])
    assert half_mm < 2, "no coarser than a reading is worth"
    assert float(number) * UNIT_MM[sign] == pytest.approx(miss_mm, rel=0, abs=half_mm + 1e-6)


def test_unknown_units_are_wrong_usage(files, capsys):
    assert main(score(files, "--units", "feet")) == 2
    assert "feet" in capsys.readouterr().err


# -- reports -------------------------------------------------------------------------------


def test_score_writes_its_report_to_a_file_or_a_folder(files, tmp_path, capsys):
    page = tmp_path / "one.html"
    assert main(score(files, "--report", str(page), "--units", "inches")) == 0
    text = page.read_text(encoding="utf-8")
    assert "Outside the zone by" in text
    assert str(tmp_path) not in text, "a report may be passed on: no path of this machine"
    assert str(page) in capsys.readouterr().err
    folder = tmp_path / "report"
    assert main(score(files, "--report", str(folder), "--json")) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "out"
    assert sorted(path.name for path in folder.iterdir()) == ["attempt-01.svg", "report.html"]
    assert ET.parse(folder / "attempt-01.svg").getroot().get("class") == "top-view"


def test_session_writes_its_report_with_every_drawing(files, tmp_path, capsys):
    folder = tmp_path / "session"
    folder.mkdir()
    for number in (1, 2, 3):
        for when, places in (("before", BALLS), ("after", AFTER)):
            name = f"shot-{number}-{when}"
            save(folder / f"{name}.json", layout(name, places).to_dict())
    save(folder / "plan.json", {"shots": [INTENT] * 3})
    where = tmp_path / "report"
    assert main(["session", str(folder), "--report", str(where)]) == 0
    assert f"report written to {where / 'report.html'}" in capsys.readouterr().err
    text = (where / "report.html").read_text(encoding="utf-8")
    assert text.count('class="top-view"') == 3
    assert {"landings.svg", "attempt-03.svg"} <= {path.name for path in where.iterdir()}
    assert str(tmp_path) not in text, "a report may be passed on: no path of this machine"


# -- before the shot -----------------------------------------------------------------------


def test_zone_before_the_shot(files, tmp_path, capsys):
    drawing = tmp_path / "zone.svg"
    asked = ["zone", files["before"], "--intent", files["meant"]]
    assert main([*asked, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    zone = landing_zone(layout("before", BALLS), Intent.from_dict(INTENT), TABLE)
    assert found["area_mm2"] == pytest.approx(zone.area_mm2, rel=1e-9)
    assert found["wanted_mm"] == pytest.approx(list(zone.wanted_mm), rel=0, abs=1e-6)
    assert (found["depth_mm"], found["width_mm"]) == (None, None), "no route plans an arrival"
    assert found["along_table_mm"] > 2 * found["wanted_margin_mm"] - 1
    assert found["across_table_mm"] > 2 * found["wanted_margin_mm"] - 1
    asked[3] = files["route-0"]
    assert main([*asked, "--json"]) == 0
    planned = json.loads(capsys.readouterr().out)
    assert min(planned["depth_mm"], planned["width_mm"]) > 2 * found["wanted_margin_mm"] - 1
    assert main([*asked, "--out", str(drawing)]) == 0
    said = capsys.readouterr().out
    assert f"{zone.area_mm2 / 100:.0f} cm²" in said
    kinds = {group.get("class") for group in ET.parse(drawing).getroot().iter(f"{SVG}g")}
    assert {"zone", "arrival"} <= kinds


def test_the_limit_that_empties_a_zone_is_said(files, tmp_path, capsys):
    meant = save(tmp_path / "narrow.json", INTENT | {"distance_mm": [100, 120], "cushion_mm": 600})
    drawing = tmp_path / "none.svg"
    assert main(["zone", files["before"], "--intent", meant, "--out", str(drawing)]) == 0
    assert "(easing " in capsys.readouterr().out
    assert not ET.parse(drawing).getroot().findall(f".//{SVG}g[@class='zone']")
    assert main(["zone", files["before"], "--intent", meant, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["empty"] is True
    assert found["emptied_by"] in ("distance_mm", "cushion_mm")
    assert (found["area_mm2"], found["depth_mm"]) == (0.0, None)


def test_zone_of_every_pocket_where_it_is_left_open(files, tmp_path, capsys):
    meant = save(tmp_path / "open.json", {"next": 4, "distance_mm": [100, 700]})
    assert main(["zone", files["before"], "--intent", meant, "--json"]) == 0
    pockets = [part["pocket"] for part in json.loads(capsys.readouterr().out)["pockets"]]
    assert len(pockets) > 1
    assert main(["zone", files["before"], "--intent", meant]) == 0
    said = capsys.readouterr().out
    assert all(f"for the {pocket.replace('-', ' ')}" in said for pocket in pockets)


def test_routes_are_drawn_side_by_side(files, tmp_path, capsys):
    drawing = tmp_path / "routes.svg"
    asked = ["route", files["before"], "--units", "diamonds", "--out", str(drawing)]
    for i in range(len(ROUTES)):
        asked += ["--intent", files[f"route-{i}"]]
    assert main(asked) == 0
    assert "diamonds" in capsys.readouterr().out
    svg = ET.parse(drawing).getroot()
    drawn = svg.findall(f".//{SVG}g[@class='route']")
    assert len(drawn) == len(ROUTES)
    for group, way in zip(drawn, ROUTES, strict=True):
        line = group.find(f"{SVG}polyline").get("points").split(" ")
        ends = [tuple(map(float, pair.split(","))) for pair in line]
        expected = [(x, TABLE.width_mm - y) for x, y in way]
        assert ends == [pytest.approx(point, rel=0, abs=0.06) for point in expected]
    assert "route-1" in "".join(svg.itertext())
