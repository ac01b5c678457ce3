"""The page: the last still from above with its verdict, the attempts and what they add up to.

In: what the desk works out and the store holds. Out: HTML and SVG; it decides and writes nothing.
"""

from .page import install_pages
from .picture import scene_svg

__all__ = ["install_pages", "scene_svg"]
