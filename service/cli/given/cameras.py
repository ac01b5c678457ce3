"""Several cameras on one command line: each ``--calibration`` with what follows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from typer.core import TyperCommand

from vision.layout import Layout

from .inputs import Entry, InputError, folder_entries
from .layouts import Ground
from .options import set_from

if TYPE_CHECKING:
    from calibration.kept.calibration import Calibration
    from vision.read_together import JointReader

OPTION = "--calibration"
Group = tuple[Path, tuple[str, ...]]
"""A camera's calibration file, and what followed it."""
_GROUPS = "restmark.groups"


class ByCalibration(TyperCommand):
    """A command whose arguments belong to the ``--calibration`` before them.

    The parser gathers all options and all arguments; which argument followed which option is seen
    by parsing each part of the line by itself.
    """

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Parse as usual, and keep the groups for ``groups_of``."""
        ctx.meta[_GROUPS] = [self._arguments(ctx, part) for part in _parts(args)]
        return super().parse_args(ctx, args)

    def _arguments(self, ctx: Any, part: list[str]) -> tuple[str, ...]:
        name = next(each.name for each in self.params if each.param_type_name == "argument")
        try:
            found, _, _ = self.make_parser(ctx).parse_args(list(part))
        except Exception:
            # whatever is wrong there is refused when the whole line is parsed
            return ()
        given = found.get(name) or ()
        return tuple(given) if isinstance(given, list | tuple) else (given,)


def _parts(args: Sequence[str]) -> list[list[str]]:
    """The line cut before every ``--calibration``; the first part may be empty."""
    out: list[list[str]] = [[]]
    for place, word in enumerate(args):
        if word == "--":
            out[-1] += args[place:]
            break
        if word == OPTION or word.startswith(f"{OPTION}="):
            out.append([])
        out[-1].append(word)
    return out


def groups_of(
    context: typer.Context, calibrations: Sequence[Path], *, one: str = "still"
) -> dict[str, Group]:
    """Camera's name → its calibration file and what followed it, as many of each.

    Raises:
        InputError: something stands before the first, or not as many follow each.
    """
    before, *after = context.meta[_GROUPS]
    if before:
        raise InputError(
            f"{before[0]}: stands before the first {OPTION}, and several were given; allowed: "
            f"each {OPTION} FILE followed by its camera's own {one}s. Put it behind its file."
        )
    counts = {len(group) for group in after}
    if len(counts) > 1 or 0 in counts:
        told = ", ".join(
            f"{len(group)} after {path}" for path, group in zip(calibrations, after, strict=True)
        )
        raise InputError(
            f"{one}s: got {told}; allowed: one or more of each camera, as many of all: the first "
            "of each belong together, and so on. Give them in their order."
        )
    return {
        name: (path, group)
        for (name, path), group in zip(camera_names(calibrations).items(), after, strict=True)
    }


def camera_names(calibrations: Sequence[Path]) -> Mapping[str, Path]:
    """Each camera by its calibration file's name, or its whole path where two are alike.

    Raises:
        InputError: one file twice.
    """
    stems = [path.stem for path in calibrations]
    names = [
        path.stem if stems.count(path.stem) == 1 else str(path.with_suffix(""))
        for path in calibrations
    ]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(
            f"{OPTION}: got {', '.join(twice)} more than once; allowed: one file a camera. Give "
            "each camera its own."
        )
    return dict(zip(names, calibrations, strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class JointGround(Ground):
    """The same where several cameras look at the table: each entry is a moment of all."""

    together: JointReader
    moments: Mapping[str, Mapping[str, bytes]]
    """Entry's name → camera → its still."""

    def layout(self, entry: Entry, *, previous: Layout | None = None) -> Layout:
        """What all cameras see of that moment."""
        stills = self.moments[entry.name]
        names = dict.fromkeys(stills, entry.name)
        found = self.together.read(stills, names=names, previous=previous)
        return replace(found, still=entry.name)


def joint_folders(
    groups: Mapping[str, Group], ball_set: Path | None
) -> tuple[JointGround, list[Entry]]:
    """Cameras with a folder of stills each, the same moments in the same order.

    Entries are the first camera's stills.

    Raises:
        InputError: not one folder each, folders of layouts, or not as many stills in each.
    """
    from calibration.kept.calibration import Calibration
    from vision.read_together import JointReader

    entries: dict[str, list[Entry]] = {}
    for name, (_, given) in groups.items():
        folder = Path(given[0])
        if len(given) > 1 or not folder.is_dir():
            raise InputError(
                f"{' '.join(given)}: is no folder, and several {OPTION} were given; allowed: one "
                "folder of stills behind each, or one camera or video behind each. Correct it."
            )
        entries[name] = folder_entries(folder)
        if any(entry.still is None for entry in entries[name]):
            raise InputError(
                f"{folder}: holds layouts, and several {OPTION} were given; allowed: stills of "
                "each camera. Give layouts that are joined already without --calibration."
            )
    counts = {name: len(found) for name, found in entries.items()}
    if len(set(counts.values())) > 1:
        told = ", ".join(f"{count} of {name}" for name, count in counts.items())
        raise InputError(
            f"folders: got {told}; allowed: as many stills of each camera, those of one moment in "
            "the same place of the order. Remove or add what is missing."
        )
    made = {name: Calibration.read(path) for name, (path, _) in groups.items()}
    taught = set_from(ball_set)
    first = next(iter(entries))
    moments = {
        main.name: {name: found[k].still or b"" for name, found in entries.items()}
        for k, main in enumerate(entries[first])
    }
    ground = JointGround(
        calibration=made[first], taught=taught, together=JointReader(made, taught=taught),
        moments=moments,
    )  # fmt: skip
    return ground, entries[first]


def watched_sources(
    groups: Mapping[str, Group],
) -> tuple[dict[str, str], dict[str, Calibration]]:
    """What each camera is watched by, and its calibration.

    Raises:
        InputError: several sources behind one.
    """
    from calibration.kept.calibration import Calibration

    for path, given in groups.values():
        if len(given) > 1:
            raise InputError(
                f"{given[1]}: got {len(given)} sources after {path}; allowed: one camera, video or "
                f"folder that fills behind each {OPTION}. Give one."
            )
    named = {name: given[0] for name, (_, given) in groups.items()}
    return named, {name: Calibration.read(path) for name, (path, _) in groups.items()}
