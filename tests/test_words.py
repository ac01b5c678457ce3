"""The wording of a verdict: each distance says from where and by which line it is told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from service.position import Intent, Verdict
from service.words.facts import facts
from service.words.lengths import Lengths, Units
from service.words.rows import attempt_row
from service.words.verdicts import headline, subline

INTENT = Intent.from_dict(
    {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right",
     "cut_deg": [10, 40], "side": "right"}
)  # fmt: skip
SPLIT = Verdict(
    verdict="out", p_in=0.0, miss_mm=50.0, miss_vector_mm=(30.0, -40.0), along_mm=-30.0,
    across_mm=40.0, arrival="planned", cue_stop_mm=(1230.0, 460.0), wanted_mm=(1000.0, 500.0),
    arrival_from="route", offset_along_mm=-130.0, offset_across_mm=-75.0, cut_deg=44.0,
    side="left", hooked="no", path_to_pocket="open", frozen=False, reach="hand",
    potted=("3",), pot_chance=0.62, pot_chance_given_up=0.12, intent=INTENT,
)  # fmt: skip
UNSPLIT = replace(
    SPLIT, along_mm=None, across_mm=None, offset_along_mm=None, offset_across_mm=None,
    arrival=None, arrival_from=None,
)  # fmt: skip


def said(verdict: Verdict, lengths: Lengths | None = None) -> dict[str, tuple[str, str]]:
    found = facts(verdict) if lengths is None else facts(verdict, lengths=lengths)
    labels = [fact.label for fact in found]
    assert len(set(labels)) == len(labels), "a fact is said once"
    return {fact.label: (fact.value, fact.aside) for fact in found}


def test_edge_and_wanted_spot_stand_on_one_card_each_with_its_own_sides() -> None:
    card = said(SPLIT)
    assert card["Outside the zone by"][0] == "50 mm: 30 mm short, 40 mm left"
    value, aside = card["From the wanted spot"]
    assert value.endswith("130 mm short, 75 mm right")
    assert "planned arrival line" in aside
    row = attempt_row(SPLIT)
    assert row.outside == "50: 30 short, 40 left"
    assert row.from_wanted.endswith("130 short, 75 right")


@pytest.mark.parametrize(
    ("source", "word"), [("video", "as seen"), ("route", "planned"), ("cut", "by the cut")]
)
def test_the_arrival_line_says_what_it_is_known_from(source: str, word: str) -> None:
    range_deg = (20.0, 44.0) if source == "cut" else None
    card = said(replace(SPLIT, arrival_from=source, arrival_range_deg=range_deg))
    for label in ("Outside the zone by", "From the wanted spot"):
        assert word in card[label][1]
        assert ("±12°" in card[label][1]) == (source == "cut")


def test_without_an_arrival_line_the_table_itself_tells_the_sides() -> None:
    card = said(UNSPLIT)
    assert card["Outside the zone by"][0] == "50 mm"
    assert "30 mm toward the foot, 40 mm toward side right" in card["Outside the zone by"][1]
    assert "230 mm toward the foot, 40 mm toward side right" in card["From the wanted spot"][1]
    words = " ".join(" ".join(each) for each in card.values())
    assert not {"long", "short"} & set(words.split()), "no side of an unknown line"
    assert attempt_row(UNSPLIT).outside == "50"


def test_both_lines_are_called_by_their_names() -> None:
    card = said(SPLIT)
    assert card["Side"] == ("left of the potting line", "wrong side, right wanted")
    assert card["Remaining cut"][1] == "wanted 10–40°: too much angle by 4°"


def test_in_the_zone_only_the_wanted_spot_is_measured_from() -> None:
    stop = replace(SPLIT, verdict="in", miss_mm=0.0, along_mm=0.0, across_mm=0.0)
    card = said(stop)
    assert "Outside the zone by" not in card
    assert card["From the wanted spot"][0].endswith("130 mm short, 75 mm right")
    assert (headline(stop), attempt_row(stop).outside) == ("In the zone", "0")


def test_what_is_assumed_is_said_where_it_counts() -> None:
    assert "assumed" not in said(SPLIT)["Chance from there"][1]
    assumed = replace(SPLIT, assumed=("aim_spread_deg", "throw_spread_deg"))
    assert said(assumed)["Chance from there"][1].endswith("measured on you: aim")


def test_a_scratch_judges_no_position() -> None:
    scratch = Verdict(verdict="out", scratch=True, potted=("3", "8"), intent=INTENT)
    card = said(scratch)
    assert set(card) == {"Pot"}
    assert card["Pot"][1] == "3 → foot left; ball 8 down too"
    assert headline(scratch) == "Scratch"


def test_the_whole_card_is_in_the_unit_asked_for() -> None:
    for verdict in (SPLIT, UNSPLIT):
        inches = Lengths(units=Units.INCHES)
        card = said(verdict, inches)
        texts = [*(" ".join(each) for each in card.values()), headline(verdict, inches)]
        texts.append(subline(verdict, inches))
        assert not any(" mm" in text for text in texts)
        assert headline(verdict, inches) == "Out by 1.97 in"
