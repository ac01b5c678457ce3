"""A scene drawn from above."""

from __future__ import annotations

from service.desk.scene import Scene
from service.drawing import top_view_svg


def scene_svg(scene: Scene, *, width_px: int = 960) -> str:
    """The top view as an <svg> element."""
    return top_view_svg(
        scene.table,
        scene.reading.layout,
        before=scene.attempt.before.layout if scene.attempt else None,
        verdict=scene.verdict,
        zone=scene.zone,
        width_px=width_px,
    )
