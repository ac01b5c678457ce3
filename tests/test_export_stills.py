"""Clear stills of a store as a folder in the truth format: what is in it, what is left out."""

import json
from contextlib import closing
from datetime import UTC, datetime, timedelta

import cv2
import numpy as np
import pytest
from api_kit import CALIBRATION, layout, taken
from odd_set import CALIBRATION as OVERHEAD
from odd_set import layout_of, scattered, still_of
from store_kit import URLS, open_store

from calibration.notices import Notice
from service.bench.stills.figures import figures_of, truth_of
from service.bench.stills.readings import bench_stills, read_stills
from service.bench.stills.tables import truth_words
from service.cli import main
from service.desk.session import SessionStill, load_session
from service.moving import Wanted, export_stills
from service.moving.truths import TruthFolderError
from vision.training.nets.cut_sets import cut_still, truth_entries
from vision.truth.file import read_truth

BOTH_DATABASES = True
DOUBT = {"9": {"doubtful": True, "confidence": 0.6}}


def exported(at_table, folder, **wanted):
    at_table.desk.close()
    with closing(open_store(at_table.desk.store.data_dir)) as store:
        return export_stills(store, folder, Wanted(**wanted))


def say(at_table, reading, **names):
    """Say names of balls that lie where the balls of ``PLACES`` do."""
    said = [
        {"id": name, "x_mm": at_table.places[ball][0], "y_mm": at_table.places[ball][1]}
        for ball, name in ((key.removeprefix("b"), value) for key, value in names.items())
    ]
    at_table.desk.correct_names(reading, {"names": said})


def test_names_say_who_gave_them_and_places_that_they_were_read(at_table, tmp_path):
    reading = at_table.still()["reading"]["id"]
    say(at_table, reading, b3="3", b4="12")
    done = exported(at_table, tmp_path / "out")
    (name, still), *none = read_truth(tmp_path / "out").items()
    assert not none
    assert still.places == "read"
    assert {ball.id: ball.named for ball in still.balls} == {
        "cue": "read", "3": "confirmed", "12": "corrected", "9": "read",
    }  # fmt: skip
    assert done.to_dict()["names"] == {"corrected": 1, "confirmed": 1, "read": 2}
    assert still.camera == CALIBRATION.camera
    assert (tmp_path / "out" / name).is_file()
    told = json.loads((tmp_path / "out" / "truth.json").read_text(encoding="utf-8"))
    assert "not a measurement" in told["made_by"]["how"]
    assert told["stills"][name]["balls"][0]["cov_mm2"] == [[0.09, 0.0], [0.0, 0.09]]


def test_only_clear_stills_of_sure_names_go_out(at_table, tmp_path):
    at_table.still()
    at_table.still(balls=DOUBT)
    at_table.still(obstructed=True)
    at_table.still(settled=False)
    over = Notice(code="hidden", text="Something lies over the bed.")
    for places, more in (({}, {}), (None, {"notices": (over,)})):
        at_table.desk.take(_upload(taken(layout(places, **more))))
    done = exported(at_table, tmp_path / "out")
    assert done.stills == 1
    assert done.left_out == {
        "a name is in doubt": 1, "something lay over the bed": 2, "balls were not at rest": 1,
        "no ball on the table": 1,
    }  # fmt: skip


def _upload(data):
    from service.desk.arriving import Upload

    return Upload(data=data, name="still.jpg", table_id=1)


def test_time_and_corrections_choose_and_a_still_counts_once(at_table, tmp_path):
    first = at_table.still()
    at_table.still()
    at_table.desk.reread(first["reading"]["still"]["id"])
    say(at_table, first["reading"]["id"], b4="12")
    assert exported(at_table, tmp_path / "all").stills == 2
    assert exported(at_table, tmp_path / "said", only_corrected=True).named["corrected"] == 1
    now = datetime.now(UTC)
    assert exported(at_table, tmp_path / "now", until=now + timedelta(days=1)).stills == 2
    for wanted in ({"since": now + timedelta(days=1)}, {"until": now - timedelta(days=1)},
                   {"table_id": 7}):  # fmt: skip
        with pytest.raises(TruthFolderError, match=r"no still to export; allowed: clear stills"):
            exported(at_table, tmp_path / "none", **wanted)
    assert not (tmp_path / "none").exists()


def test_a_still_whose_file_is_gone_is_left_out_and_a_folder_in_use_refused(at_table, tmp_path):
    gone = at_table.still()["reading"]["still"]["sha256"]
    at_table.still()
    at_table.desk.store.files.path(gone).unlink()
    done = exported(at_table, tmp_path / "out")
    assert (done.stills, done.left_out) == (1, {"its file is gone or damaged": 1})
    with pytest.raises(TruthFolderError, match=r"out: holds something already; allowed: a new"):
        exported(at_table, tmp_path / "out")


@pytest.fixture
def kept(tmp_path):
    """A store with one true picture, stored turned on its head as some cameras do."""
    balls = scattered(21, odd=False)
    upright = cv2.imdecode(np.frombuffer(still_of(balls), np.uint8), cv2.IMREAD_COLOR)
    data = tmp_path / "data"
    ok, turned = cv2.imencode(".jpg", upright[::-1, ::-1])
    assert ok
    stills = [
        SessionStill(name="a.jpg", data=still_of(balls), layout=layout_of(balls)),
        SessionStill(name="b.jpg", data=_noted(turned.tobytes(), 3), layout=layout_of(balls)),
    ]
    load_session(data, OVERHEAD, stills=stills, attempts=[], store_url=URLS.get(data),
                 played_at=datetime(2026, 11, 20, 19, 0, tzinfo=UTC))  # fmt: skip
    return data


def _noted(jpeg, orientation):
    """The JPEG with a note that its picture is to be turned."""
    import struct

    tiff = b"II*\0" + struct.pack("<IHHHIHHI", 8, 1, 0x112, 3, 1, orientation, 0, 0)
    body = b"Exif\0\0" + tiff
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + jpeg[2:]


def test_the_folder_is_one_that_bench_reads_and_training_cuts(kept, tmp_path, capsys):
    words = ["export-stills", "--data", str(kept), "--out", str(tmp_path / "out")]
    if kept in URLS:
        words += ["--store", URLS[kept]]
    assert main([*words, "--since", "2026-11-20", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["stills"] == 2
    stills = bench_stills(tmp_path / "out")
    assert [still.path.suffix for still in stills] == [".jpg", ".png"]
    figures = figures_of(read_stills(stills[1:], workers=1))
    assert (figures["missed"], figures["invented"], figures["wrong_names"]) == (0, 0, 0)
    said = truth_words(truth_of(stills))
    assert said[0].startswith("2 of 2 stills hold places that were read, not measured")
    assert said[1].startswith("0 of 32 names were said by a person, 32 were only read")
    name, entry = next(iter(truth_entries(tmp_path / "out").items()))
    cut = cut_still(tmp_path / "out" / name, entry, 0)
    assert (cut.kind < 16).sum() == 16
    assert not cut.place_trust.any()


def test_wrong_words_are_refused(kept, tmp_path, capsys):
    asked = ["export-stills", "--data", str(kept), "--out", str(tmp_path / "out")]
    assert main([*asked, "--since", "yesterday"]) == 1
    assert "--since: got 'yesterday'; allowed: a day" in capsys.readouterr().err
