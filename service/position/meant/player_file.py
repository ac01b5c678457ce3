"""A player's settings as a versioned file that a person can read and write."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from calibration import jsonfile

from .player import Player

PLAYER_FORMAT = "restmark-player"
PLAYER_VERSION = 1
_REMEDY = "Write one by hand or with `restmark player`."
_FITTED = "fitted"


def write_player(path: Path, player: Player, *, fitted: Mapping[str, Any] | None = None) -> None:
    """Write the settings; ``fitted`` says beside them where measured spreads come from."""
    tail = {_FITTED: dict(fitted)} if fitted else {}
    jsonfile.write_json(path, {**player_document(player), **tail})


def read_player(path: Path) -> Player:
    """Settings from a file; what it leaves out stays at its starting value."""
    data = jsonfile.read_json(
        path, file_format=PLAYER_FORMAT, version=PLAYER_VERSION, remedy=_REMEDY
    )
    return player_from(data, path=str(path))


def player_document(player: Player) -> dict[str, Any]:
    """The settings as a player file has them."""
    return {"format": PLAYER_FORMAT, "version": PLAYER_VERSION, **player.to_dict()}


def player_from(document: object, *, path: str) -> Player:
    """Settings from what a player file holds; what it leaves out stays at its starting value."""
    jsonfile.check_version(
        document, file_format=PLAYER_FORMAT, version=PLAYER_VERSION, path=path, remedy=_REMEDY
    )
    assert isinstance(document, Mapping)
    own = {key: document[key] for key in document if key not in ("format", "version", _FITTED)}
    return Player.from_dict(own, path=path)
