"""A proof in words: whether the stated error holds, by what, where, and what was left out."""

from __future__ import annotations

from pathlib import PurePath

from service.proving.gauges import FROZEN, MEANT_MM, RACK, REPEATED, TOUCHING
from service.proving.proof import Proof, Weighed
from service.proving.seen import LeftOut
from service.proving.weighing import Figure

from ..balls import ball_name
from ..plain import capital, counted, signed

KIND_WORDS = {
    TOUCHING: "touching balls",
    RACK: "racks",
    FROZEN: "balls frozen to a cushion",
    REPEATED: "the same layout again",
}
FAR_SIGMAS = 4.0
WORST = 8
FEW = 20
"""Independent gauges below which the interval is too wide to lean on."""


def verdict_line(proof: Proof) -> str:
    """Whether the stated error holds."""
    if proof.whole is None and not proof.kinds:
        return (
            "nothing to prove by: no balls touch one another or a cushion, and no layout comes "
            "twice. Lay a tight rack, a few clusters and some frozen balls, and take stills."
        )
    if proof.factor > 1.0:
        return (
            "the stated error is too small: each ball against what is stated for it, errors are "
            f"{proof.factor:.2f} times as large. "
            "Keep this factor with --keep, and readings state it from then on."
        )
    return "the stated error holds: nothing shows that it is too small"


def proof_lines(proof: Proof) -> list[str]:
    """The verdict, the figures it rests on, the bed, names, and what to lay next."""
    lines = [capital(verdict_line(proof)) + "." * (not verdict_line(proof).endswith("."))]
    if proof.whole is not None:
        lines.append(f"Over the whole bed: {figure_words(proof.whole)}.")
        lines.append(place_words(proof, proof.whole))
    lines += [
        f"By {KIND_WORDS[kind]}: {figure_words(figure)}." for kind, figure in proof.kinds.items()
    ]
    lines += [few for few in few_words(proof) if few]
    lines.append(names_words(proof))
    return lines


def figure_words(figure: Figure) -> str:
    """``0.31 mm measured (0.25 to 0.41), 0.24 stated, by 48 gauges``."""
    return (
        f"{figure.measured_mm:.2f} mm measured ({figure.low_mm:.2f} to {figure.high_mm:.2f}, "
        f"95 %), {figure.stated_mm:.2f} mm stated, by {counted(figure.gauges, 'gauge')}"
    )


def place_words(proof: Proof, whole: Figure) -> str:
    """What it means for a ball's place."""
    share = proof.ball_stated_mm / whole.stated_mm
    return (
        f"A ball's place is stated to {proof.ball_stated_mm:.2f} mm in each direction (1 sigma, "
        f"picture and calibration together); as proved {share * whole.measured_mm:.2f} "
        f"({share * whole.low_mm:.2f} to {share * whole.high_mm:.2f})."
    )


def few_words(proof: Proof) -> list[str]:
    """What is missing for a proof to lean on."""
    out = []
    empty = [f"{along} {across}" for (along, across), f in proof.regions.items() if f is None]
    if empty:
        out.append(f"No gauges lay in these parts of the bed: {', '.join(empty)}.")
    if proof.whole is not None and proof.whole.independent < FEW:
        out.append(
            f"Only {proof.whole.independent} independent gauges: a rack and a few clusters more "
            "make the interval narrower."
        )
    if FROZEN not in proof.kinds:
        out.append(
            "Only balls against balls: freeze some to all four cushions to prove the calibration "
            "as well."
        )
    return out


def names_words(proof: Proof) -> str:
    """How names held where the light changed."""
    if not proof.repeated:
        return "No layout came twice: leave one alone and change the light to prove the names."
    again = counted(proof.repeated, "still") + " of a layout seen before"
    silent = [one for one in proof.names_changed if not one.doubtful]
    if not proof.names_changed:
        return f"{again}: every name stayed."
    return (
        f"{again}: {counted(len(proof.names_changed), 'name')} changed, {len(silent)} of them "
        "without a doubt said."
    )


def worst_of(proof: Proof) -> tuple[Weighed, ...]:
    """The gauges that speak most against the stated error."""
    far = sorted(proof.weighed, key=lambda one: -abs(one.sigmas))
    return tuple(far[:WORST])


def gauge_words(one: Weighed) -> str:
    """``3 and 7 in rack.jpg: +0.41 mm, 2.1 sigma``."""
    balls = " and ".join(ball_name(name) for name in one.gauge.balls)
    return (
        f"{balls} in {PurePath(one.gauge.still).name} ({KIND_WORDS[one.gauge.kind]}): "
        f"{signed(one.gauge.off_mm, 2)} mm, {abs(one.sigmas):.1f} stated sigma"
    )


def doubt_words(proof: Proof) -> str | None:
    """What to look at before the factor is believed."""
    far = [one for one in proof.weighed if abs(one.sigmas) > FAR_SIGMAS and one.gauge.off_mm > 0]
    if not far:
        return None
    return (
        "Some lie far off: did they really touch? If not, say so with --apart and prove it again: "
        + "; ".join(gauge_words(one) for one in far[:WORST])
    )


def left_words(one: LeftOut) -> str:
    """Why something is no gauge."""
    still = PurePath(one.still).name
    balls = " and ".join(ball_name(name) for name in one.balls)
    off = 0.0 if one.off_mm is None else one.off_mm
    if one.code == "apart":
        return f"{still}: {balls} are {off:.1f} mm apart, more than {MEANT_MM:g}"
    if one.code == "off-cushion":
        return f"{still}: {balls} is {off:.1f} mm off the cushion, more than {MEANT_MM:g}"
    if one.code == "told":
        return f"{still}: {balls} do not touch, as told"
    if one.code == "same-picture":
        return f"{still}: the very same picture as {PurePath(one.detail).name}"
    if one.code == "obstructed":
        return f"{still}: something lies over the bed"
    return f"{still}: {one.detail}"
