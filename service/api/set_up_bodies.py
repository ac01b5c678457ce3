"""Bodies of the set-up: what was worked out, and in words what it is worth."""

from __future__ import annotations

from typing import Any

from service.setup.lens.files import KeptLens
from service.setup.lens.guided_board import GuidedBoard
from service.setup.proposal import Proposal
from service.setup.reaching import Reach
from service.setup.stills import SetupStill
from service.setup.work import Task
from service.words.lengths import Lengths, Units
from service.words.set_up.board import board_next, board_refused, lens_words
from service.words.set_up.proposal import (
    blind_words,
    calibration_facts,
    good_enough,
    what_stands_against,
)
from service.words.set_up.reach import reach_lines
from service.words.set_up.refusals import refused

PREFIX = "/api/v1/setup"


def still_body(number: str, still: SetupStill) -> dict[str, Any]:
    """A still with the address of its picture."""
    return {"id": number, **still.to_dict(), "picture": f"{PREFIX}/stills/{number}/picture"}


def task_body(task: Task[Any], units: Units) -> dict[str, Any]:
    """A piece of work; its refusal and its result with their words."""
    body = task.to_dict()
    refusal = body["refusal"]
    if refusal is not None:
        headline, to_do = refused(refusal["code"], refusal["fields"].get("about"))
        refusal |= {"headline": headline, "to_do": to_do}
    if body["state"] == "done":
        body["result"] |= _words_of(task.result, task.number, units)
    return body


def board_body(number: str, board: GuidedBoard) -> dict[str, Any]:
    """A lens board that is being shown, and what to show next."""
    return {"id": number, **_with_board_words(board.to_dict())}


def lens_body(kept: KeptLens) -> dict[str, Any]:
    """A kept lens in figures and words."""
    return kept.to_dict() | {"words": lens_words(kept.lens.held_out_rms_px, kept.lens.coverage)}


def _words_of(result: object, number: str, units: Units) -> dict[str, Any]:
    if isinstance(result, Proposal):
        return _proposal_words(result, number, units)
    if isinstance(result, GuidedBoard):
        return _with_board_words(result.to_dict())
    if isinstance(result, KeptLens):
        return lens_body(result)
    if isinstance(result, Reach):
        told = result.to_dict()
        return {"lines": reach_lines(told["mapped"], told["assumed"], Lengths(units=units))}
    return {}


def _proposal_words(result: Proposal, number: str, units: Units) -> dict[str, Any]:
    told = result.to_dict()
    blind = result.blind
    # a share of the table's own length would say nothing of an error
    shown = Units.MM if units is Units.DIAMONDS else units
    lengths = Lengths.on(result.calibration.table, shown)
    return {
        "headline": good_enough(told["good"], told["within_mm"], lengths),
        "to_do": what_stands_against(result.against),
        "facts": calibration_facts(result.calibration, lengths),
        "blind_words": blind_words(
            blind.share,
            blind.where,
            hidden_share=blind.hidden_share,
            hidden_where=blind.hidden_where,
        ),
        "error_map": f"{PREFIX}/calibrations/{number}/error-map.svg",
    }


def _with_board_words(told: dict[str, Any]) -> dict[str, Any]:
    stills = [
        each if each["used"] else each | {"words": board_refused(each["code"])}
        for each in told["stills"]
    ]
    missing, can_fit = told["missing"], told["can_fit"]
    return told | {"stills": stills, "next": board_next(missing, can_fit=can_fit)}
