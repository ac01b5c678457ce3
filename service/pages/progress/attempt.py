"""One attempt with its drawing, its still and its figures, however old it is."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from service.desk.names.known_set import KnownSet
from service.desk.scene import Scene
from service.desk.verdicts import verdict_of
from service.store import Reader
from service.words.intents import intent_words
from service.words.lengths import Lengths
from service.words.verdicts import TONES, headline, subline

from ..frame import Shown
from ..picture import scene_svg
from ..practice.table import TableView
from ..practice.view import PracticeView, scene_fields


@dataclass(frozen=True, slots=True, kw_only=True)
class AttemptView:
    """The attempt as the practice page would show it, and where it stands among the others."""

    number: int
    meant: str
    """What was meant, in a sentence."""
    at: str
    at_iso: str
    page: PracticeView
    before_picture: str
    before_name: str


def attempt_view(reader: Reader, known: KnownSet, shown: Shown, number: int) -> AttemptView:
    """The attempt of that number; NotFoundError where there is none."""
    attempt = reader.attempt(number)
    scene = Scene.of_attempt(reader, attempt)
    verdict = verdict_of(attempt)
    lengths = Lengths.on(scene.table, shown.units)
    page = PracticeView(
        headline=headline(verdict, lengths),
        subline=subline(verdict, lengths),
        tone=TONES.get(verdict.verdict or "", "plain"),
        stage="judged",
        unit=lengths.sign,
        **scene_fields(reader, scene, known, None, shown, lengths),
    )
    drawn = scene_svg(
        scene,
        units=shown.units,
        width_px=shown.lettered_px,
        turn=shown.quarter_turns,
        legend=False,
    )
    return AttemptView(
        number=attempt.id,
        meant=intent_words(verdict.intent, lengths) if verdict.intent else "",
        at=attempt.made_at.astimezone().strftime("%Y-%m-%d %H:%M"),
        at_iso=attempt.made_at.isoformat(),
        page=replace(page, table=TableView(svg=Markup(drawn), scene=_told())),
        before_picture=f"/api/v1/stills/{attempt.before.still.id}/picture",
        before_name=attempt.before.still.name,
    )


def _told() -> dict[str, Any]:
    """Nothing to be planned here."""
    return {}
