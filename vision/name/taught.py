"""A ball set as it was taught: how each ball of this very set looks to the crop network.

Networks know balls in general; sets have paints and wear of their own. From stills whose names
are known this keeps every ball's embedding, which depends on its crop alone. Later stills are
compared with it: squared distances between embeddings of one ball of one set have a median near
220, those of two different balls one near 4900, so a distance speaks for or against a name. One
more thing is learned: how far the network may be trusted with this set at all, from the chance
that it gave the true names. Whitened distances and colours of the crops were tried and were worse.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calibration import strict
from calibration.arrays import FloatArray
from calibration.errors import FileFormatError
from calibration.jsonfile import check_version, read_json, write_json
from calibration.strict import Share
from vision.layout import BALL_IDS
from vision.networks import crops_fingerprint
from vision.place.centres import Placed

from .identify import Hint, chances_alone

SET_FORMAT, SET_VERSION = "restmark-set", 1
REMEDY = "Make it anew with `restmark teach`."
SPREADS = {"cue": (725.0, 0.0081), "solid": (1125.0, 0.0057), "stripe": (1085.0, 0.0041)}
"""By kind of ball: the squared distance that speaks neither for nor against a name, and the
log-likelihood per unit of it. Stripes look different from every side, so theirs says least. Steeper
is surer, and more often wrong without doubt; where the network does not know the set looks must
decide alone, and mistrust makes them steeper, up to twice."""
MOST_FOR, MOST_AGAINST = 12.0, 9.0
"""Bounds of the log-likelihood: what a network that is sure has to say weighs about 9."""
LOOKS_KEPT = 8
"""Newest looks kept of each name."""
DOUBTED, TRUSTED = 0.02, 3.0
"""Before any look: balls of the set that the network got wrong, and right."""
DECIMALS = 3
LAST_SOLID = 8


class TaughtError(FileFormatError):
    """A set cannot be taught, or was taught for other networks."""

    code = "bad-set"


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """One ball of the set in one still."""

    id: str
    chance: Share
    """What the network by itself gave that name, 0 … 1."""
    embedding: tuple[float, ...]
    """What the crop network saw of it."""

    def __post_init__(self) -> None:
        strict.check(self, label="", error=TaughtError, remedy=REMEDY)
        if self.id not in BALL_IDS:
            raise TaughtError(
                f"id: got {strict.shown(self.id)}; allowed: cue, 1 … 15. Correct the name."
            )

    def to_dict(self) -> dict[str, Any]:
        """JSON object; the embedding is one line of numbers."""
        words = " ".join(f"{value:.{DECIMALS}f}" for value in self.embedding)
        return {"id": self.id, "chance": self.chance, "embedding": words}

    @classmethod
    def from_dict(cls, data: object, *, path: str) -> Look:
        """Inverse of ``to_dict``."""
        return strict.build(
            cls,
            data,
            path=path,
            remedy=REMEDY,
            error=TaughtError,
            convert={"embedding": _embedding},
        )


def _embedding(line: object, path: str) -> tuple[float, ...]:
    try:
        found = tuple(float(word) for word in line.split()) if isinstance(line, str) else ()
    except ValueError:
        found = ()
    if not found or not np.isfinite(found).all():
        raise TaughtError(
            f"{path}: got {strict.shown(line)}; allowed: finite numbers in one text. {REMEDY}"
        )
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Taught:
    """All looks of one ball set, oldest first."""

    network: str
    """Fingerprint of the crop network; another one's embeddings mean something else."""
    looks: tuple[Look, ...]

    def __post_init__(self) -> None:
        strict.check(self, label="", error=TaughtError, remedy=REMEDY)
        lengths = {len(look.embedding) for look in self.looks}
        if len(lengths) != 1:
            raise TaughtError(
                f"looks: got {len(self.looks)} of {len(lengths)} lengths; allowed: one or more, "
                f"all of one length. {REMEDY}"
            )

    @classmethod
    def from_reading(cls, placed: Placed, names: Sequence[str | None]) -> Taught:
        """Learn a set from one still's balls; ``None`` for those whose name is not known."""
        return cls(network=crops_fingerprint(), looks=_looks(placed, names))

    def with_still(self, placed: Placed, names: Sequence[str | None]) -> Taught:
        """The same set after one more still; only the newest looks of each name are kept."""
        self.check_network()
        looks = (*self.looks, *_looks(placed, names))
        kept = [
            look
            for k, look in enumerate(looks)
            if sum(later.id == look.id for later in looks[k + 1 :]) < LOOKS_KEPT
        ]
        return Taught(network=self.network, looks=tuple(kept))

    def check_network(self, path: str = "set") -> None:
        """Refuse looks that another release's network saw.

        Raises:
            TaughtError: the set was taught for other networks.
        """
        if self.network != crops_fingerprint():
            raise TaughtError(
                f"{path}.network: got {strict.shown(self.network)}; allowed: "
                f"{crops_fingerprint()!r}, that of this release. {REMEDY}"
            )

    @property
    def ids(self) -> tuple[str, ...]:
        """Names with at least one look, in the order of the balls."""
        known = {look.id for look in self.looks}
        return tuple(name for name in BALL_IDS if name in known)

    @property
    def mistrust(self) -> float:
        """Share of this set's balls that the network knows nothing of, 0 … 1.

        Its chance for a true name is a mixture of what it says and of 1 in 16; the share is
        found by expectation and maximisation from a start that trusts it.
        """
        chances = np.array([look.chance for look in self.looks])
        share = 0.1
        for _ in range(50):
            blind = share / len(BALL_IDS)
            guessed = blind / ((1 - share) * chances + blind)
            share = (guessed.sum() + DOUBTED) / (len(chances) + DOUBTED + TRUSTED)
        return float(share)

    def hint(self, embedding: FloatArray) -> Hint:
        """What the set says of balls with those embeddings (K, E)."""
        mistrust = self.mistrust
        out = np.zeros((len(embedding), len(BALL_IDS)))
        for name in self.ids:
            seen = np.array([look.embedding for look in self.looks if look.id == name])
            squared = ((embedding - seen.mean(axis=0)) ** 2).sum(axis=1)
            alike_sq, slope = SPREADS[_kind(name)]
            out[:, BALL_IDS.index(name)] = (1 + mistrust) * slope * (alike_sq - squared)
        return Hint(log_likelihood=np.clip(out, -MOST_AGAINST, MOST_FOR), mistrust=mistrust)

    def to_dict(self) -> dict[str, Any]:
        """JSON object of the set file."""
        return {
            "format": SET_FORMAT,
            "version": SET_VERSION,
            "network": self.network,
            "looks": [look.to_dict() for look in self.looks],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any], *, path: str = "set") -> Taught:
        """Inverse of ``to_dict``; refuses a set that was taught for other networks."""
        check_version(
            data, file_format=SET_FORMAT, version=SET_VERSION, path=path, remedy=REMEDY
        )  # fmt: skip
        each = strict.listed(lambda item, at: Look.from_dict(item, path=at), error=TaughtError)
        out = strict.build(
            cls, data, path=path, remedy=REMEDY, error=TaughtError, convert={"looks": each}
        )
        out.check_network(path)
        return out

    @classmethod
    def read(cls, path: Path) -> Taught:
        """The set in a file of ``restmark teach``."""
        data = read_json(path, file_format=SET_FORMAT, version=SET_VERSION, remedy=REMEDY)
        return cls.from_dict(data, path=str(path))

    def write(self, path: Path) -> None:
        """Write the set file, whole or not at all."""
        write_json(path, self.to_dict())


def _kind(name: str) -> str:
    """``cue``, ``solid`` or ``stripe``."""
    if name == "cue":
        return name
    return "solid" if int(name) <= LAST_SOLID else "stripe"


def _looks(placed: Placed, names: Sequence[str | None]) -> tuple[Look, ...]:
    if len(names) != len(placed.ball):
        raise TaughtError(
            f"names: got {len(names)} for {len(placed.ball)} balls; allowed: one a ball. "
            "Give None where a name is not known."
        )
    known = [name for name in names if name is not None]
    twice = sorted({name for name in known if known.count(name) > 1})
    if twice or not known:
        raise TaughtError(
            f"names: got {', '.join(twice) + ' more than once' if twice else 'none'}; allowed: "
            "one or more, each once. Correct the names."
        )
    chances = chances_alone(placed.names)
    return tuple(
        Look(
            id=name,
            chance=round(float(chances[k, BALL_IDS.index(name)]), 6) if name in BALL_IDS else 0.0,
            embedding=tuple(float(v) for v in np.round(placed.embedding[k], DECIMALS)),
        )
        for k, name in enumerate(names)
        if name is not None
    )
