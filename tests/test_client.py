"""The client: values, refusals by code, repeats that count once, pages, a service that is away."""

import threading
import time
from datetime import UTC, datetime

import httpx2
import pytest
from api_kit import CALIBRATION, FAR, INTENT, after, running, still

from calibration.errors import RestmarkError
from service.client import Client, ServiceError, asking
from service.client.asking import Asking
from service.position import Intent

GONE = "http://127.0.0.1:9"


@pytest.fixture
def caller(served):
    with Client(served) as caller:
        caller.set_calibration(CALIBRATION.to_dict())
        yield caller


@pytest.fixture
def hurried(monkeypatch):
    """Pauses between repeats of next to nothing."""
    monkeypatch.setattr(asking, "FIRST_PAUSE_S", 0.001)


class Answers:
    """A transport that answers as told, in order, and keeps what was asked."""

    def __init__(self, *answers):
        self.answers = list(answers)
        self.asked = []

    def __call__(self, request):
        self.asked.append(request)
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        status, body = answer
        return httpx2.Response(status, json=body)


def told(monkeypatch, *answers):
    """A client whose service answers so."""
    answering = Answers(*answers)
    made = httpx2.Client

    def client(**settings):
        return made(**settings, transport=httpx2.MockTransport(answering))

    monkeypatch.setattr(httpx2, "Client", client)
    return Asking("http://table"), answering


BUSY = (503, {"code": "store-failed", "detail": "The disk is full."})


# -- values --------------------------------------------------------------------------------


def test_a_round_gives_values(caller):
    assert caller.health()["calibrated"]
    assert caller.latest_reading() is None
    assert caller.intent() is None
    before = caller.send_still(still(), name="before.jpg")
    assert before.attempt is None
    assert not before.is_replay
    assert {ball.id for ball in before.reading.layout.balls} == {"cue", "3", "4", "9"}
    assert caller.set_intent(Intent.from_dict(INTENT).to_dict())["zone"]["wanted_mm"]
    assert caller.intent()["intent"]["pot"] == "3"
    attempt = caller.send_still(still(after()), name="after.jpg").attempt
    assert (attempt.verdict, attempt.cue_stop_mm) == ("out", FAR)
    assert attempt.miss_mm > 0
    assert caller.attempt(attempt.id) == attempt
    assert caller.note(attempt.id, {"spin": "draw"}).document["kind"]["spin"] == "draw"
    assert caller.latest_reading().id == attempt.after_reading_id
    assert caller.reading(attempt.before_reading_id).layout.still == "before.jpg"
    assert attempt.made_at.tzinfo is not None


def test_what_was_kept_is_changed_by_hand_and_back(caller):
    caller.send_still(still(), name="before.jpg")
    caller.set_intent(INTENT)
    number = caller.send_still(still(after(), shade=140), name="after.jpg").attempt.id
    assert caller.strike(number).document["struck_at"] is not None
    assert caller.statistics()["statistics"]["attempts"] == 0
    assert caller.undo()["kind"] == "strike"
    assert caller.statistics()["statistics"]["attempts"] == 1
    caller.strike(number)
    assert caller.restore(number).document["struck_at"] is None
    opened = caller.reopen(number)
    assert (opened["attempt"]["id"], opened["intent"]["state"]) == (number, "pending")
    with pytest.raises(ServiceError) as refused:
        caller.strike(99)
    assert refused.value.code == "not-found"


def test_figures_are_asked_for_by_player_and_time(caller):
    caller.send_still(still())
    caller.set_intent(INTENT)
    caller.send_still(still(after()))
    assert caller.statistics(player=1)["statistics"]
    early = datetime(2020, 1, 1, tzinfo=UTC)
    assert caller.statistics(until=early)["words"] != caller.statistics(since=early)["words"]
    assert caller.progress()["words"]


def test_lists_go_on_over_their_parts(caller, monkeypatch):
    for shade in range(7):
        caller.send_still(still(shade=30 * shade + 5), name=f"{shade}.jpg")
    params = {"limit": 3}
    found = list(caller._asking.pages("/stills", "stills", params))
    assert [each["id"] for each in found] == [7, 6, 5, 4, 3, 2, 1]
    assert [each.id for each in caller.readings()] == [7, 6, 5, 4, 3, 2, 1]


def test_layouts_are_recorded_found_and_set_up(caller, tmp_path):
    caller.send_still(still())
    kept = caller.record_layout("Long side", tags=("long",), note="slowly")
    assert [each["id"] for each in caller.layouts(tag="long")] == [kept["id"]]
    assert list(caller.layouts(words="nothing like it")) == []
    assert caller.layout(kept["id"])["title"] == "Long side"
    assert caller.guide() is None
    caller.start_guide({"layout_id": kept["id"]})
    assert caller.guide()["layout_id"] == kept["id"]
    assert caller.look(still())["state"]["done"]
    caller.end_guide()
    assert caller.guide() is None
    caller.save_layout(kept["id"], tmp_path / "long.svg")
    assert (tmp_path / "long.svg").read_text(encoding="utf-8").startswith("<svg")


