"""The timings that the bench prints of positions."""

from __future__ import annotations

from service.bench.position import position_figures


def test_figures_are_there_and_ordered() -> None:
    """Two layouts: every figure is a time, and a score is no quicker than its verdict alone."""
    figures = position_figures(layouts=2)
    assert (figures["layouts"], figures["balls"]) == (2, 15)
    names = ("zone", "zone_any_pocket", "verdict", "score", "map", "route")
    for name in names:
        times = figures[f"{name}_ms"]
        assert 0 < times["median"] <= times["worst"], name
    assert figures["score_ms"]["median"] > figures["verdict_ms"]["median"]
