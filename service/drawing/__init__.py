"""Drawings of a table: the top view in the table frame and the overlay on the still itself."""

from .overlay import overlay_svg
from .topview import top_view_svg

__all__ = ["overlay_svg", "top_view_svg"]
