"""How far off the balls were set up before a shot: said beside its verdict, never counted in it."""

from __future__ import annotations

from calibration.errors import RestmarkError
from service.guide import SetUpError
from service.store import AttemptRecord
from service.words.laying.guide import repeat_words, set_up_words
from service.words.lengths import Lengths


def laid_words(attempt: AttemptRecord, lengths: Lengths) -> str:
    """By the guide where one was followed, else by the layout that was laid again; or empty."""
    kept = attempt.set_up or {}
    guide, again = kept.get("guide"), kept.get("set_up_off_mm")
    if guide is not None:
        try:
            return set_up_words(SetUpError.from_dict(guide), lengths)
        except RestmarkError:
            # kept by an older edition in another shape
            return ""
    return repeat_words(again, lengths) if again else ""
