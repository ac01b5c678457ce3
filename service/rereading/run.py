"""An archive read again, from what is missing to the last batch; a restart goes on where it was."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field

from service.store import Store

from .keeping import Kept
from .pool import Pool, SchedulerLostError, joined_pool, own_pool
from .stills import check
from .wanted import Target, plan

PATIENCE_S = 60.0
"""A scheduler that went is asked for so long whether it is back."""
_ASK_AGAIN_S = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far it is."""

    done: int
    """Stills of this run, refused ones too."""
    total: int
    workers: int
    seconds: float
    """Since the first batch was asked for."""

    @property
    def per_s(self) -> float:
        """Stills a second."""
        return self.done / self.seconds if self.seconds > 0 else 0.0

    @property
    def left_s(self) -> float | None:
        """Time left at that rate; None before anything came back."""
        return (self.total - self.done) / self.per_s if self.per_s > 0 else None


@dataclass(slots=True, kw_only=True)
class Done:
    """What a run did."""

    read: int = 0
    """New readings."""
    read_before: int = 0
    """Stills that were read so before it."""
    refused: Counter[str] = field(default_factory=Counter)
    """By the code, those of earlier runs too."""
    gone: int = 0
    """Stills whose bytes were not to be had: the next run tries them again."""
    seconds: float = 0.0
    workers: int = 0
    reconnected: int = 0
    """How often the scheduler went and came back."""


Tell = Callable[[Progress], None]


def reread_all(
    store: Store,
    target: Target,
    *,
    stills: str | None = None,
    scheduler: str | None = None,
    workers: int | None = None,
    tell: Tell = lambda _progress: None,
    patience_s: float = PATIENCE_S,
) -> Done:
    """Read what is missing, by ``workers`` processes of this machine or those of ``scheduler``.

    ``stills`` is where bytes come from, as the workers see it; None: the store's own folder.

    Raises:
        RereadError: no extra, no such place, another release at a worker; SchedulerLostError
            where the scheduler stayed away for ``patience_s``. What was kept stays kept.
    """
    if stills is not None:
        check(stills)
    source = str(store.files.folder.resolve()) if stills is None else stills
    kept = Kept(store, target, source)
    run = _Run(store=store, target=target, kept=kept, tell=tell)
    if not run.missing():
        return run.done

    def pool(timeout_s: float) -> AbstractContextManager[Pool]:
        if scheduler is None:
            return own_pool(workers)
        return joined_pool(scheduler, timeout_s=timeout_s)

    with pool(10.0) as first:
        try:
            run.go(first)
            return run.done
        except SchedulerLostError:
            if scheduler is None:
                raise
    run.go_on(pool, patience_s)
    return run.done


@dataclass(slots=True, kw_only=True)
class _Run:
    store: Store
    target: Target
    kept: Kept
    tell: Tell
    done: Done = field(default_factory=Done)
    began: float = field(default_factory=time.monotonic)

    def missing(self) -> bool:
        """Whether there is anything to do."""
        found = plan(self.store, self.target, self.kept.refusals)
        self.done.read_before = found.read
        self.done.refused = Counter(found.refused)
        return found.stills > 0

    def go(self, pool: Pool) -> None:
        """Everything that is missing now, over those workers."""
        missing = plan(self.store, self.target, self.kept.refusals)
        total, count = missing.stills, 0
        self.done.gone = 0
        workers, began = pool.workers, time.monotonic()
        self.done.workers = max(self.done.workers, workers)
        try:
            for batch, read in pool.results(self.kept.batches(missing, workers)):
                self.done.read += self.kept.keep(batch, read)
                for refused in read.refused:
                    if refused.lasting:
                        self.done.refused[refused.code] += 1
                    else:
                        self.done.gone += 1
                count += batch.stills
                seconds = time.monotonic() - began
                self.tell(Progress(done=count, total=total, workers=workers, seconds=seconds))
        finally:
            self.done.seconds = time.monotonic() - self.began

    def go_on(
        self, pool: Callable[[float], AbstractContextManager[Pool]], patience_s: float
    ) -> None:
        """Go on once the scheduler is back."""
        until = time.monotonic() + patience_s
        while True:
            try:
                with pool(_ASK_AGAIN_S) as back:
                    self.done.reconnected += 1
                    until = time.monotonic() + patience_s
                    self.go(back)
                    return
            except SchedulerLostError:
                if time.monotonic() > until:
                    raise
                time.sleep(_ASK_AGAIN_S / 4)
