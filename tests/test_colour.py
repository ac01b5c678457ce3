"""Stills without the colours that names are told by: every name is in doubt, and it is said."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from calibration.kept.calibration import Calibration
from service.demo.samples import OTHERS_FOLDER, SHOTS_FOLDER, sample_stills
from vision.name.colour import UNTOLD, colour_lack
from vision.read import Reader
from vision.still import decode_still
from vision.truth.file import read_truth

Picture = NDArray[np.uint8]
COLOURS = 256


def grey(picture: Picture) -> Picture:
    plain = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY)
    return np.asarray(cv2.cvtColor(plain, cv2.COLOR_GRAY2BGR), np.uint8)


def tinted(picture: Picture) -> Picture:
    """Brown on white, coded once more."""
    brown = np.clip(grey(picture) * np.array([0.8, 0.95, 1.05]), 0, 255).astype(np.uint8)
    return np.asarray(cv2.imdecode(cv2.imencode(".jpg", brown)[1], cv2.IMREAD_COLOR), np.uint8)


def palette(picture: Picture) -> Picture:
    """The nearest of 256 colours: 8 steps of red and green, 4 of blue."""
    out = picture.copy()
    for channel, steps in enumerate((4, 8, 8)):
        width = 256 // steps
        out[..., channel] = out[..., channel] // width * width + width // 2
    assert len(np.unique(out.reshape(-1, 3), axis=0)) <= COLOURS
    return out


SAMPLES = [*sample_stills(SHOTS_FOLDER)[:2], *sample_stills(OTHERS_FOLDER)]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_a_still_in_colour_has_it_and_its_copies_have_not(path: Path) -> None:
    picture = decode_still(path.read_bytes())
    assert colour_lack(picture) is None
    for lessened in (grey, tinted, palette):
        lack = colour_lack(lessened(picture))
        assert lack is not None, lessened.__name__
        assert lack.code == "no-colour"


@pytest.mark.parametrize("lessened", [grey, palette])
def test_every_name_of_a_still_without_colour_is_in_doubt(
    lessened: Callable[[Picture], Picture],
) -> None:
    path = SAMPLES[0]
    truth = read_truth(path.parent)[path.name]
    reader = Reader(Calibration.exact(truth.camera, truth.table))
    picture = decode_still(path.read_bytes())
    plain = reader.read_image(picture)
    assert not any(notice.code == "no-colour" for notice in plain.notices)
    layout = reader.read_image(lessened(picture))
    assert len(layout.balls) == len(truth.balls)
    assert all(ball.doubtful and ball.confidence <= UNTOLD for ball in layout.balls)
    codes = [notice.code for notice in layout.notices]
    assert codes.count("no-colour") == 1
    # said once, not ball by ball
    assert "name-in-doubt" not in codes
