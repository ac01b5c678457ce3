"""What a joined layout says of its cameras and of balls that they see differently."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from calibration.arrays import FloatArray
from calibration.errors import RestmarkError
from calibration.notices import Notice

from .disagreeing import BEFORE, OTHERS, RAILS, Judged
from .same_balls import Seen
from .view import View

OWN_CODES = ("name-in-doubt", "names-alike", "seen-poorly", "hidden", "unusual-set")
"""What is said anew of the joined layout."""
_HOW = {
    OTHERS: "the other cameras agree",
    RAILS: "its rails are not where they were, and the others' are",
    BEFORE: "balls that the others saw lie still have shifted for it",
}


def away_notices(away: Mapping[str, RestmarkError]) -> list[Notice]:
    """A notice for each camera whose still is missing or could not be read."""
    return [
        Notice(
            code="camera-away",
            text=f"Camera {name} is not used: {refused.detail}",
            fields={"camera": name, "code": refused.code},
        )
        for name, refused in away.items()
    ]


def camera_notices(views: Sequence[View], found: Judged) -> list[Notice]:
    """What the cameras say of each other."""
    out = []
    for i, how in found.moved.items():
        name, worst = views[i].camera, found.worst_mm[i]
        fields = {**_off(found, i), "camera": name, "worst_mm": worst, "by": how}
        text = (
            f"Camera {name} was moved since its calibration: its places are off by up to "
            f"{worst:.1f} mm ({_HOW[how]}). They are set right by the others here; calibrate "
            "it anew."
        )
        out.append(Notice(code="camera-moved", text=text, fields=fields))
    if found.apart:
        names = [views[i].camera for i in found.apart]
        worst = max(found.worst_mm[i] for i in found.apart)
        out.append(
            Notice(
                code="cameras-apart",
                text=f"Cameras {' and '.join(names)} disagree by up to {worst:.1f} mm, more than "
                "their stated errors allow, and which is wrong cannot be told: errors are "
                "widened. Calibrate both anew.",
                fields={
                    "cameras": names,
                    "worst_mm": worst,
                    "offsets": [_off(found, i) for i in found.apart],
                },
            )
        )
    return out


def carried(view: View) -> list[Notice]:
    """What one camera's reading says that is not of balls, with the camera's name."""
    return [
        Notice(
            code=notice.code,
            text=f"Camera {view.camera}: {notice.text}",
            fields={**notice.fields, "camera": view.camera},
        )
        for notice in view.layout.notices
        if notice.code not in OWN_CODES
    ]


def far_apart_notices(
    views: Sequence[View],
    balls: Sequence[Seen],
    ids: Sequence[str],
    places_mm: FloatArray,
    doubt: FloatArray,
) -> list[Notice]:
    """A notice for each ball that its cameras see in different places."""
    out = []
    for k, ball in enumerate(balls):
        if doubt[k] <= 1:
            continue
        seen = np.array([views[i].places_mm[j] for i, j in ball.by.items()])
        far_mm = float(np.linalg.norm(seen[:, None] - seen[None], axis=2).max())
        x, y = (float(value) for value in places_mm[k])
        out.append(
            Notice(
                code="places-differ",
                text=f"Ball {ids[k]} at x {x:.0f}, y {y:.0f} mm: its cameras see it {far_mm:.1f} "
                "mm apart, more than their errors allow; its error is widened.",
                fields={"id": ids[k], "places_mm": [[x, y]], "apart_mm": far_mm,
                        "cameras": [views[i].camera for i in sorted(ball.by)]},
            )
        )  # fmt: skip
    return out


def lone_notices(
    views: Sequence[View],
    balls: Sequence[Seen],
    ids: Sequence[str],
    places_mm: FloatArray,
    lone: Mapping[int, tuple[int, ...]],
) -> list[Notice]:
    """A notice for each ball that a camera should see and does not."""
    out = []
    for k, blind in lone.items():
        x, y = (float(value) for value in places_mm[k])
        by = [views[i].camera for i in sorted(balls[k].by)]
        missing = [views[i].camera for i in blind]
        out.append(
            Notice(
                code="seen-by-few",
                text=f"Ball {ids[k]} at x {x:.0f}, y {y:.0f} mm is seen by {' and '.join(by)}, "
                f"and not by {' and '.join(missing)}, where nothing hides it.",
                fields={"id": ids[k], "places_mm": [[x, y]], "cameras": by, "missing": missing},
            )
        )
    return out


def poorly_seen(
    views: Sequence[View], balls: Sequence[Seen], ids: Sequence[str], places_mm: FloatArray
) -> list[Notice]:
    """A notice for each ball that every camera that sees it sees poorly."""
    poor = [
        {notice.fields["id"]: notice for notice in view.layout.notices if _is_poor(notice)}
        for view in views
    ]
    out = []
    for k, ball in enumerate(balls):
        said = [poor[i].get(views[i].layout.balls[j].id) for i, j in ball.by.items()]
        sigmas = [float(each.fields["sigma_mm"]) for each in said if each is not None]
        if len(sigmas) < len(ball.by):
            continue
        x, y = (float(value) for value in places_mm[k])
        sigma = min(sigmas)
        out.append(
            Notice(
                code="seen-poorly",
                text=f"Ball {ids[k]} at x {x:.0f}, y {y:.0f} mm is seen poorly by every camera: "
                f"{sigma:.1f} mm, 1 sigma, at best.",
                fields={"id": ids[k], "places_mm": [[x, y]], "sigma_mm": sigma},
            )
        )
    return out


def _is_poor(notice: Notice) -> bool:
    return notice.code == "seen-poorly" and {"id", "sigma_mm"} <= set(notice.fields)


def _off(found: Judged, i: int) -> dict[str, object]:
    x, y, turn = found.solved.off[i]
    return {"offset_mm": [float(x), float(y)], "turn_deg": float(np.degrees(turn))}
