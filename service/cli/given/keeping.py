"""Keep a scored session in a store, so that weeks of them can be looked at together."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from vision.layout import Layout

from .inputs import STILL_SUFFIXES, Entry, InputError
from .layouts import Ground

if TYPE_CHECKING:
    from service.position import Player
    from service.practice import SessionResult
    from service.practice.pairing import Reading


def played_time(given: str | None, folder: Path) -> datetime:
    """When a session was played: as given, else when the first still of its folder was written.

    Raises:
        InputError: what was given is no time.
    """
    if given is None:
        stills = [path for path in folder.iterdir() if path.suffix.lower() in STILL_SUFFIXES]
        times = [path.stat().st_mtime for path in stills]
        return datetime.fromtimestamp(min(times)).astimezone()
    try:
        return datetime.fromisoformat(given).astimezone()
    except (ValueError, OSError, OverflowError):
        raise InputError(
            f"--played: got {given!r}; allowed: a day or a day with a time, like 2026-11-24 or "
            "2026-11-24T19:30. Correct it."
        ) from None


def check_keepable(ground: Ground, entries: Sequence[Entry]) -> None:
    """Refuse, before anything is read, a session that no store could hold.

    Raises:
        InputError: it has layouts in place of stills, or no calibration.
    """
    layouts = [entry.name for entry in entries if entry.still is None and entry.refusal is None]
    if ground.calibration is None or layouts:
        what = f"{layouts[0]} is a layout" if layouts else "no --calibration was given"
        raise InputError(
            f"--data: {what}; allowed: a session of stills with their calibration. Leave --data "
            "away or give the stills."
        )


def keep_session(
    data: Path,
    ground: Ground,
    entries: Sequence[Entry],
    readings: Sequence[tuple[str, Reading]],
    result: SessionResult,
    played_at: datetime,
    *,
    store_url: str | None = None,
    player: Player | None = None,
) -> str:
    """Put what was scored into the store; returns what to say about it.

    ``player`` has the settings it was scored by; None: the starting values.
    """
    from service.desk.session import SessionAttempt, SessionStill, load_session
    from vision.networks import fingerprint

    assert ground.calibration is not None
    stills = {entry.name: entry.still for entry in entries if entry.still is not None}
    attempts = [
        SessionAttempt(
            before=attempt.before,
            after=attempt.after,
            intent=attempt.verdict.intent,
            verdict=attempt.verdict,
            kind=attempt.kind,
            in_a_row=None if attempt.note is None else attempt.note.in_a_row,
        )
        for attempt in result.attempts
        if attempt.verdict is not None and attempt.verdict.intent is not None
    ]
    is_new = load_session(
        data,
        ground.calibration,
        store_url=store_url,
        stills=[
            SessionStill(name=name, data=stills[name], layout=layout)
            for name, layout in readings
            if isinstance(layout, Layout) and name in stills
        ],
        attempts=attempts,
        player=player,
        played_at=played_at,
        weights=fingerprint(),
        taught=ground.taught,
    )
    when = played_at.strftime("%Y-%m-%d %H:%M")
    if not is_new:
        return f"{data} holds this very session already: nothing was added"
    return f"{len(attempts)} attempts kept in {data} as played {when}"