# -- refusals ------------------------------------------------------------------------------


def test_a_refusal_has_the_services_code_and_fields(caller, tmp_path):
    with pytest.raises(ServiceError, match="neither JPEG nor PNG") as refused:
        caller.send_still(b"no picture", name="torn.jpg")
    assert isinstance(refused.value, RestmarkError)
    assert (refused.value.code, refused.value.status) == ("bad-still", 422)
    (tmp_path / "bad.zip").write_bytes(b"x")
    with pytest.raises(ServiceError, match="no whole zip") as refused:
        caller.take_archive(tmp_path / "bad.zip")
    assert refused.value.fields == {"where": "archive"}


@pytest.mark.parametrize("address", ["ftp://table", "http://", "file:///etc/passwd", ""])
def test_an_address_that_is_none_is_refused(address):
    with pytest.raises(ServiceError, match="allowed: one like http") as refused:
        Client(address)
    assert refused.value.code == "bad-address"


def test_nobody_there_is_said(hurried):
    with (
        Client(GONE, tries=2) as caller,
        pytest.raises(ServiceError, match="no answer") as refused,
    ):
        caller.health()
    assert (refused.value.code, refused.value.status) == ("service-unreachable", None)


def test_another_server_is_told_from_a_restmark(monkeypatch):
    ask, _ = told(monkeypatch, (404, {"error": "gone"}), (200, ["a list"]))
    for _ in range(2):
        with pytest.raises(ServiceError, match="whether something else answers") as refused:
            ask.json("GET", "/health")
        assert refused.value.code == "bad-answer"


# -- repeats -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "first", [BUSY, httpx2.ReadTimeout("late"), httpx2.ConnectError("refused")]
)
def test_what_may_be_asked_again_is(monkeypatch, hurried, first):
    ask, answering = told(monkeypatch, first, first, (200, {"status": "ok"}))
    assert ask.json("GET", "/health") == {"status": "ok"}
    assert len(answering.asked) == 3


def test_what_may_have_been_done_is_not_asked_again(monkeypatch, hurried):
    ask, answering = told(monkeypatch, httpx2.ReadTimeout("late"))
    with pytest.raises(ServiceError, match="no answer"):
        ask.json("POST", "/layouts", json={})
    assert len(answering.asked) == 1


def test_a_request_that_never_left_is_asked_again(monkeypatch, hurried):
    ask, answering = told(monkeypatch, httpx2.ConnectError("refused"), (200, {"id": 1}))
    assert ask.json("POST", "/layouts", json={}) == {"id": 1}
    assert len(answering.asked) == 2


def test_repeats_end(monkeypatch, hurried):
    ask, answering = told(monkeypatch, *[BUSY] * 9)
    with pytest.raises(ServiceError, match="The disk is full") as refused:
        ask.json("GET", "/health")
    assert refused.value.code == "store-failed"
    assert len(answering.asked) == asking.TRIES


def test_a_refusal_is_not_asked_again(monkeypatch):
    ask, answering = told(monkeypatch, (422, {"code": "bad-intent", "detail": "No."}))
    with pytest.raises(ServiceError, match="No"):
        ask.json("PUT", "/intent", json={})
    assert len(answering.asked) == 1


@pytest.mark.parametrize("key", ["shot-1", "second camera/täglich 1.jpg", "x" * 500])
def test_a_still_under_one_key_counts_once(caller, key):
    first = caller.send_still(still(), name="a.jpg", key=key)
    again = caller.send_still(still(), name="a.jpg", key=key)
    assert again.is_replay
    assert again.reading == first.reading
    with pytest.raises(ServiceError, match="Use a new key") as refused:
        caller.send_still(still(shade=9), name="a.jpg", key=key)
    assert refused.value.code == "idempotency-key-reused"


def test_a_still_is_sent_while_the_service_starts(data):
    with running(data) as address, Client(address) as caller:
        port = httpx2.URL(address).port
        caller.set_calibration(CALIBRATION.to_dict())
    got = []

    def send():
        with Client(f"http://127.0.0.1:{port}") as caller:
            got.append(caller.send_still(still(), name="early.jpg"))

    sender = threading.Thread(target=send)
    sender.start()
    time.sleep(0.3)
    with running(data, port=port):
        sender.join(20)
    assert got[0].reading.id == 1
