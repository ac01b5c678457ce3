"""Whatever stands in a file or a request: a value that goes back as it came, or a refusal.

A mutator with a fixed seed spoils real files of every format: values of other kinds, keys gone,
numbers without end, lists too long or too short, bytes flipped, nesting without end.
"""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from api_kit import CALIBRATION, Client, running, still

from calibration.errors import RestmarkError
from calibration.kept.bed_picture import BedPicture
from calibration.kept.calibration import Budget, Calibration, Residual
from calibration.kept.rail_marks import HALF_SAMPLES, RailMark
from calibration.lens.board import BoardPattern
from calibration.lens.file import BoardStill, Lens
from calibration.seen.points import GivenPoint, points_to_dict, read_points
from service.cli import main
from service.position.meant.intent import Intent
from service.position.meant.player import Player
from service.position.meant.player_file import read_player
from service.position.verdict.score import Verdict
from service.practice.notes import Note
from service.practice.plan import Plan
from vision.layout import Ball, Layout
from vision.name.corrected import Correction
from vision.name.taught import Look, Taught
from vision.networks import crops_fingerprint
from vision.truth.file import TRUTH_FILE, read_truth

MUTATIONS = 300
"""Of each format; a run of 5,000 each was made when this was written."""
LAYOUT = Layout(
    still="a.jpg",
    surface_mm=(2540.0, 1270.0),
    balls=(
        Ball(id="cue", x_mm=500.0, y_mm=600.0, cov_mm2=((0.2, 0.01), (0.01, 0.3))),
        Ball(
            id="3", x_mm=900.0, y_mm=300.0, confidence=0.6, doubtful=True,
            runners_up=(("11", 0.3), ("5", 0.1)),
        ),
    ),
    warnings=("Ball 3 is in doubt.",),
)  # fmt: skip
INTENT = {
    "pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
    "cut_deg": [10, 40], "side": "left", "distance_mm": [200, None], "cushion_mm": 60,
    "route_mm": [[900, 300], [1200, 1200]], "zone": {"circle_mm": [1000, 600, 150]},
}  # fmt: skip
NOTE = {"spin": "draw", "side_spin": "left", "rails": 2, "in_a_row": None}
VERDICT = Verdict(
    verdict="out", p_in=0.1, miss_mm=40.0, miss_vector_mm=(3.0, -4.0), cue_stop_mm=(900.0, 400.0),
    potted=("3",), frozen=False, pot_chance=0.5,
)  # fmt: skip


def _calibration() -> Calibration:
    mark = RailMark(
        name="left-1", kind="sight", at_mm=(317.5, -93.7, 44.0), across=(0.0, 1.0),
        channel="green", profile=tuple(float(v) for v in range(2 * HALF_SAMPLES + 1)),
    )  # fmt: skip
    picture = np.full((1080, 1920, 3), 90, np.uint8)
    return replace(
        CALIBRATION,
        residuals=(
            Residual(
                name="left-1", kind="sight", off_px=0.1, off_mm=0.1, sigma_px=0.2, weight=1.0
            ),
        ),
        budget=Budget(
            median_mm=1.0, worst_mm=2.0, worst_at_mm=(2500.0, 30.0), rows=1, columns=2,
            map_mm=((1.0, 2.0),),
        ),
        rail_marks=(mark,),
        bed_picture=BedPicture.of(picture, CALIBRATION.camera, CALIBRATION.table),
        warnings=("w",),
    )  # fmt: skip


def _lens() -> Lens:
    exact = Lens.exact(CALIBRATION.camera)
    stills = (BoardStill(name="b.jpg", used=True, corners=54, edge_px=2.0, rms_px=0.1),)
    return replace(exact, board=BoardPattern(), stills=stills, coverage_by_region=(0.5, 1.0))


def _set() -> dict[str, Any]:
    looks = tuple(Look(id=name, chance=0.9, embedding=(1.0, -2.5)) for name in ("cue", "3"))
    return Taught(network=crops_fingerprint(), looks=looks).to_dict()


def _truth() -> dict[str, Any]:
    entry = {
        "camera": CALIBRATION.camera.to_dict(),
        "table": CALIBRATION.table.to_dict(),
        "head": "left",
        "balls": [{"id": "cue", "x_mm": 100.0, "y_mm": 200.0, "visible": 0.9}],
        "scene": {"cloth": "green"},
    }
    return {"format": "restmark-truth", "version": 1, "stills": {"a.jpg": entry}}


