"""The own score of a way to practise, in a line."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def way_line(report: Mapping[str, Any]) -> str:
    """One sentence on how far a way to practise was carried; its mode says which figures it has."""
    mode = str(report["mode"])
    if mode == "progressive":
        best = report["farthest_success_mm"]
        done = "no success yet" if best is None else f"farthest success at {best:.0f} mm"
        return f"Progressive: {report['reached_mm']:.0f} mm reached, {done}."
    if mode == "pressure":
        return (
            f"Sets of {report['in_a_row']} in a row: {report['completions']} completed, longest "
            f"run {report['longest_run']}."
        )
    if mode == "rotation":
        return f"Rotation: {report['potted']} potted, {report['longest_run']} in a row."
    if "of" in report:
        return f"{mode.capitalize()}: {report['played']} of {report['of']} played."
    return f"{mode.capitalize()}: {report['played']} played."
