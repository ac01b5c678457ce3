"""Drawings of a table: the top view in the table frame and the overlay on the still itself."""

from .balls import ball_icon_svg
from .overlay import overlay_svg
from .topview import top_view_svg

__all__ = ["ball_icon_svg", "overlay_svg", "top_view_svg"]
