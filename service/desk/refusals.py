"""What the desk itself refuses; whoever asks, over HTTP or not, branches on the code."""

from __future__ import annotations

from collections.abc import Sequence

from calibration.errors import RestmarkError
from service.store import FIRST, OVERHEAD


class DeskError(RestmarkError):
    """What was asked cannot be done as things stand on the desk."""


def no_calibration(table_id: int = FIRST) -> DeskError:
    """What is said where a table needs a calibration and none was set."""
    asked = "" if table_id == FIRST else f"?table={table_id}"
    return DeskError(
        f"calibration: none is set for table {table_id}; allowed: stills and intents once there "
        f"is one. Make table.json with `restmark calibrate` and PUT it to "
        f"/api/v1/calibration{asked}.",
        code="no-calibration",
    )


def unknown_camera(camera: str, cameras: Sequence[str], table_id: int = FIRST) -> DeskError:
    """What is said to a still of a camera that is not calibrated."""
    return DeskError(
        f"camera: got {camera!r} at table {table_id}; allowed: {', '.join(cameras)}. Calibrate "
        f"that camera first, or PUT its table.json to /api/v1/calibration?camera={camera}.",
        code="unknown-camera",
        fields={"camera": camera, "cameras": list(cameras)},
    )


def first_camera_stays(table_id: int) -> DeskError:
    """What is said to whoever takes the camera away that tells where the table is."""
    return DeskError(
        f"camera: got the first one of table {table_id}; allowed: a further camera. The first "
        "camera's calibration is replaced by a newer one: calibrate it anew.",
        code="first-camera",
        fields={"camera": OVERHEAD},
    )


def no_still_of(camera: str, wait_s: float) -> DeskError:
    """Why a camera is left out of a moment: its still did not come in time."""
    return DeskError(
        f"no still of it came within {wait_s:g} s of the others'.",
        code="no-still",
        fields={"camera": camera, "wait_s": wait_s},
    )


def no_still(camera: str) -> DeskError:
    """Why a camera is left out of a moment that is read again: none of its stills was kept."""
    return DeskError("no still of it is kept.", code="no-still", fields={"camera": camera})


def table_busy(table_id: int, most: int) -> DeskError:
    """What is said to a still where too much waits at its table."""
    return DeskError(
        f"table {table_id}: {most} stills or changes wait there already; allowed: fewer. Send it "
        "again in a moment, and stills no faster than they are answered.",
        code="table-busy",
        fields={"wait_s": 2},
    )


def no_layout() -> DeskError:
    """What is said to an intent that comes before any layout."""
    return DeskError(
        "intent: got one before any layout; allowed: an intent after a still of the "
        "clear table was read. Post that still first.",
        code="no-layout",
    )


def no_intent() -> DeskError:
    """What is said where a pending intent is asked for and there is none."""
    return DeskError(
        "intent: none is pending; allowed: one that waits for its shot. PUT one to "
        "/api/v1/intent after the still before the shot.",
        code="no-intent",
    )


def key_reused(key: str) -> DeskError:
    """What is said to another still under a key that was used."""
    return DeskError(
        f"Idempotency-Key: got {key!r}, which another still came with; allowed: "
        "the same still under the same name. Use a new key.",
        code="idempotency-key-reused",
    )


def later_correction(got: int, last: int) -> DeskError:
    """What is said where a correction is taken back that others stand on."""
    return DeskError(
        f"correction: got number {got}, and later ones stand on it; allowed: the last, "
        f"{last}. Take that one back first.",
        code="later-correction",
    )


def no_attempt() -> DeskError:
    """What is said where the last attempt is asked for and there is none."""
    return DeskError(
        "attempt: none was made at this table yet; allowed: the last one's shot again or its "
        "mirror image. Play a shot with an intent first.",
        code="no-attempt",
    )


def not_the_last(got: int, last: int | None) -> DeskError:
    """What is said where another attempt than the last is to be reopened."""
    held = "none counts" if last is None else f"the last one at its table, {last}"
    return DeskError(
        f"attempt: got number {got}; allowed: {held}, taken live. Strike an older one instead.",
        code="not-the-last",
        fields={"attempt_id": got, "last_id": last},
    )


def nothing_to_undo() -> DeskError:
    """What is said where every change by hand is taken back already."""
    return DeskError(
        "undo: no change by hand is left; allowed: attempts struck, restored, reopened or noted, "
        "names and outcomes put right, and shots of a plan skipped, since the store was made. "
        "There is nothing to do.",
        code="nothing-to-undo",
    )


def no_practice() -> DeskError:
    """What is said where a practice is asked for and none is open."""
    return DeskError(
        "practice: none is open at this table; allowed: one that was begun. POST one to "
        "/api/v1/practices.",
        code="no-practice",
    )


def no_skip(got: str, due: int | None = None) -> DeskError:
    """What is said where no shot of a plan can be skipped, or another one is next."""
    allowed = "the next shot of an open practice's plan" if due is None else f"the next one, {due}"
    return DeskError(
        f"skip: got {got}; allowed: {allowed}. Look at the practice's `next`.",
        code="no-skip",
        fields={"next": due},
    )


def no_outcome(number: int, got: str) -> DeskError:
    """What is said where what happened before a reading cannot be put right."""
    return DeskError(
        f"reading {number}: got {got}; allowed: a live one with an outcome. Strike an attempt that "
        "is none instead.",
        code="no-outcome",
    )
