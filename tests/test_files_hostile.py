"""Whatever stands in a file or a request: a value that goes back as it came, or a refusal.

A mutator with a fixed seed spoils real files of every format: values of other kinds, keys gone,
numbers without end, lists too long or too short, bytes flipped, nesting without end.
"""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
from api_kit import CALIBRATION, Client, running, still
from spoilt_documents import IN_REQUESTS, KINDS, spoilt

from calibration.errors import RestmarkError
from calibration.kept.calibration import Calibration
from service.cli import main

MUTATIONS = 300
"""Of each format; a run of 5,000 each was made when this was written."""


@pytest.mark.parametrize("name", KINDS)
def test_a_spoilt_file_is_refused_or_goes_back_as_it_came(name: str, tmp_path: Path) -> None:
    kind = KINDS[name]
    chance = random.Random(f"seed of {name}")
    path = tmp_path / "file.json"
    path.write_text(json.dumps(kind.document), encoding="utf-8")
    assert kind.read(path) is not None  # the file is sound before it is spoilt
    refused = 0
    for _ in range(MUTATIONS):
        document = spoilt(kind.document, chance)
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
        {"notices": [{"code": 1, "detail": "w"}]},
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
        document = spoilt(KINDS[name].document, chance)
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
    assert answer.status_code == 400
    assert "cannot be read as JSON" in answer.json()["detail"]
