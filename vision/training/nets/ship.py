"""Trained files made fit to ship: what tells of the place where they were trained is taken out.

``python -m vision.training.nets.ship --trained DIR --out vision/weights``

A network that was not trained in ``DIR`` is taken as this release ships it: whoever trained one of
them on stills of their own reads with the folder that comes out, by ``RESTMARK_WEIGHTS``.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from vision.find.detect_ultralytics import WEIGHTS_FILE
from vision.networks import CROPS_FILE, FINDER_FILE

from .start_files import StartError, shipped_file

KEPT_NOTES = (
    "stride",
    "task",
    "batch",
    "imgsz",
    "names",
    "channels",
    "end2end",
    "args",
    "date",
    "license",
)
"""What ``ultralytics`` needs to run an ONNX file that it wrote, the licence, and the day."""
PLACES = ("model", "data", "project", "name", "save_dir", "cfg", "source")
"""Settings of the trainer that are paths."""
MOST_BYTES = 12_000_000
"""All weights together."""


def plain_onnx(source: Path, target: Path) -> None:
    """Copy an ONNX file with no notes but ``KEPT_NOTES``; the network stays bit for bit."""
    import onnx

    model = onnx.load(str(source))
    kept = [(note.key, note.value) for note in model.metadata_props if note.key in KEPT_NOTES]
    del model.metadata_props[:]
    for key, value in kept:
        model.metadata_props.add(key=key, value=value)
    onnx.save(model, str(target))


def plain_checkpoint(source: Path, target: Path) -> None:
    """Copy the trainer's checkpoint with its settings but without their paths."""
    import torch

    # the trainer's own file: it holds the network as an object
    found: dict[str, Any] = torch.load(str(source), map_location="cpu", weights_only=False)
    model = found["model"]
    model.args = _placeless(dict(model.args))
    model.yaml = {**model.yaml, "yaml_file": Path(model.yaml["yaml_file"]).name}
    kept = {key: found[key] for key in ("date", "version", "license", "epoch", "train_metrics")}
    torch.save({**kept, "model": model, "train_args": _placeless(found["train_args"])}, str(target))


def _placeless(settings: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in settings.items() if key not in PLACES}


def ship(trained: Path, out: Path) -> int:
    """Put the three files of a training's folder into ``out``; bytes of them all.

    Raises:
        StartError: neither network was trained there.
    """
    finder, crops = trained / "finder-int8.onnx", trained / "crops.onnx"
    if not (finder.exists() or crops.exists()):
        raise StartError(
            f"--trained: got {trained}, without {finder.name} and {crops.name}; allowed: the --out "
            "of train_finder, train_crops or both. Give that folder."
        )
    out.mkdir(parents=True, exist_ok=True)
    if finder.exists():
        plain_onnx(finder, out / FINDER_FILE)
        plain_checkpoint(trained / "finder" / "weights" / "best.pt", out / WEIGHTS_FILE)
    else:
        _as_shipped(out, FINDER_FILE, WEIGHTS_FILE)
    if crops.exists():
        plain_onnx(crops, out / CROPS_FILE)
    else:
        _as_shipped(out, CROPS_FILE)
    return sum((out / name).stat().st_size for name in (FINDER_FILE, CROPS_FILE, WEIGHTS_FILE))


def _as_shipped(out: Path, *names: str) -> None:
    for name in names:
        source = shipped_file(name)
        if source.resolve() != (out / name).resolve():
            (out / name).write_bytes(source.read_bytes())


def main(arguments: list[str] | None = None) -> None:
    """Ship a training's files."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trained", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    given = parser.parse_args(arguments)
    size = ship(given.trained, given.out)
    print(f"{size / 1e6:.1f} MB (limit {MOST_BYTES / 1e6:.0f})")
    if size > MOST_BYTES:
        raise SystemExit(1)


if __name__ == "__main__":
    main()
