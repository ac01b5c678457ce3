"""Counts, cost and what changed, as sentences; each takes the JSON object of what it tells."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any


def time_said(seconds: float) -> str:
    """A time as somebody waits it."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"


def estimate_lines(found: Mapping[str, Any]) -> Iterator[str]:
    """What reading it again would take."""
    yield (
        f"{_stills(found['stills'])} to read, {found['size_bytes'] / 1e6:.0f} MB; read so already: "
        f"{found['read_before']}"
    )
    for group in found["groups"]:
        named = "" if group["set"] is None else f", ball set {group['set']}"
        yield (
            f"  table {group['table']}, {_calibrations(group)}{named}: {_stills(group['stills'])}"
        )
    yield from _refused(found["refused_before"], "refused before, not tried again")
    if found["core_hours"] is not None:
        yield (
            f"{found['still_ms']:.0f} ms a still on one core here, as three of them just took: "
            f"{time_said(found['core_hours'] * 3600)} of one core, over N workers an Nth of it"
        )


def _calibrations(group: Mapping[str, Any]) -> str:
    by = [f"{camera} {number}" for camera, number in group["cameras"].items()]
    return f"calibrations {', '.join(by)}" if by else f"calibration {group['calibration']}"


def done_lines(found: Mapping[str, Any]) -> Iterator[str]:
    """What a run did."""
    rate = found["read"] / found["seconds"] if found["seconds"] else 0.0
    took = f" in {time_said(found['seconds'])}, {rate:.1f} a second" if found["read"] else ""
    yield f"read: {_stills(found['read'])}{took}; read so before: {found['read_before']}"
    yield from _refused(found["refused"], "refused, not tried again")
    if found["gone"]:
        yield (
            f"not to be had: {_stills(found['gone'])}; the same command tries them again, once "
            "their files are there"
        )


def compared_lines(found: Mapping[str, Any]) -> Iterator[str]:
    """What differs between the readings made now and those that the tables go by."""
    if not found["stills"]:
        yield "nothing to compare: no still has a new reading beside the one its table goes by"
        return
    far = found["median_moved_mm"]
    middle = "" if far is None else f", half of these by {far:.1f} mm or less"
    yield f"compared: {_stills(found['stills'])}, {found['balls']} balls at their old places"
    yield (
        f"moved beyond both errors together (95 %): {found['moved']}{middle}; farthest of all "
        f"{found['farthest_mm']:.1f} mm"
    )
    yield (
        f"renamed: {found['renamed']}, {found['renamed_sure']} of them undoubted before and now"
        + (f"; {found['against_a_person']} against a person" if found["against_a_person"] else "")
    )
    yield f"new places: {found['appeared']}; places gone: {found['gone']}"
    if found["obstructed_now"] or found["obstructed_before"]:
        yield (
            f"obstructed now: {found['obstructed_now']}; no longer: {found['obstructed_before']}"
        )
    yield f"verdicts changed: {found['verdicts_changed']} of {found['attempts']} attempts"
    for change in found["verdicts"]:
        if change["before"] != change["now"]:
            yield f"  {change['before']} → {change['now']}: {change['attempts']}"
    for example in found["examples"]:
        names = ", ".join(f"{each['before']} → {each['now']}" for each in example["renamed"])
        yield f"  still {example['still_id']} ({example['still']}): {names}"
    if found["spoken_of"]:
        yield (
            f"{_stills(found['spoken_of'])} whose names a person said: left as they are whatever "
            "is adopted"
        )


def adopted_lines(found: Mapping[str, Any]) -> Iterator[str]:
    """What was put in the place of what."""
    yield (
        f"adopted: {found['readings']} readings, {found['attempts']} attempts judged again; the "
        "older findings stand beside them"
    )
    if found["left"]:
        yield f"left as they are, a person said names there: {_stills(found['left'])}"
    if found["not_judged"]:
        yield (
            f"{found['not_judged']} attempts cannot be judged on what is read now: their verdict "
            "stays"
        )
    if found["copy"]:
        yield f"the database as it was: {found['copy']}"


def _refused(counted: Mapping[str, int], words: str) -> Iterator[str]:
    if counted:
        codes = ", ".join(f"{count} {code}" for code, count in sorted(counted.items()))
        yield f"{words}: {_stills(sum(counted.values()))} ({codes})"


def _stills(count: int) -> str:
    return f"{count} still{'' if count == 1 else 's'}"
