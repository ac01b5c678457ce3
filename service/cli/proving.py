"""``prove``: the table's own balls as gauges of what readings state."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from calibration.jsonfile import write_text
from service import clock
from vision.layout import BALL_IDS

from .app import REFUSED, app, guarded
from .console import note, print_json, say, tracked
from .given.inputs import InputError
from .given.options import BALL_SET, CALIBRATION, JSON


@app.command()
@guarded
def prove(
    stills: Annotated[
        list[Path],
        typer.Argument(
            metavar="STILL",
            help="Stills of a tight rack, of clusters of touching balls and of frozen ones "
            "anywhere, and of one layout left alone while the light changes.",
        ),
    ],
    calibration: CALIBRATION,
    ball_set: BALL_SET = None,
    page: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write the result as a page, proof.html."),
    ] = None,
    apart: Annotated[
        list[str] | None,
        typer.Option(
            "--apart",
            metavar="BALL,BALL",
            help="Two balls that do not touch, whatever it looks like, such as 3,7. May be "
            "repeated.",
        ),
    ] = None,
    keep: Annotated[
        bool,
        typer.Option(
            "--keep",
            help="Keep the result in the calibration file: where the stated error proves too "
            "small, readings state more from then on; where it holds, an earlier factor goes.",
        ),
    ] = False,
    as_json: JSON = False,
) -> None:
    """Prove on your own table that readings are as exact as they say.

    Touching balls lie exactly a diameter apart, frozen ones at the nose, a tight rack is a
    lattice, and a layout left alone reads the same in other light. Whatever lies within 3 mm of
    touching counts as laid to touch: push clusters and the rack together tight.
    """
    from calibration.kept.calibration import Calibration
    from service.proving.proof import proof_of
    from service.proving.seen import look

    made = Calibration.read(calibration)
    pairs = [_pair(text) for text in apart or ()]
    from .given.options import set_from

    seen, left = look(tracked(stills, "reading stills"), made, taught=set_from(ball_set))
    proof = proof_of(seen, made, left_out=left, apart=pairs)
    if as_json:
        print_json(proof.to_dict())
    else:
        _print(proof)
    if page is not None:
        from service.report.proved import proof_page

        write_text(page, proof_page(proof, made.table))
        note(f"page: {page}")
    nothing = proof.whole is None and not proof.kinds
    if keep and not nothing:
        kept = proof.kept(clock.now().isoformat(timespec="seconds"))
        replace(made, proof=kept).write(calibration)
        note(f"kept in {calibration}: factor {kept.factor:g}")
    if nothing or any(one.code == "unreadable" for one in left):
        raise typer.Exit(REFUSED)


def _print(proof: object) -> None:
    from service.proving.proof import Proof
    from service.words.proved.lines import doubt_words, left_words, proof_lines

    assert isinstance(proof, Proof)
    for line in proof_lines(proof):
        say(line)
    doubt = doubt_words(proof)
    if doubt:
        say(doubt)
    for one in proof.left_out:
        say(f"left out: {left_words(one)}")


def _pair(text: str) -> frozenset[str]:
    names = [name.strip() for name in text.split(",")]
    if len(names) != 2 or len(set(names)) != 2 or not set(names) <= set(BALL_IDS):
        raise InputError(
            f"--apart: got {text!r}; allowed: two balls of cue, 1 … 15, like 3,7. Correct it."
        )
    return frozenset(names)
