"""The published document says what the service does: examples that fit, and no other answers."""

import time
from contextlib import suppress

import jsonschema_rs
import pytest
import schemathesis
from api_kit import INTENT, Client, after, layout, running, still
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import checks
from schemathesis.specs.openapi.checks import (
    allow_header_conformance,
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from service.api.kinds import KINDS
from service.api.problems import MEDIA_TYPE
from service.api.published.document import operations

WHOLE_S = 25.0
"""So long may all requests take together; what is left over then is asked once each."""
EXAMPLES = 8
"""Requests made up for one operation, half of them as they should not be."""
CHECKS = [
    checks.not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    allow_header_conformance,
]
APART = {
    "/api/v1/events": "answers as long as somebody listens",
    "/api/v1/setup/stills/host": "opens a camera of this machine, or whatever address is given",
    "/api/v1/setup/picture": "the same",
    "/api/v1/watch": "the same",
}
"""Left to their own tests."""


def fill(client):
    """One of everything that can be asked for by its number, 1."""
    assert client.calibrate().is_success
    assert client.round(after((1300.0, 600.0))).is_success
    assert client.give(still(layout(), shade=60), "next.jpg").is_success
    names = {"names": [{"id": "4", "x_mm": 900, "y_mm": 300}]}
    for method, path, body in (
        ("PUT", "/intent", INTENT),
        ("POST", "/readings/1/names", names),
        ("POST", "/layouts", {"title": "Long side", "tags": ["long"]}),
        ("POST", "/plans", {"title": "Ten", "plan": {"shots": [INTENT]}}),
        ("PUT", "/guide", {"layout_id": 1}),
        ("POST", "/tables", {"name": "Back room"}),
        ("POST", "/players", {"name": "Second"}),
    ):
        answer = client.request(method, path, json=body)
        assert answer.is_success, (path, answer.text)


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with running(tmp_path_factory.mktemp("published") / "data") as address:
        with Client(address) as client:
            fill(client)
        yield address


@pytest.fixture(scope="module")
def document(address):
    with Client(address) as client:
        return client.get("/openapi.json").json()


def contents(document):
    """Every body that is published: where it stands, its media type, schema and example."""
    for path, method, operation in operations(document):
        bodies = {"request": operation.get("requestBody", {})} | operation["responses"]
        for name, body in bodies.items():
            for media_type, content in body.get("content", {}).items():
                yield f"{method.upper()} {path} {name}", media_type, content


def test_every_body_has_an_example_that_fits_its_schema(document):
    wrong, seen = [], 0
    for where, media_type, content in contents(document):
        if media_type not in ("application/json", MEDIA_TYPE):
            continue
        seen += 1
        schema = {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "components": document["components"],
            "allOf": [content["schema"]],
        }
        if "example" not in content:
            wrong.append(f"{where}: none")
        elif errors := list(jsonschema_rs.iter_errors(schema, content["example"])):
            wrong.append(f"{where}: {errors[0].message}")
    assert not wrong
    assert seen > 100


def test_every_body_of_text_has_an_example(document):
    missing = [
        where
        for where, media_type, content in contents(document)
        if media_type.startswith(("text/", "image/svg")) and "example" not in content
    ]
    assert not missing


def test_every_refusal_names_its_codes(document):
    told = set()
    for _, _, operation in operations(document):
        for status, answer in operation["responses"].items():
            assert "X" not in status
            assert status != "default"
            if status >= "400":
                (schema,) = (content["schema"] for content in answer["content"].values())
                assert schema == {"$ref": "#/components/schemas/Problem"}
                told |= set(answer["description"].partition("codes: ")[2].rstrip(".").split(", "))
    assert told == set(KINDS) - {"method-not-allowed"}, "that one is of no operation"


def test_every_list_is_asked_for_in_parts(document):
    for path, method, operation in operations(document):
        answer = operation["responses"].get("200", {}).get("content", {}).get("application/json")
        if method != "get" or answer is None or "$ref" not in answer.get("schema", {}):
            continue
        model = document["components"]["schemas"][answer["schema"]["$ref"].rsplit("/", 1)[1]]
        if "next_before" in model.get("properties", {}):
            names = {each["name"] for each in operation["parameters"]}
            assert {"limit", "before"} <= names, path


def test_no_request_makes_the_service_fail_or_answer_otherwise_than_published(address):
    began = time.monotonic()
    schema = schemathesis.openapi.from_url(f"{address}api/v1/openapi.json")
    found = [each.ok() for each in schema.get_all_operations()]
    asked = 0
    for operation in found:
        if operation.path in APART:
            continue
        left = WHOLE_S - (time.monotonic() - began)
        for mode in schemathesis.GenerationMode:
            asked += ask(operation, mode, EXAMPLES // 2 if left > 0 else 1)
    assert asked > len(found)


def ask(operation, mode, examples):
    """Make requests up and hold each answer to the document; returns how many."""
    count = 0

    @settings(
        max_examples=examples,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def once(case):
        nonlocal count
        count += 1
        case.call_and_validate(checks=CHECKS, timeout=20)

    # what has no parameter and no body cannot be asked wrongly
    with suppress(Unsatisfiable):
        once()
    return count
