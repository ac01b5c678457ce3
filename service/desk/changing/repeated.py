"""Which earlier layouts a reading's one may be, set up again."""

from __future__ import annotations

import math
from typing import Any

from service.desk.arriving.chains import chain_of
from service.desk.following.chain import reading_of
from service.desk.following.told import repeat_dict
from service.desk.refusals import no_outcome
from service.practice.between.repeats import repeats_among
from service.store import Reader
from service.words.lengths import Lengths, Units

OFFERED = 12
"""So many are told; nobody chooses among more."""


def repeats_at(reader: Reader, number: int, *, units: Units = Units.MM) -> list[dict[str, Any]]:
    """The earlier layouts of its table with the same balls, the nearest first, as JSON objects.

    Raises:
        NotFoundError: there is no such reading.
        DeskError: it is not live, or nothing lay there before it.
    """
    reading = reader.reading(number)
    calibration = reader.calibration(reading.calibration_id)
    if reading.outcome is None or not reading.live or calibration is None:
        raise no_outcome(
            number, "one that is not live" if reading.outcome else "one without an outcome"
        )
    chain = chain_of(reader, calibration, before=number)
    found = repeats_among(reading.layout, chain.known, within_mm=math.inf)[:OFFERED]
    out = []
    for repeat in found:
        still = reader.reading(reading_of(repeat.layout)).still
        off = Lengths(units=units, surface_mm=repeat.layout.surface_mm).text(repeat.worst_mm)
        out.append(
            repeat_dict(repeat, still.name)
            | {
                "received_at": still.received_at.isoformat(),
                "said": f"{still.name}: the farthest ball {off} off",
            }
        )
    return out
