"""The lenses of this data folder: one file each, kept over restarts, made once a camera."""

from __future__ import annotations

import json
import threading
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from calibration.errors import FileFormatError, RestmarkError
from calibration.jsonfile import write_text
from calibration.lens.file import Lens
from service.setup.refusals import SetupError, gone
from service.store.archive.lenses import FOLDER, NUMBER, lens_number, make_folder
from service.store.archive.manifest import LENSES_MOST


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptLens:
    """A lens and when it was kept."""

    number: str
    lens: Lens
    kept_at: datetime

    def to_dict(self) -> dict[str, Any]:
        """JSON object: what tells one lens from another, and how good it is."""
        lens = self.lens
        return {
            "id": self.number,
            "kept_at": self.kept_at.isoformat(),
            "size_px": list(lens.image_size_px),
            "held_out_px": lens.held_out_rms_px,
            "fit_px": lens.fit_rms_px,
            "coverage": lens.coverage,
            "coverage_by_region": list(lens.coverage_by_region),
            "stills": sum(still.used for still in lens.stills),
            "focal_px": lens.fx_px,
        }


class LensFiles:
    """The folder ``lenses/`` of a data folder; it is made with the first lens."""

    def __init__(self, data_dir: Path) -> None:
        self._folder = data_dir / FOLDER
        self._lock = threading.Lock()

    def keep(self, lens: Lens) -> KeptLens:
        """Keep a lens; the same one again is the same file.

        Raises:
            SetupError: there are too many.
            FileFormatError: the folder cannot be written.
        """
        text = json.dumps(lens.to_dict(), indent=1)
        number = lens_number(text.encode())
        path = self._path(number)
        with self._lock:
            if not path.exists() and len(self._paths()) >= LENSES_MOST:
                raise SetupError(
                    f"lens: {LENSES_MOST} are kept already; allowed: that many. Remove those of "
                    "cameras that are gone from the folder `lenses` of the data folder."
                )
            try:
                make_folder(self._folder.parent)
            except OSError as wrong:
                raise FileFormatError(
                    f"{self._folder}: cannot be made ({wrong.strerror}); allowed: a data folder "
                    "that can be written. Check the disk and its permissions."
                ) from None
            if not path.exists():
                write_text(path, text + "\n")
        return self.get(number)

    def get(self, number: str) -> KeptLens:
        """The lens of that number.

        Raises:
            SetupError: code ``setup-gone``.
            RestmarkError: its file is damaged.
        """
        if not NUMBER.fullmatch(number) or not self._path(number).is_file():
            raise gone("lens", number)
        path = self._path(number)
        kept_at = datetime.fromtimestamp(path.stat().st_mtime, UTC)
        return KeptLens(number=number, lens=Lens.read(path), kept_at=kept_at)

    def all(self) -> list[KeptLens]:
        """All that can be read, the newest first; a damaged file is left out."""
        kept = []
        for path in self._paths():
            try:
                kept.append(self.get(path.stem))
            except RestmarkError:
                continue
        return sorted(kept, key=lambda each: each.kept_at, reverse=True)

    def _path(self, number: str) -> Path:
        return self._folder / f"{number}.json"

    def _paths(self) -> list[Path]:
        if not self._folder.is_dir():
            return []
        return [path for path in self._folder.glob("*.json") if NUMBER.fullmatch(path.stem)]
