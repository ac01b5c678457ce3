"""``python -m service.docs.materials FILE`` writes the bill of materials of what is installed.

CycloneDX 1.6 (ECMA-424), JSON: Restmark and all that its default install brings, each with version,
licence, and the hash of what is installed; who needs whom. Nothing is asked of a network, and the
same environment gives the same bytes.
"""

from __future__ import annotations

import hashlib
import json
import re
import sys
import uuid
from importlib.metadata import Distribution, distribution
from pathlib import Path
from typing import Any

from .licences import closure, licence_of, said_of

ROOT = "restmark"
_SPACE = uuid.UUID("5b1d3f66-0f0e-4c55-9a3c-7d1c0d9e6f10")
_EXPRESSION = re.compile(r"[A-Za-z0-9.+-]+( (AND|OR|WITH) [A-Za-z0-9.+-]+)*")


def main(arguments: list[str] | None = None) -> int:
    """Write the bill to the file that is named."""
    given = sys.argv[1:] if arguments is None else arguments
    if len(given) != 1:
        print("error: name one file for the bill, dist/restmark.cdx.json for instance.")
        return 2
    Path(given[0]).write_text(bill(), encoding="utf-8")
    return 0


def bill() -> str:
    """The bill, as JSON."""
    found = {name: each for name, (each, _) in closure(ROOT).items()}
    own = distribution(ROOT)
    everything = {ROOT: own, **found}
    body: dict[str, Any] = {
        "metadata": {"component": _component(ROOT, own, kind="application")},
        "components": [_component(name, found[name]) for name in sorted(found)],
        "dependencies": [
            {
                "ref": _ref(name, everything[name]),
                "dependsOn": sorted(_ref(each, everything[each]) for each in _needs(name, found)),
            }
            for name in sorted(everything)
        ],
    }
    number = uuid.uuid5(_SPACE, json.dumps(body, sort_keys=True))
    head = {
        "$schema": "http://cyclonedx.org/schema/bom-1.6.schema.json",
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "serialNumber": f"urn:uuid:{number}",
        "version": 1,
    }
    return json.dumps(head | body, indent=2) + "\n"


def _component(name: str, found: Distribution, *, kind: str = "library") -> dict[str, Any]:
    out: dict[str, Any] = {
        "type": kind,
        "bom-ref": _ref(name, found),
        "name": name,
        "version": found.version,
        "purl": _ref(name, found),
        "licenses": [_licence(found)],
    }
    if summary := said_of(found, "Summary"):
        out["description"] = summary
    if (record := found.read_text("RECORD")) and kind == "library":
        # names and hashes of every file that its wheel brought
        lines = sorted(line for line in record.splitlines() if ",sha256=" in line)
        whole = hashlib.sha256("\n".join(lines).encode()).hexdigest()
        out["properties"] = [{"name": "restmark:sha256-of-record", "value": whole}]
    return out


def _licence(found: Distribution) -> dict[str, Any]:
    said = said_of(found, "License-Expression")
    if said and _EXPRESSION.fullmatch(said):
        return {"expression": said}
    return {"license": {"name": licence_of(found)}}


def _needs(name: str, found: dict[str, Distribution]) -> set[str]:
    """What a package asks for itself, of what is there."""
    asked = set()
    for requirement in distribution(name).requires or ():
        wanted = re.split(r"[^A-Za-z0-9._-]", requirement, maxsplit=1)[0].lower()
        wanted = re.sub(r"[-_.]+", "-", wanted)
        if "extra ==" not in requirement and wanted in found:
            asked.add(wanted)
    return asked


def _ref(name: str, found: Distribution) -> str:
    return f"pkg:pypi/{name}@{found.version}"


if __name__ == "__main__":
    sys.exit(main())
