"""A printed lens board drawn through an exact camera: stills with known corners."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RectBivariateSpline

from calibration.camera import Camera
from calibration.lens.board import BoardPattern

_SUB = 2
_TEXELS = 160
"""Texture cells a square of the board."""


def board_texture(board: BoardPattern) -> NDArray:
    """The board's print, one white square of margin around it."""
    columns, rows = board.squares
    if board.pattern == "charuco":
        size = (columns * _TEXELS, rows * _TEXELS)
        print_ = np.asarray(board.charuco().generateImage(size, marginSize=0))
    else:
        row, column = np.mgrid[0 : rows * _TEXELS, 0 : columns * _TEXELS] // _TEXELS
        print_ = np.where((row + column) % 2 == 0, 0, 255).astype(np.uint8)
    return np.pad(print_, _TEXELS, constant_values=255)


def draw_board(
    camera: Camera, board: BoardPattern, *, seed: int = 0, noise: float = 2.0, blur_px: float = 0.7
) -> NDArray:
    """(H, W) grey still; ``camera``'s table frame is the board's: z = 0, y down the print."""
    width, height = camera.image_size_px
    u = (np.arange(width * _SUB) + 0.5) / _SUB - 0.5
    v = (np.arange(height * _SUB) + 0.5) / _SUB - 0.5
    coarse_u, coarse_v = np.linspace(u[0], u[-1], 48), np.linspace(v[0], v[-1], 36)
    grid = np.stack(np.meshgrid(coarse_u, coarse_v), axis=-1).reshape(-1, 2)
    rays = camera.rays(grid).reshape(36, 48, 3)
    origin = camera.position_mm
    texture = board_texture(board).astype(np.float32)
    at = []
    for axis in (0, 1):
        spline = RectBivariateSpline(coarse_v, coarse_u, rays[..., axis] / rays[..., 2])
        mm = origin[axis] - origin[2] * spline(v, u)
        # texel centres lie at half cells
        at.append(((mm / board.square_mm + 1) * _TEXELS - 0.5).astype(np.float32))
    # remap rounds places to 1/32 cell: 1/5000 of a square
    big = cv2.remap(
        texture, at[0], at[1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=90
    )
    still = cv2.resize(40 + big * 0.7, (width, height), interpolation=cv2.INTER_AREA)
    still = cv2.GaussianBlur(still, (0, 0), blur_px)
    still += np.random.default_rng(seed).normal(0, noise, still.shape)
    return np.clip(np.round(still), 0, 255).astype(np.uint8)


def board_cameras(
    lens: Camera, board: BoardPattern, count: int, rng: np.random.Generator
) -> list[Camera]:
    """``count`` poses of the board, spread over the picture and tilted up to 35 degrees."""
    columns, rows = board.squares
    middle = np.array([columns, rows, 0.0]) * board.square_mm / 2
    out = []
    width, height = lens.image_size_px
    spots = [(x, y) for y in (0.32, 0.68) for x in (0.22, 0.5, 0.78)]
    for index in range(count):
        spot = np.array(spots[index % len(spots)]) * (width, height)
        distance = rng.uniform(0.9, 1.15) * max(columns, rows) * board.square_mm * 2.0
        turn = rng.uniform(0, 2 * np.pi)
        lean = np.radians(rng.uniform(12, 35))
        spin = cv2.Rodrigues(np.array([0.0, 0.0, rng.uniform(0, 2 * np.pi)]))[0]
        tilt = cv2.Rodrigues(lean * np.array([np.cos(turn), np.sin(turn), 0.0]))[0]
        rotation = np.asarray(tilt) @ np.asarray(spin)
        flat = (spot - (lens.cx_px, lens.cy_px)) / lens.fx_px
        place = distance * np.array([flat[0], flat[1], 1.0])
        shift = place - rotation @ middle
        rvec = np.asarray(cv2.Rodrigues(rotation)[0]).ravel()
        out.append(
            Camera(
                image_size_px=lens.image_size_px,
                fx_px=lens.fx_px,
                fy_px=lens.fy_px,
                cx_px=lens.cx_px,
                cy_px=lens.cy_px,
                distortion=lens.distortion,
                rvec=tuple(float(a) for a in rvec),
                tvec_mm=tuple(float(a) for a in shift),
            )
        )
    return out