def _read_truth(path: Path) -> Any:
    path.rename(path.with_name(TRUTH_FILE))
    return read_truth(path.parent)


@dataclass(frozen=True)
class Kind:
    """A format: a sound document, and how a file of it becomes a value and an object again."""

    document: Any
    read: Callable[[Path], Any]
    back: Callable[[Any], Any] = lambda value: value.to_dict()
    again: Callable[[Any], Any] | None = None


def _of(make: Callable[[Any], Any]) -> Callable[[Path], Any]:
    return lambda path: make(json.loads(path.read_text(encoding="utf-8")))


KINDS: dict[str, Kind] = {
    "table": Kind(_calibration().to_dict(), Calibration.read, again=Calibration.from_dict),
    "lens": Kind(_lens().to_dict(), Lens.read, again=Lens.from_dict),
    "set": Kind(_set(), Taught.read, again=Taught.from_dict),
    "layout": Kind(LAYOUT.to_dict(), Layout.read, again=Layout.from_dict),
    "intent": Kind(INTENT, Intent.read, again=Intent.from_dict),
    "plan": Kind(
        {"shots": [INTENT, None], "notes": [NOTE, None], "in_a_row": 3},
        Plan.read,
        again=Plan.from_dict,
    ),
    "player": Kind(
        {"format": "restmark-player", "version": 1, **Player().to_dict()},
        read_player,
        again=Player.from_dict,
    ),
    "points": Kind(
        points_to_dict(
            [
                GivenPoint(name="left-3", seen_px=(100.0, 200.0)),
                GivenPoint(place_mm=(100.0, 200.0, 0.0), seen_px=(300.0, 300.0)),
            ]
        ),
        read_points,
        back=points_to_dict,
    ),
    "truth": Kind(_truth(), _read_truth, back=lambda value: None),
    "note": Kind(NOTE, _of(Note.from_dict), again=Note.from_dict),
    "correction": Kind(
        {"id": "3", "x_mm": 1.0, "y_mm": 2.0},
        _of(Correction.from_dict),
        again=Correction.from_dict,
    ),
    "verdict": Kind(VERDICT.to_dict(), _of(Verdict.from_dict), again=Verdict.from_dict),
}
IN_REQUESTS = ("note", "correction", "verdict")
"""Kinds that stand in requests and in the store alone."""
STRANGE: tuple[Any, ...] = (
    None, True, False, 0, -1, 7, 1e308, -1e308, 1e-320, 10**30, 10**400, "", "12", "x", "\u0000",
    "cue", [], [1], [1, 2, 3], [[1, 2], [3, 4]], {}, {"a": 1}, "\U0001f3b1" * 50, [None],
    [True, True],
)  # fmt: skip


