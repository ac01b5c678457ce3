"""The computer's cameras that can be offered by a tap, without one being opened."""

from __future__ import annotations

from pathlib import Path

CAMERAS_OFFERED = 3
"""Numbers offered where the computer does not tell which cameras it has."""
_TOLD = Path("/sys/class/video4linux")


def cameras(told: Path = _TOLD) -> tuple[tuple[str, str], ...]:
    """Number and words of each, in their order."""
    found = []
    for device in told.glob("video*"):
        number = device.name.removeprefix("video")
        # one camera has several devices, and only the first gives pictures
        if number.isdecimal() and _line(device / "index") in ("", "0"):
            name = _line(device / "name").partition(":")[0]
            words = f"Camera {number}"
            found.append((int(number), f"{words}: {name}" if name else words))
    if found:
        return tuple((str(number), words) for number, words in sorted(found))
    return tuple((str(number), f"Camera {number}") for number in range(CAMERAS_OFFERED))


def _line(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8", errors="replace").strip()[:60]
    except OSError:
        return ""
