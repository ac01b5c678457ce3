"""Whatever stands in a document, the answer is a calibration, an intent or a problem."""

import copy

import pytest
from api_kit import CALIBRATION, INTENT, Client, assert_problem, running, still
from hypothesis import given, settings
from hypothesis import strategies as st

DRAWN = {
    "zone": {"polygon_mm": [[100, 100], [300, 100], [200, 300]]},
    "next": "4",
    "next_pocket": "side-left",
}
INTEGER_LIMIT = 2**53
"""Beyond it JSON readers disagree about what was sent."""
ANYTHING = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-INTEGER_LIMIT, INTEGER_LIMIT)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner),
    max_leaves=6,
)
GONE = object()


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    with running(tmp_path_factory.mktemp("fuzz")) as address, Client(address) as client:
        client.calibrate()
        client.give(still())
        yield client


@st.composite
def spoilt(draw, documents):
    """One of ``documents`` with one to three of its values replaced by anything or gone."""
    document = copy.deepcopy(draw(st.sampled_from(documents)))
    for _ in range(draw(st.integers(1, 3))):
        node = document
        while True:
            key = draw(
                st.sampled_from(sorted(node) if isinstance(node, dict) else range(len(node)))
            )
            inner = node[key]
            if isinstance(inner, dict | list) and inner and draw(st.booleans()):
                node = inner
                continue
            break
        value = draw(ANYTHING | st.just(GONE))
        if value is not GONE:
            node[key] = value
        elif isinstance(node, dict) and len(node) > 1:
            del node[key]
    return document


@settings(max_examples=150, deadline=None, derandomize=True)
@given(document=spoilt([INTENT, DRAWN]))
def test_no_intent_makes_the_service_fail(client, document):
    answer = client.put("/intent", json=document)
    if answer.status_code != 200:
        assert_problem(answer, 422, "bad-intent")
    elif client.get("/intent").json() != answer.json():
        pytest.fail("the intent did not come back as it was set")


@settings(max_examples=150, deadline=None, derandomize=True)
@given(document=spoilt([CALIBRATION.to_dict()]))
def test_no_calibration_makes_the_service_fail(client, document):
    answer = client.put("/calibration", json=document)
    if answer.status_code == 200:
        assert client.get("/calibration").json() == answer.json()
        client.calibrate()
        client.give(still())
    else:
        assert answer.json()["code"] in ("bad-file", "bad-table", "calibration-refused")
        assert_problem(answer, 422, answer.json()["code"])
