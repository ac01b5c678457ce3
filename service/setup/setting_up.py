"""The set-up of one service: what is in memory, and what may be asked of it."""

from __future__ import annotations

import asyncio
import functools
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any, TypeVar

from calibration.lens.file import Lens
from calibration.seen.points import GivenPoint
from service.desk.arriving.upload import Upload
from service.desk.desk import Desk
from service.desk.refusals import no_calibration
from service.desk.stored import calibration_of, player_now
from service.position import Player
from service.store import Reader as StoreReader
from vision.layout import Layout
from vision.read import Reader

from . import calibrating
from .asked import Asked
from .host import HostSources
from .lens.files import KeptLens, LensFiles
from .lens.guided_board import GuidedBoard
from .proposal import Proposal
from .reaching import Place, Reach, learn
from .refusals import gone
from .shelf import Shelf
from .stills import MOST_STILL_BYTES, MOST_STILLS, SetupStill
from .work import Task, Workshop

T = TypeVar("T")
MOST_BOARDS = 3
MOST_LAYOUTS = 48


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedPlace:
    """A still of a just reachable place, by number."""

    still: str
    bridge: bool = False
    side: str | None = None


class SettingUp:
    """Everything of the set-up; any thread may ask."""

    def __init__(self, desk: Desk, *, sources: HostSources | None = None) -> None:
        self._desk = desk
        self.lenses = LensFiles(desk.store.data_dir)
        self.sources = HostSources() if sources is None else sources
        self._stills: Shelf[SetupStill] = Shelf(
            "still", most=MOST_STILLS, most_bytes=MOST_STILL_BYTES
        )
        self._boards: Shelf[GuidedBoard] = Shelf("lens board", most=MOST_BOARDS)
        self._layouts: Shelf[Layout] = Shelf("layout", most=MOST_LAYOUTS)
        self._work = Workshop()
        self._threads = ThreadPoolExecutor(max_workers=2, thread_name_prefix="restmark-stills")

    def close(self) -> None:
        """Finish what is under way and give the camera back."""
        self.sources.close()
        self._threads.shutdown(wait=True, cancel_futures=True)
        self._work.close()

    # -- stills ----------------------------------------------------------------------------

    async def soon(self, work: Callable[..., T], *arguments: object) -> T:
        """``work(*arguments)`` in a thread of the set-up's own, so that nobody else waits."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._threads, functools.partial(work, *arguments))

    def add_still(self, data: bytes, name: str) -> tuple[str, SetupStill]:
        """Keep a still in memory; its number. StillError where it is none."""
        return self._kept(SetupStill.of(data, name=name))

    def host_still(self, named: str) -> tuple[str, SetupStill]:
        """Take a still from a source of the host; SourceError where it has none."""
        return self._kept(self.sources.still(named))

    def live_picture(self, named: str) -> tuple[bytes, str]:
        """What the host's source shows now: bytes and media type."""
        return self.sources.still(named).shown()

    def still(self, number: str) -> SetupStill:
        """The still of that number; SetupError where it is not kept any more."""
        return self._stills.get(number)

    def upload(self, number: str, table_id: int) -> Upload:
        """A still as the desk takes it, to be read and kept at that table like any other."""
        still = self.still(number)
        key = f"setup-{number}-{table_id}"
        return Upload(data=still.data, name=still.name, key=key, table_id=table_id)

    # -- calibration -----------------------------------------------------------------------

    def begin_calibration(
        self,
        *,
        still: str,
        lens: str | None = None,
        ball_check: str | None = None,
        points: Sequence[GivenPoint] = (),
        **told: Any,
    ) -> Task[Proposal]:
        """Have a calibration worked out; ``told`` are the other fields of ``Asked``.

        Raises:
            RestmarkError: a still or lens is gone, or what was told cannot be.
        """
        asked = Asked(
            still=self.still(still),
            lens=None if lens is None else self.lenses.get(lens).lens,
            ball_check=None if ball_check is None else self.still(ball_check),
            points=tuple(points),
            **told,
        )
        # what cannot be is said at once, not when its turn comes
        asked.table()
        asked.known()
        return self._work.begin(calibrating.KIND, lambda task: calibrating.propose(asked, task))

    def proposal(self, number: str) -> Proposal:
        """The calibration of that number.

        Raises:
            SetupError: there is none, or none yet.
        """
        task = self.task(number)
        if task.kind != calibrating.KIND:
            raise gone("calibration", number)
        result = task.result
        assert isinstance(result, Proposal)
        return result

    # -- lens ------------------------------------------------------------------------------

    def begin_board(self, paper: str, *, ruler_mm: float | None) -> tuple[str, GuidedBoard]:
        """Begin to show a lens board; CalibrationError for an unknown paper or bar."""
        board = GuidedBoard(paper, ruler_mm=ruler_mm)
        return self._boards.put(board), board

    def board(self, number: str) -> GuidedBoard:
        """The lens board of that number; SetupError where it is not kept any more."""
        return self._boards.get(number)

    def begin_board_still(self, board: str, still: str) -> Task[GuidedBoard]:
        """Have a still looked at for the board."""
        shown, taken = self.board(board), self.still(still)

        def work(task: Task[GuidedBoard]) -> GuidedBoard:
            task.tell("Looking for the board", 0.2)
            return shown.take(still, taken)

        return self._work.begin("board-still", work)

    def begin_lens(self, board: str) -> Task[KeptLens]:
        """Have the lens worked out from what the board showed, and kept."""
        shown = self.board(board)

        def work(task: Task[KeptLens]) -> KeptLens:
            task.tell("Working out the lens", 0.2)
            return self.lenses.keep(shown.lens())

        return self._work.begin("lens", work)

    def add_lens(self, document: dict[str, Any]) -> KeptLens:
        """Keep a lens file made elsewhere; FileFormatError where it is none."""
        return self.lenses.keep(Lens.from_dict(document, path="lens"))

    # -- reach -----------------------------------------------------------------------------

    def begin_reach(
        self,
        reader: StoreReader,
        table_id: int,
        places: Sequence[AskedPlace],
        handedness: str | None,
    ) -> Task[Reach]:
        """Have the reach of whoever plays at that table worked out from just reachable places.

        Raises:
            RestmarkError: there is no such table, it is not calibrated, or a still is gone.
        """
        stills = [self.still(place.still) for place in places]
        record = reader.calibration(table_id=reader.table(table_id).id)
        if record is None:
            raise no_calibration(table_id)
        player = player_now(reader, table_id) or Player()
        made = calibration_of(record)
        known = self._desk.ball_set_at(table_id).current
        taught = None if known is None else known.taught

        def work(task: Task[Reach]) -> Reach:
            eye = Reader(made, taught=taught)
            read = []
            for done, (place, still) in enumerate(zip(places, stills, strict=True)):
                task.tell("Looking where the balls lie", 0.1 + 0.7 * done / len(places))
                key = f"{record.id} {place.still}"
                layout = self._layout(key, still, eye)
                read.append(Place(layout=layout, bridge=place.bridge, side=place.side))
            task.tell("Working out the reach", 0.85)
            return learn(read, made.table, player, handedness)

        return self._work.begin("reach", work)

    # -- work ------------------------------------------------------------------------------

    def task(self, number: str) -> Task[Any]:
        """A piece of work by number; SetupError where it is not kept any more."""
        return self._work.task(number)

    def _kept(self, still: SetupStill) -> tuple[str, SetupStill]:
        return self._stills.put(still, size_bytes=len(still.data)), still

    def _layout(self, key: str, still: SetupStill, eye: Reader) -> Layout:
        """What lies on the table in a still; read once a calibration."""
        if key not in self._layouts:
            layout = eye.read_still(still.data, name=still.name)
            self._layouts.put(layout, number=key)
        return self._layouts.get(key)
