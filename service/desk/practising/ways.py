"""The way of a practice as it is stored, and as the value that says what is played next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from calibration.strict import shown
from service.position import IntentError, Player
from service.practice import Plan
from service.practice.ways.choose import MODES, Way
from service.practice.ways.in_order import InOrder
from service.practice.ways.rotation import Rotation
from service.practice.ways.tried import Tried

FREE = "free"
PLAN = "plan"
_MODES = {PLAN: "in order"} | {mode: mode for mode in MODES if mode != "in order"}
KINDS = (FREE, *_MODES)
_REMEDY = "Correct it."


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeWay:
    """A way to practise; ``plan`` is None for free play."""

    kind: str = FREE
    plan: Plan | None = None

    @classmethod
    def from_dict(cls, data: Any) -> PracticeWay:
        """From ``{"kind": …, "shots": […], …}``; errors name the field by its path.

        Raises:
            IntentError: there is no such kind, or shots or a setting are wrong.
        """
        if not isinstance(data, Mapping):
            raise IntentError(
                f"way: got {shown(data)}; allowed: an object with kind, one of "
                f"{', '.join(KINDS)}. {_REMEDY}"
            )
        kind = data.get("kind")
        if kind not in KINDS:
            raise IntentError(
                f"way.kind: got {shown(kind)}; allowed: {', '.join(KINDS)}. {_REMEDY}"
            )
        rest = {key: value for key, value in data.items() if key != "kind"}
        if kind == FREE:
            if rest:
                raise IntentError(
                    f"way.{next(iter(rest))}: got one for free play; allowed: none. Remove it."
                )
            return cls()
        if "mode" in rest:
            raise IntentError("way.mode: got one beside kind; allowed: kind alone. Remove it.")
        _check_known(rest, _MODES[str(kind)])
        if kind == "same again":
            rest.setdefault("shots", [])
        plan = Plan.from_dict({**rest, "mode": _MODES[str(kind)]}, path="way")
        return cls(kind=str(kind), plan=plan)

    def to_dict(self) -> dict[str, Any]:
        """Inverse of ``from_dict``."""
        if self.plan is None:
            return {"kind": self.kind}
        out = self.plan.to_dict()
        out.pop("mode", None)
        return {"kind": self.kind, **out}

    def way(self, player: Player | None, skipped: Iterable[int] = ()) -> Way | None:
        """What says the next turn, without the shots that were skipped; None for free play."""
        if self.plan is None:
            return None
        way = self.plan.way
        if isinstance(way, InOrder):
            return replace(way, skipped=frozenset(skipped))
        # the best pocket is the best for whoever plays
        return Rotation(rule=way.rule, player=player) if isinstance(way, Rotation) else way

    def report(self, tried: Sequence[Tried], skipped: Iterable[int] = ()) -> dict[str, Any] | None:
        """The way's own score; None for free play."""
        way = self.way(None, skipped)
        return None if way is None else way.report(tried)


def _check_known(given: Mapping[str, Any], mode: str) -> None:
    """Refuse a field that a way of that mode has not."""
    allowed = tuple(dict.fromkeys(("kind", "shots", "notes", "in_a_row", *MODES[mode])))
    unknown = sorted(shown(name, bare=True) for name in given if name not in allowed)
    if not unknown:
        return
    remedy = "Remove it." if len(unknown) == 1 else "Remove them."
    if "plan_id" in unknown:
        remedy = "A kept plan's number stands beside way: move it there."
    raise IntentError(
        f"way: got unknown field(s) {', '.join(unknown)}; allowed: {', '.join(allowed)}. {remedy}"
    )
