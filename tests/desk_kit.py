"""A desk without HTTP whose stills carry their layouts, and the shortest words for a practice."""

from __future__ import annotations

import numpy as np
from api_kit import CALIBRATION, stand_in_read, taken
from store_kit import open_store

from service.desk.arriving import Upload
from service.desk.desk import Desk
from service.desk.live import Live
from vision.layout import Ball, Layout

READ_MM = 0.2
"""Spread of a ball's place between two stills of one table, per axis; well inside its stated
error."""
COV_MM2 = ((0.09, 0.0), (0.0, 0.09))
PLACES = {"cue": (1500.0, 400.0), "3": (2100.0, 900.0), "4": (900.0, 300.0), "9": (300.0, 1000.0)}
"""A layout with an easy shot: the 3 into the foot-left pocket, then the 4."""
INTENT = {"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right"}


class AtTheTable:
    """A table with its desk; every still is what ``places`` are, read with its noise."""

    def __init__(self, data_dir, *, table_id: int = 1) -> None:
        self._open(data_dir)
        self.table_id = table_id
        self.rng = np.random.default_rng(7)
        self.places = dict(PLACES)
        self.desk.set_calibration(CALIBRATION.to_dict())

    def again(self, data_dir) -> None:
        """The service ends and is started again."""
        self.desk.close()
        self._open(data_dir)

    def _open(self, data_dir) -> None:
        store = open_store(data_dir, hold=True)
        self.desk = Desk(store, Live(store), stand_in_read)

    def layout(self, **more) -> Layout:
        balls = tuple(
            Ball(id=name, x_mm=x, y_mm=y, cov_mm2=COV_MM2, **more.get("balls", {}).get(name, {}))
            for name, (x, y) in (
                (name, np.array(at) + self.rng.normal(0, READ_MM, 2))
                for name, at in self.places.items()
            )
        )
        flags = {name: more[name] for name in ("settled", "obstructed") if name in more}
        return Layout(still="", surface_mm=(2540.0, 1270.0), balls=balls, **flags)

    def still(self, name: str = "still.jpg", **more) -> dict:
        """Take a still of the table as it lies, and have it taken in."""
        upload = Upload(data=taken(self.layout(**more)), name=name, table_id=self.table_id)
        return dict(self.desk.take(upload).body)

    def lay(self, **places) -> None:
        """Balls at other places by hand; None takes one away."""
        for name, at in places.items():
            name = name.removeprefix("b")
            if at is None:
                self.places.pop(name, None)
            else:
                self.places[name] = at

    def shoot(self, stop=(1100.0, 700.0), *, potted: bool = True) -> dict:
        """The 3 potted, or hit and missed; the cue ball stops there. Returns the still's answer."""
        self.places["cue"] = stop
        if potted:
            self.places.pop("3", None)
        else:
            self.places["3"] = (2380.0, 1100.0)
        return self.still()

    def set_up(self, places=None, *, off_mm: float = 4.0) -> dict:
        """A layout laid again by hand, each ball a little off."""
        chosen = PLACES if places is None else places
        self.places = {
            name: tuple(np.array(at) + self.rng.normal(0, off_mm, 2)) for name, at in chosen.items()
        }
        return self.still()

    def intend(self, intent=None):
        return self.desk.set_intent(INTENT if intent is None else intent, self.table_id)

    def pending(self):
        with self.desk.store.reading() as reader:
            return reader.pending_intent(self.table_id)

    def attempts(self, **more):
        with self.desk.store.reading() as reader:
            return reader.attempts(**more)
