"""Notices and errors: a code and fields for programs, a sentence for people, both kept in JSON."""

from __future__ import annotations

import json

import pytest

from calibration.errors import CalibrationError, FileFormatError
from calibration.notices import PLAIN, Notice, notices_from, sentences
from vision.layout import Layout

NOTICE = Notice(code="name-in-doubt", text="A sentence.", fields={"places_mm": [[1.0, 2.0]]})


def test_notices_survive_json_beside_their_sentences() -> None:
    layout = Layout(still="a", surface_mm=(2540.0, 1270.0), notices=(NOTICE,))
    data = json.loads(json.dumps(layout.to_dict()))
    assert data["warnings"] == ["A sentence."]
    assert data["notices"] == [
        {"code": "name-in-doubt", "detail": "A sentence.", "fields": {"places_mm": [[1.0, 2.0]]}}
    ]
    assert Layout.from_dict(data) == layout
    assert layout.notices[0].places_mm == ((1.0, 2.0),)


def test_sentences_of_older_files_become_plain_notices() -> None:
    old = notices_from({"warnings": ["one", "two"]}, path="layout")
    assert [(notice.code, notice.text) for notice in old] == [(PLAIN, "one"), (PLAIN, "two")]
    both = {"warnings": ["A sentence.", "more"], "notices": [NOTICE.to_dict()]}
    assert sentences(notices_from(both, path="layout")) == ("A sentence.", "more")
    assert notices_from({}, path="layout") == ()


@pytest.mark.parametrize(
    ("data", "text"),
    [
        ({"warnings": "one"}, r"layout\.warnings: got 'one'; allowed: a list"),
        ({"warnings": [1]}, r"layout\.warnings\[0\]: got 1; allowed: text"),
        ({"notices": {}}, r"layout\.notices: got \{\}; allowed: a list"),
        ({"notices": ["x"]}, r"layout\.notices\[0\]: got 'x'; allowed: an object with code"),
        ({"notices": [{"code": 1, "detail": ""}]}, r"notices\[0\]: got .* code and detail as text"),
        ({"notices": [{"code": "a", "detail": "", "fields": 3}]}, r"fields as an object"),
    ],
)
def test_wrong_notices_are_refused_by_field(data: dict[str, object], text: str) -> None:
    with pytest.raises(FileFormatError, match=text):
        notices_from(data, path="layout")


@pytest.mark.parametrize("given", [None, "ab", [[1.0]], [["x", "y"]], [1.0, 2.0], [{}, {}]])
def test_places_that_are_none_are_passed_over(given: object) -> None:
    assert Notice(code="a", text="", fields={"places_mm": given}).places_mm == ()


def test_errors_carry_their_fields() -> None:
    assert CalibrationError("plain").fields == {}
    refused = CalibrationError("said", fields={"about": "points"})
    assert (refused.code, refused.fields["about"]) == ("calibration-refused", "points")
