"""A store filled with attempts at random, quickly."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from pathlib import Path
from typing import Any

from service.store import Store, Writer
from service.store.files import StillFiles

from .drawn import A_SESSION, PLAYERS, Drawn, before, calibration, drawn, still_name

_AT_ONCE = 6000


def fill(
    data_dir: Path,
    count: int,
    *,
    url: str | None = None,
    seed: int = 1,
    with_stills: bool = False,
) -> None:
    """Put ``count`` attempts of ten players into the empty store at ``data_dir``.

    Each has a still, a reading and an intent of its own; an evening's shots start from one layout.
    The stills' files are missing, or small ones with ``with_stills``.
    """
    store = Store(data_dir, url)
    try:
        with store.writing() as writer:
            writer.add_calibration(calibration())
            players = [writer.player_at().id]
            players += [writer.add_player(f"Player {n}").id for n in range(2, PLAYERS + 1)]
        for batch in _batches(drawn(count, seed=seed)):
            with store.writing() as writer:
                _add(writer, batch, players, store.files if with_stills else None)
        with store.writing() as writer:
            writer.look_over()
    finally:
        store.close()


def _batches(attempts: Iterator[Drawn]) -> Iterator[list[Drawn]]:
    size = _AT_ONCE - _AT_ONCE % A_SESSION
    while batch := list(islice(attempts, size)):
        yield batch


def _add(
    writer: Writer, batch: Sequence[Drawn], players: Sequence[int], files: StillFiles | None
) -> None:
    """Rows of whole evenings, each with one reading more: the layout before."""
    start = before().to_dict()
    layouts: list[tuple[Any, dict[str, Any]]] = []
    begun, ended = [], []
    for place, each in enumerate(batch):
        if place % A_SESSION == 0:
            layouts.append((each.at, start))
            begun.append(len(layouts) - 1)
        layouts.append((each.at, each.layout))
        ended.append(len(layouts) - 1)
    readings = _readings(writer, layouts, files)
    starts = [readings[begun[place // A_SESSION]] for place in range(len(batch))]
    whose = [players[each.player] for each in batch]
    intents = writer.insert_many(
        "intents",
        [
            {
                "table_id": 1, "player_id": player_id, "set_at": each.at, "state": "scored",
                "before_reading_id": reading_id, "document": each.intent,
            }
            for each, player_id, reading_id in zip(batch, whose, starts, strict=True)
        ],
    )  # fmt: skip
    writer.insert_many(
        "attempts",
        [
            {
                "table_id": 1, "player_id": whose[place], "intent_id": intents[place],
                "before_reading_id": starts[place], "after_reading_id": readings[ended[place]],
                **each.figures,
            }
            for place, each in enumerate(batch)
        ],
    )  # fmt: skip


def _readings(
    writer: Writer,
    layouts: Sequence[tuple[Any, dict[str, Any]]],
    files: StillFiles | None,
) -> list[int]:
    """A still and a reading for each time and layout."""
    keys = [f"{at.isoformat()}-{place}" for place, (at, _) in enumerate(layouts)]
    named = [still_name(key) for key in keys]
    if files is not None:
        for key, (_, sha256) in zip(keys, named, strict=True):
            files.path(sha256).parent.mkdir(exist_ok=True)
            files.path(sha256).write_bytes(key.encode())
    stills = writer.insert_many(
        "stills",
        [
            {
                "table_id": 1, "received_at": at, "name": name, "media_type": "image/jpeg",
                "sha256": sha256, "size_bytes": len(key) if files else 400_000,
            }
            for key, (name, sha256), (at, _) in zip(keys, named, layouts, strict=True)
        ],
    )  # fmt: skip
    return writer.insert_many(
        "readings",
        [
            {
                "still_id": still_id, "calibration_id": 1, "table_id": 1, "read_at": at,
                "took_ms": 150.0, "comparable": True, "layout": layout,
            }
            for still_id, (at, layout) in zip(stills, layouts, strict=True)
        ],
    )  # fmt: skip
