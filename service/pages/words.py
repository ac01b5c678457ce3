"""Figures in the words of the trade: millimetres with ball widths and diamonds beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.chi_square import PLANE_AXIS_95
from calibration.table import BALL_DIAMETER_MM, PointMm, Table
from service.position.verdict.judged import judged_angle, judged_side
from vision.layout import Ball

TONES = {"in": "in", "out": "out", "too close to call": "close"}
"""Tone of the page's colours by verdict; the words always stand beside them."""
NONE = "–"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """A figure with its name and what stands small beside it."""

    label: str
    value: str
    aside: str = ""
    tone: str = ""


def ball_name(ball: str) -> str:
    """``cue ball`` or ``ball 3``."""
    return "cue ball" if ball == "cue" else f"ball {ball}"


def in_mm(length_mm: float) -> str:
    """Whole millimetres; a tenth below ten."""
    if length_mm == 0:
        return "0 mm"
    return f"{length_mm:.1f} mm" if abs(length_mm) < 10 else f"{length_mm:.0f} mm"


def widths(length_mm: float) -> str:
    """A length in ball widths."""
    return f"{length_mm / BALL_DIAMETER_MM:.1f} ball widths"


def in_diamonds(place_mm: PointMm, table: Table) -> str:
    """A place in diamonds: from the head end, and from the lower long cushion."""
    along, up = table.diamonds(place_mm)
    return f"{along:.2f}, {up:.2f}"


def error_95_mm(ball: Ball) -> float:
    """Long half axis of the ball's 95 % error ellipse."""
    (a, b), (c, d) = ball.cov_mm2
    half, off = (a + d) / 2, (b + c) / 2
    largest = half + (((a - d) / 2) ** 2 + off**2) ** 0.5
    return float(PLANE_AXIS_95 * max(largest, 0.0) ** 0.5)


def headline(verdict: Mapping[str, Any]) -> str:
    """The verdict, large."""
    if verdict["scratch"]:
        return "Scratch"
    if verdict["zone_empty"]:
        return "Out: no zone here"
    if verdict["verdict"] == "in":
        return "In the zone"
    if verdict["verdict"] == "too close to call":
        return "Too close to call"
    if verdict["verdict"] is None:
        return "Not compared"
    return "Out" if verdict["miss_mm"] is None else f"Out by {in_mm(verdict['miss_mm'])}"


def subline(verdict: Mapping[str, Any]) -> str:
    """The miss in a sentence's half: how far, long or short, left or right."""
    parts = []
    if verdict["verdict"] == "too close to call":
        parts.append(f"{verdict['p_in']:.0%} likely in the zone")
    if verdict["miss_mm"]:
        parts.append(widths(verdict["miss_mm"]))
        parts += [word for word in (along(verdict), across(verdict)) if word != NONE]
    if verdict["hooked"] in ("yes", "partly"):
        parts.append("hooked" if verdict["hooked"] == "yes" else "partly hooked")
    return " · ".join(parts)


def along(verdict: Mapping[str, Any]) -> str:
    """``62 mm long`` or ``62 mm short``."""
    value = verdict["along_mm"]
    if value is None:
        return NONE
    return f"{in_mm(abs(value))} {'long' if value >= 0 else 'short'}" if abs(value) >= 0.5 else "0"


def across(verdict: Mapping[str, Any]) -> str:
    """``57 mm left`` or ``57 mm right``, of the arrival line."""
    value = verdict["across_mm"]
    if value is None:
        return NONE
    return f"{in_mm(abs(value))} {'left' if value >= 0 else 'right'}" if abs(value) >= 0.5 else "0"


def wanted_cut(intent: Mapping[str, Any]) -> str:
    """``wanted 10–40°``; empty where no cut was wanted."""
    wanted = intent.get("cut_deg")
    return "" if wanted is None else f"wanted {wanted[0]:g}–{wanted[1]:g}°"


def target(ball: str | None, pocket: str | None) -> str:
    """``3 → foot-left``."""
    if ball is None:
        return NONE
    return f"{ball} → {pocket}" if pocket else str(ball)


def intent_sentence(intent: Mapping[str, Any]) -> str:
    """What is meant to be done, in one sentence."""
    parts = []
    if intent.get("pot"):
        parts.append(f"Pot {target(intent['pot'], intent.get('pocket'))}")
    if intent.get("next"):
        leave = f"leave {target(intent['next'], intent.get('next_pocket'))}"
        limits = [text for text in (wanted_cut(intent), _wanted_side(intent)) if text]
        parts.append(leave + (f" ({', '.join(limits)})" if limits else ""))
    if intent.get("zone"):
        parts.append("stop in the drawn zone")
    return ", ".join(parts)


