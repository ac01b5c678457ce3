"""Drawings of a table: the top view in the table frame, the overlay on the still itself, maps.

In: a table, layouts, a verdict, a set-up guide or a map. Out: SVG as text. The only place that
draws a table; it reads no file and decides nothing.
"""

from .balls import ball_icon_svg
from .overlay import overlay_svg
from .setting_up import guide_svg
from .topview import top_view_svg

__all__ = ["ball_icon_svg", "guide_svg", "overlay_svg", "top_view_svg"]
