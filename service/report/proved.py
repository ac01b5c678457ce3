"""A proof of accuracy as one HTML file that needs nothing beside itself."""

from __future__ import annotations

from pathlib import PurePath

from calibration.table import Table
from service.drawing.charts.proved import proof_svg
from service.proving.gauges import MEANT_MM
from service.proving.proof import Proof
from service.proving.repeats import NameChanged
from service.words.balls import ball_name
from service.words.plain import counted
from service.words.proved.lines import (
    KIND_WORDS,
    doubt_words,
    gauge_words,
    left_words,
    proof_lines,
    worst_of,
)

from .page import filled


def proof_page(proof: Proof, table: Table) -> str:
    """The page: verdict, bed, figures, what is farthest off and what was left out."""
    heading, *lines = proof_lines(proof)
    whole = [] if proof.whole is None else [("balls and cushions together", proof.whole)]
    return filled(
        "proof.html",
        heading=heading,
        lead=f"By {counted(len(proof.stills), 'still')} of this very table, its balls as gauges.",
        lines=lines,
        bed_svg=proof_svg(proof, table),
        kinds=[*whole, *((KIND_WORDS[kind], one) for kind, one in proof.kinds.items())],
        regions=[(f"{along}, {across}", one) for (along, across), one in proof.regions.items()],
        doubt=doubt_words(proof),
        worst=[gauge_words(one) for one in worst_of(proof)],
        renamed=[_renamed(one) for one in proof.names_changed],
        left=[left_words(one) for one in proof.left_out],
        meant_mm=f"{MEANT_MM:g}",
    )


def _renamed(one: NameChanged) -> str:
    stills = (PurePath(one.still).name, PurePath(one.other_still).name)
    return (
        f"{ball_name(one.name)} in {stills[0]}, {ball_name(one.other_name)} in {stills[1]}"
        f"{', said to be in doubt' if one.doubtful else ', and no doubt said'}"
    )
