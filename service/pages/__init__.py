"""The pages: what a player sees in a browser, rendered here and kept new by small scripts.

In: what the desk works out and the store holds. Out: HTML and SVG; it decides and writes nothing.

How another page is added, say one at ``/guide``:

1. A room ``guide/`` with ``install(site)``, called in ``install.py``. It adds its addresses to
   ``site.app`` and answers them with ``site.page(template, request, make)``, where
   ``make(reader, shown)`` runs in a thread, reads the store once and returns what the template
   needs. ``shown`` says which table, and what this reader chose: units, look, quarter turns.
2. ``templates/guide/page.html`` extends ``base.html`` and fills the blocks ``title``, ``styles``,
   ``scripts`` and ``main``. ``frame/nav.py`` has the entries; one shows once its page is installed.
3. ``static/guide/guide.css`` uses the tokens of ``static/page.css`` (colours by role, type, space)
   and nothing of its own where a token serves. ``static/guide/guide.js`` is an ES module, loaded
   by ``<script type="module" src=…>``; it imports from ``../base/``: ``ask.js`` (requests and what
   is said of refusals), ``live.js`` (changes, connection, reconnecting), ``parts.js`` (elements
   with ``data-part`` kept new, but not under a finger), ``screen.js`` (what the reader chose),
   ``said.js`` (voice, tone).

The content policy allows no inline script and no inline style, ``style="…"`` in markup included;
what a script must place goes through ``element.style`` or attributes of SVG. Whatever can be
touched is 44 px or more (``--touch``), what is told by colour is told by words or shape too, and
every page is looked at by ``tests/test_page_frame.py`` at five sizes and by axe.
"""

from .install import install_pages
from .picture import scene_svg

__all__ = ["install_pages", "scene_svg"]
