"""Several views of one moment to one layout: every step in its order."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import RestmarkError
from vision.layout import (
    AGREES,
    ALONE,
    APART,
    AWAY,
    BALL_IDS,
    MOVED,
    Ball,
    CameraPart,
    Layout,
    as_cov,
)
from vision.name.history import LOOKS_APART, UNMOVED_MM, look_of
from vision.name.identify import Name, alike, name_by_looks
from vision.name.unusual import notice_of, unusual
from vision.noticed import doubts, hiding_notices
from vision.place.apart import keep_apart

from .disagreeing import Judged, judged
from .errors import JoinError
from .places import solve_doubting
from .said import (
    away_notices,
    camera_notices,
    carried,
    far_apart_notices,
    lone_notices,
    poorly_seen,
)
from .same_balls import Seen, same_balls
from .unseen import is_clear, seen_by_none
from .view import View, check_one_table

COMMON_SHARE = 0.5
"""Share of the balls that two cameras should both see of which they must see the same."""
FEWEST_COMMON = 3
"""With fewer such balls nothing can be told of it."""


def join_views(
    views: Sequence[View],
    *,
    away: Mapping[str, RestmarkError] | None = None,
    previous: Layout | None = None,
) -> Layout:
    """One layout of what all views see; ``away`` tells why cameras gave none.

    ``previous`` is the joined layout before: names that a person said hold for balls that have not
    moved, and what each camera saw then tells which was moved. Each view's own reading must not
    have been given the joined one before, or looks would count twice.

    Raises:
        JoinError: not one table (``other-table``), a camera twice (``same-name``), none
            (``no-views``), or balls that lie elsewhere for each (``other-moment``).
    """
    check_one_table(tuple(views))
    missing = away or {}
    balls = _most(views, same_balls(views))
    found = judged(views, balls, previous)
    _check_one_moment(views, balls, found)
    # the same cameras as judged, and balls that do not fit by themselves
    solved, doubt = solve_doubting(views, balls, found.freed, found.solved)
    table = views[0].calibration.table
    places = keep_apart(solved.places_mm, solved.cov_mm2, table)
    looks = _looks(views, balls)
    names = name_by_looks(looks, _said(views, balls, looks, places, previous))
    lone = _lone(views, balls, places)
    made = _balls(views, balls, names, places, solved.cov_mm2, lone)
    hidden = seen_by_none(views, places)
    ids = [name.id for name in names]
    notices = (
        *away_notices(missing),
        *camera_notices(views, found),
        *(notice for view in views for notice in carried(view)),
        *far_apart_notices(views, balls, ids, places, doubt),
        *lone_notices(views, balls, ids, places, lone),
        *alike(looks, places, names=names),
        *doubts(made),
        *poorly_seen(views, balls, ids, places),
        *hiding_notices(hidden),
    )
    layout = Layout(
        still=" + ".join(view.layout.still for view in views),
        surface_mm=table.surface_mm,
        balls=made,
        settled=all(view.layout.settled for view in views),
        obstructed=any(view.layout.obstructed for view in views),
        hidden_mm=hidden,
        notices=notices,
        cameras=(
            *(_part(views, balls, found, i) for i in range(len(views))),
            *(CameraPart(camera=name, state=AWAY) for name in missing),
        ),
    )
    return _with_set(layout, views)


def _most(views: Sequence[View], balls: tuple[Seen, ...]) -> tuple[Seen, ...]:
    """At most sixteen: those that most cameras see, surest first."""

    def sure(ball: Seen) -> tuple[int, float]:
        return len(ball.by), max(views[i].layout.balls[k].confidence for i, k in ball.by.items())

    return tuple(sorted(balls, key=sure, reverse=True)[: len(BALL_IDS)])


def _check_one_moment(views: Sequence[View], balls: Sequence[Seen], found: Judged) -> None:
    places = found.solved.places_mm
    for j in range(len(views)):
        for i in range(j):
            either = [
                k
                for k, ball in enumerate(balls)
                if (i in ball.by or j in ball.by)
                and (i in ball.by or is_clear(views[i], places[k]))
                and (j in ball.by or is_clear(views[j], places[k]))
            ]
            both = sum(i in balls[k].by and j in balls[k].by for k in either)
            if len(either) >= FEWEST_COMMON and both < COMMON_SHARE * len(either):
                one, other = views[i].camera, views[j].camera
                raise JoinError(
                    f"cameras {one} and {other}: got {both} balls in the same place of "
                    f"{len(either)} that both should see; allowed: {COMMON_SHARE:.0%} or more. "
                    "Take both stills at one moment; if they were, one camera has moved far: "
                    "calibrate both anew.",
                    code="other-moment",
                    fields={"cameras": [one, other], "same": both, "of": len(either)},
                )


def _looks(views: Sequence[View], balls: Sequence[Seen]) -> FloatArray:
    """Log probabilities (K, 16) of names by what all cameras see of each ball: sums of theirs."""
    out = np.zeros((len(balls), len(BALL_IDS)))
    for row, ball in zip(out, balls, strict=True):
        for i, k in ball.by.items():
            row += look_of(views[i].layout.balls[k])
        row -= np.logaddexp.reduce(row)
    return out


def _said(
    views: Sequence[View],
    balls: Sequence[Seen],
    looks: FloatArray,
    places: FloatArray,
    previous: Layout | None,
) -> tuple[str | None, ...]:
    """Names that a person gave, to a camera's own layout or to the joined one before."""
    out: list[str | None] = []
    for ball, look, place in zip(balls, looks, places, strict=True):
        own = [views[i].layout.balls[k] for i, k in ball.by.items()]
        given = next((each.id for each in own if each.said), None)
        if given is None and previous is not None:
            given = next(
                (
                    was.id
                    for was in previous.balls
                    if was.said
                    and np.hypot(*(np.array(was.centre_mm) - place)) < UNMOVED_MM
                    and np.exp(look + look_of(was)).sum() > LOOKS_APART
                ),
                None,
            )
        out.append(None if given in out else given)
    return tuple(out)