def _wanted_side(intent: Mapping[str, Any]) -> str:
    return f"{intent['side']} side" if intent.get("side") in ("left", "right") else ""


def verdict_facts(
    verdict: Mapping[str, Any], intent: Mapping[str, Any], table: Table
) -> tuple[Fact, ...]:
    """All that the verdict says, most wanted first; what does not apply is left out."""
    facts = [_pot(verdict, intent), _miss(verdict), *_miss_split(verdict)]
    facts += [_stop(verdict, table), _cut(verdict, intent), _side(verdict, intent)]
    facts += [_way(verdict), _reach(verdict), *_chances(verdict)]
    return tuple(fact for fact in facts if fact is not None)


def _pot(verdict: Mapping[str, Any], intent: Mapping[str, Any]) -> Fact | None:
    if not intent.get("pot"):
        return None
    made = intent["pot"] in verdict["potted"]
    others = [ball for ball in verdict["potted"] if ball != intent["pot"]]
    return Fact(
        label="Pot",
        value="made" if made else "missed",
        aside=target(intent["pot"], intent.get("pocket"))
        + (f"; also potted: {', '.join(others)}" if others else ""),
        tone="in" if made else "out",
    )


def _miss(verdict: Mapping[str, Any]) -> Fact | None:
    if verdict["miss_mm"] is None:
        return None
    aside = widths(verdict["miss_mm"]) if verdict["miss_mm"] else ""
    return Fact(label="Miss", value=in_mm(verdict["miss_mm"]), aside=aside)


def _miss_split(verdict: Mapping[str, Any]) -> list[Fact]:
    if verdict["along_mm"] is None or not verdict["miss_mm"]:
        return []
    return [
        Fact(label="Long or short", value=along(verdict), aside=f"{verdict['arrival']} line"),
        Fact(label="Left or right of the line", value=across(verdict)),
    ]


def _stop(verdict: Mapping[str, Any], table: Table) -> Fact | None:
    if verdict["cue_stop_mm"] is None:
        return None
    stop_x, stop_y = verdict["cue_stop_mm"]
    return Fact(
        label="Cue ball stopped at",
        value=f"{stop_x:.0f}, {stop_y:.0f} mm",
        aside=f"{in_diamonds((stop_x, stop_y), table)} diamonds"
        + (", frozen" if verdict["frozen"] else ""),
    )


def _cut(verdict: Mapping[str, Any], intent: Mapping[str, Any]) -> Fact | None:
    if verdict["cut_deg"] is None:
        return None
    judged = judged_angle(verdict["cut_deg"], intent.get("cut_deg"))
    asides = [text for text in (wanted_cut(intent), judged) if text]
    return Fact(label="Cut left", value=f"{verdict['cut_deg']:.0f}°", aside=", ".join(asides))


def _side(verdict: Mapping[str, Any], intent: Mapping[str, Any]) -> Fact | None:
    if verdict["side"] is None:
        return None
    aside = judged_side(verdict["side"], intent.get("side"))
    tone = {"right side": "in", "wrong side": "out"}.get(aside, "")
    return Fact(label="Side of the line", value=verdict["side"], aside=aside, tone=tone)


def _way(verdict: Mapping[str, Any]) -> Fact | None:
    if verdict["path_to_pocket"] is None:
        return None
    hooked = {"yes": "hooked", "partly": "partly hooked"}.get(verdict["hooked"], "")
    tones = {"blocked": "out", "too close to call": "close"}
    path = verdict["path_to_pocket"]
    return Fact(label="Path of the next ball", value=path, aside=hooked, tone=tones.get(path, ""))


def _reach(verdict: Mapping[str, Any]) -> Fact | None:
    words = {"hand": "by hand", "bridge": "with the mechanical bridge"}
    reach = verdict["reach"]
    if reach is None:
        return None
    tone = "out" if reach == "out of reach" else ""
    return Fact(label="Reach", value=words.get(reach, reach), tone=tone)


def _chances(verdict: Mapping[str, Any]) -> list[Fact]:
    if verdict["pot_chance"] is None:
        return []
    facts = [
        Fact(
            label="Pot chance left",
            value=f"{verdict['pot_chance']:.0%}",
            aside="for the next ball",
        )
    ]
    if verdict["pot_chance_given_up"] is not None:
        facts.append(
            Fact(label="Pot chance given up", value=f"{verdict['pot_chance_given_up']:.0%}")
        )
    return facts
