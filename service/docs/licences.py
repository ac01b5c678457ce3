"""``python -m service.docs.licences`` writes the page on licences from what is installed.

The page lists what Restmark itself asks for, and all that comes with it in this environment.
"""

from __future__ import annotations

import re
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

_LONGEST = 60
_HEAD = (
    "# Licences of what Restmark stands on\n\n"
    "Restmark is under AGPL-3.0-or-later (`LICENSE`). The default install brings these packages, "
    "as they say themselves; `python -m service.docs.licences` writes this page from an "
    "environment.\n\n| package | licence | asked for by |\n|---|---|---|\n"
)


def main() -> None:
    """Write the page."""
    found = closure("restmark")
    rows = [
        f"| {name} | {licence_of(found[name][0])} | {found[name][1]} |" for name in sorted(found)
    ]
    Path(__file__).with_suffix(".md").write_text(_HEAD + "\n".join(rows) + "\n", encoding="utf-8")


def closure(root: str) -> dict[str, tuple[Distribution, str]]:
    """All that an install of ``root`` brings without extras: the package, and who asks for it."""
    out: dict[str, tuple[Distribution, str]] = {}
    waiting = [root]
    while waiting:
        asker = waiting.pop(0)
        for requirement in distribution(asker).requires or ():
            name = re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0].lower()
            name = re.sub(r"[-_.]+", "-", name)
            if "extra ==" in requirement or name in out:
                continue
            try:
                out[name] = (distribution(name), asker)
            except PackageNotFoundError:
                continue  # of another system
            waiting.append(name)
    return out


def said_of(found: Distribution, field: str) -> str | None:
    """What a package's metadata says first under that name, where it says anything.

    Asked by ``get_all``: another package's reader of metadata may have taken the library's place,
    and ``[]`` of that raises where nothing is said.
    """
    return next(iter(found.metadata.get_all(field) or ()), None)


def licence_of(found: Distribution) -> str:
    """The licence as the package states it, in few words."""
    said = found.metadata
    kinds = [
        each.rpartition(" :: ")[2]
        for each in said.get_all("Classifier") or ()
        if each.startswith("License ::") and not each.endswith("OSI Approved")
    ]
    text = said_of(found, "License-Expression") or " / ".join(kinds) or said_of(found, "License")
    text = text or "not stated"
    return " ".join(text.replace("|", "/").split())[:_LONGEST]


if __name__ == "__main__":
    main()
