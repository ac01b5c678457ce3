"""Numbers and lists in words that say nothing of tables yet."""

from __future__ import annotations

from collections.abc import Iterable

NONE = "\N{EN DASH}"
"""Stands where a figure does not apply or too few attempts say nothing."""
MINUS = "\N{MINUS SIGN}"


def percent(share: float) -> str:
    """A share as whole percent: ``62 %``."""
    return f"{100 * share:.0f} %"


def percent_or_none(share: float | None) -> str:
    """The same, or a dash."""
    return NONE if share is None else percent(share)


def percent_between(low: float, high: float) -> str:
    """Two shares as whole percent: ``28 to 78 %``."""
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def signed(value: float, digits: int = 0) -> str:
    """A number with its sign, a real minus, and no sign on zero."""
    text = f"{abs(value):.{digits}f}"
    if float(text) == 0:
        return text
    return ("+" if value > 0 else MINUS) + text


def counted(number: int, word: str) -> str:
    """``1 attempt``, ``3 attempts``."""
    return f"{number} {word}{'' if number == 1 else 's'}"


def more(number: int, word: str = "attempt") -> str:
    """``1 more attempt``, ``3 more attempts``."""
    return counted(number, f"more {word}")


def joined(words: Iterable[str]) -> str:
    """Words for a sentence: ``a, b and c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return ", ".join(items[:-1]) + " and " + items[-1]


def capital(text: str) -> str:
    """With a capital first letter, the rest as it is."""
    return text[:1].upper() + text[1:]


def p_words(p_value: float) -> str:
    """``p = 0.031``; very small ones as a bound."""
    return "p < 0.001" if p_value < 0.001 else f"p = {p_value:.2g}"
