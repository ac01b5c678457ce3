"""What a browser is told where the page that it asked for cannot be shown."""

from __future__ import annotations

from dataclasses import dataclass

from service.words.plain import capital


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongView:
    """The words of such a page."""

    headline: str
    words: str
    is_passing: bool = False
    """The same address may work later: it is offered again."""


def wrong_words(status: int, code: str, detail: str) -> WrongView:
    """What happened and what to do, for a person."""
    if status in (404, 405, 422):
        return WrongView(
            headline="There is no such page",
            words="The address may have been mistyped, or what it showed is gone. "
            "The pages above are all there are.",
        )
    if code == "role-not-enough":
        return WrongView(
            headline="This device may not see that",
            words="It was let in for less. An owner can let it in anew as more, on the page "
            "Devices.",
        )
    if status == 503 or code == "busy":
        return WrongView(headline="Not just now", words=capital(detail), is_passing=True)
    return WrongView(headline="That did not work", words=capital(detail), is_passing=status >= 500)