def _places(node: Any, way: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    keys = list(node) if isinstance(node, dict) else range(len(node)) if _listed(node) else ()
    inner = [place for key in keys for place in _places(node[key], (*way, key))]
    return [*([way] if way else []), *inner]


def _listed(node: Any) -> bool:
    return isinstance(node, list)


def _spoilt(document: Any, chance: random.Random) -> Any:
    out = copy.deepcopy(document)
    for _ in range(chance.randint(1, 2)):
        places = _places(out)
        if not places:  # nothing is left to spoil
            break
        *way, last = chance.choice(places)
        node = out
        for key in way:
            node = node[key]
        act = chance.randrange(5)
        old = node[last] if last in node or _listed(node) else None
        if act == 0:
            del node[last]
        elif act == 1 and type(old) in (int, float) and abs(old) < 1e9:
            node[last] = chance.choice((-old, old * 1000, old + 0.5, str(old), -1e9))
        elif act == 2 and _listed(node):
            node.append(copy.deepcopy(chance.choice(STRANGE)))
        elif act == 3 and isinstance(node, dict):
            node[f"{last}x"] = node.pop(last)
        else:
            node[last] = copy.deepcopy(chance.choice(STRANGE))
    return out


@pytest.mark.parametrize("name", KINDS)
def test_a_spoilt_file_is_refused_or_goes_back_as_it_came(name: str, tmp_path: Path) -> None:
    kind = KINDS[name]
    chance = random.Random(f"seed of {name}")
    path = tmp_path / "file.json"
    path.write_text(json.dumps(kind.document), encoding="utf-8")
    assert kind.read(path) is not None  # the file is sound before it is spoilt
    refused = 0
    for _ in range(MUTATIONS):
        document = _spoilt(kind.document, chance)
        path.write_text(json.dumps(document), encoding="utf-8")
        try:
            value = kind.read(path)
        except RestmarkError:
            refused += 1
            continue
        written = json.dumps(kind.back(value), allow_nan=False)
        if kind.again is not None:
            assert kind.again(json.loads(written)) == value, document
    assert refused > MUTATIONS // 4


@pytest.mark.parametrize("name", [name for name in KINDS if name not in IN_REQUESTS])
@pytest.mark.parametrize(
    "content",
    [
        b"[" * 100_000,
        b'{"a":' * 5_000 + b"1" + b"}" * 5_000,
        b'{"format": ' + b"1" * 5_000 + b"}",
        b'{"version": 1e999}',
        b'{"still": "\\ud800"}',
        b"\xef\xbb\xbf{}",
        b"\xff\xfe{}",
        b"",
        b"null",
        b"NaN",
    ],
    ids=lambda content: repr(content[:12]),
)
def test_hostile_files_are_refused(name: str, content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "file.json"
    path.write_bytes(content)
    with pytest.raises(RestmarkError):
        KINDS[name].read(path)


def test_nonsense_that_was_accepted_once_is_refused() -> None:
    sound = KINDS["table"].document
    other = {**CALIBRATION.table.to_dict(), "length_mm": 2235.2, "width_mm": 1117.6}
    nonsense = [
        {"table": {}},
        {"table": other},
        {"parameter_names": ["k1"], "parameter_cov": [[-1.0]]},
        {"camera": {**sound["camera"], "fx_px": True}},
        {"budget": {**sound["budget"], "median_mm": -1.0}},
        {"rail_marks": [{**sound["rail_marks"][0], "across": [0.0, 2.0]}]},
    ]
    for change in nonsense:
        with pytest.raises(RestmarkError):
            Calibration.from_dict({**sound, **change})


@pytest.mark.parametrize("suffix", ["table", "layout", "intent", "player", "set"])
@pytest.mark.parametrize("content", [b"[" * 100_000, b'{"format": ' + b"1" * 5_000 + b"}"])
def test_commands_answer_hostile_files_in_words(
    suffix: str, content: bytes, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    paths = {
        name: tmp_path / f"{name}.json" for name in ("table", "layout", "intent", "player", "set")
    }
    for name, path in paths.items():
        path.write_text(json.dumps(KINDS[name].document), encoding="utf-8")
    paths[suffix].write_bytes(content)
    picture = Path("sample_frames/practice/shots/shot-01-after.jpg")
    read = ["read", str(picture), "--calibration", str(paths["table"])]
    arguments = {"table": read, "set": [*read, "--set", str(paths["set"])]}.get(
        suffix,
        ["score", str(paths["layout"]), str(paths["layout"]), "--intent", str(paths["intent"]),
         "--player", str(paths["player"])],
    )  # fmt: skip
    assert main(arguments) != 0
    said = capsys.readouterr().err
    assert "cannot be read as JSON" in said
    assert "Traceback" not in said


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Any:
    with running(tmp_path_factory.mktemp("hostile")) as address, Client(address) as client:
        client.calibrate()
        client.give(still())
        yield client


@pytest.mark.parametrize("name", ["table", "intent"])
def test_the_service_never_fails_on_a_spoilt_document(client: Any, name: str) -> None:
    chance = random.Random(f"request of {name}")
    address = {"table": "/calibration", "intent": "/intent"}[name]
    for _ in range(100):
        document = _spoilt(KINDS[name].document, chance)
        answer = client.put(address, json=document)
        assert answer.status_code < 500, document


@pytest.mark.parametrize("address", ["/calibration", "/intent"])
@pytest.mark.parametrize(
    "content",
    [b"[" * 100_000, b'{"head": ' + b"1" * 5_000 + b"}", b'{"a": NaN}', b'{"pot": "\\ud800"}'],
    ids=lambda content: repr(content[:12]),
)
def test_hostile_requests_are_refused(client: Any, address: str, content: bytes) -> None:
    answer = client.put(address, content=content, headers={"Content-Type": "application/json"})
    assert 400 <= answer.status_code < 500
