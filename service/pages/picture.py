"""A scene drawn from above."""

from __future__ import annotations

from service.desk.scene import Scene
from service.drawing import top_view_svg
from service.setup.blind import outside_mm
from service.words.lengths import Units


def scene_svg(
    scene: Scene,
    *,
    units: Units = Units.MM,
    width_px: int = 960,
    turn: int = 0,
    legend: bool | None = None,
) -> str:
    """The top view as an <svg> element, from the side that ``turn`` says."""
    return top_view_svg(
        scene.table,
        scene.reading.layout,
        before=scene.attempt.before.layout if scene.attempt else None,
        verdict=scene.verdict,
        zone=scene.zone,
        blind_mm=outside_mm(scene.calibration),
        units=units,
        width_px=width_px,
        turn=turn,
        legend=legend,
    )