def _lone(
    views: Sequence[View], balls: Sequence[Seen], places: FloatArray
) -> dict[int, tuple[int, ...]]:
    """Balls that a view should see and does not: number of the ball → those views."""
    out = {}
    for k, ball in enumerate(balls):
        blind = tuple(
            i for i, view in enumerate(views) if i not in ball.by and is_clear(view, places[k])
        )
        if blind:
            out[k] = blind
    return out


def _balls(
    views: Sequence[View],
    balls: Sequence[Seen],
    names: Sequence[Name],
    places: FloatArray,
    cov: FloatArray,
    lone: Mapping[int, tuple[int, ...]],
) -> tuple[Ball, ...]:
    made = [
        Ball(
            id=name.id,
            x_mm=float(places[k, 0]),
            y_mm=float(places[k, 1]),
            cov_mm2=as_cov(cov[k]),
            confidence=name.confidence,
            doubtful=name.doubtful or k in lone,
            runners_up=name.runners_up,
            look=name.look,
            said=name.said,
            seen_by=tuple(views[i].camera for i in sorted(balls[k].by)),
        )
        for k, name in enumerate(names)
    ]
    return tuple(sorted(made, key=lambda ball: -1 if ball.id == "cue" else int(ball.id)))


def _part(views: Sequence[View], balls: Sequence[Seen], found: Judged, i: int) -> CameraPart:
    view = views[i]
    shared = any(i in ball.by and len(ball.by) > 1 for ball in balls)
    state = AGREES if shared else ALONE
    if i in found.apart:
        state = APART
    if i in found.moved or view.moved_by_rails:
        state = MOVED
    x, y, turn = found.solved.off[i]
    return CameraPart(
        camera=view.camera,
        still=view.layout.still,
        state=state,
        offset_mm=(float(x), float(y)),
        turn_deg=float(np.degrees(turn)),
        sigma_mm=float(found.solved.off_sigma_mm[i]),
        layout=view.layout,
    )


def _with_set(layout: Layout, views: Sequence[View]) -> Layout:
    """What it says of a ball set of its own, where a camera's reading said so."""
    if not any(view.layout.unlike for view in views):
        return layout
    found = unusual([layout])
    if found is None:
        return layout
    return replace(layout, unlike=found.unlike, notices=(*layout.notices, notice_of(found, layout)))
