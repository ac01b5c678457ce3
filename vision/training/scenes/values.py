"""What a scene is made of before any renderer sees it: meshes, spheres, lamps, materials.

All lengths are millimetres in the table frame; colours are sRGB triples 0…1 unless said
otherwise; textures are ``uint8`` arrays (H, W, 3), sRGB, row 0 at v = 0.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.errors import RestmarkError


class SceneError(RestmarkError):
    """A scene that cannot be made: the text names the part, what was given and the remedy."""

    code = "bad-scene"


FloatArray = NDArray[np.floating[Any]]
ByteArray = NDArray[np.uint8]
Rgb = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """How a surface answers light.

    ``kind``: ``matt`` (diffuse), ``cloth`` (diffuse with sheen), ``gloss`` (diffuse under a
    clear coat) or ``metal``. ``roughness`` is the coat's or the metal's; a texture replaces
    the colour.
    """

    kind: str = "matt"
    colour: Rgb = (0.5, 0.5, 0.5)
    texture: ByteArray | None = None
    roughness: float = 0.1

    def __post_init__(self) -> None:
        if self.kind not in ("matt", "cloth", "gloss", "metal"):
            raise SceneError(
                f"material.kind: got {self.kind!r}; allowed: matt, cloth, gloss, metal. "
                "Choose one of them."
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Mesh:
    """Triangles: vertices (N, 3) mm, faces (M, 3), texture places (N, 2), normals (N, 3).

    ``colours`` (N, 3), sRGB 0…1, stand in for the material's colour where it has no texture.
    """

    vertices_mm: FloatArray
    faces: NDArray[np.int64]
    uv: FloatArray | None = None
    normals: FloatArray | None = None
    colours: FloatArray | None = None

    def __post_init__(self) -> None:
        if len(self.faces) and int(self.faces.max()) >= len(self.vertices_mm):
            raise SceneError(
                f"mesh.faces: got vertex {int(self.faces.max())} of {len(self.vertices_mm)}; "
                "allowed: vertices that are there. Build the faces again."
            )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sphere:
    """An exact sphere; ``rotation`` (3, 3) turns its texture's poles (z) and seam (x)."""

    centre_mm: tuple[float, float, float]
    radius_mm: float
    rotation: FloatArray = field(default_factory=lambda: np.eye(3))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Panel:
    """A rectangle: centre, two half-edge vectors; its normal is half_u × half_v."""

    centre_mm: tuple[float, float, float]
    half_u_mm: tuple[float, float, float]
    half_v_mm: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tube:
    """A cylinder's mantle between two points."""

    from_mm: tuple[float, float, float]
    to_mm: tuple[float, float, float]
    radius_mm: float


Shape = Mesh | Sphere | Panel | Tube


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """A shape with its material; ``radiance`` (linear RGB) makes it a lamp."""

    name: str
    shape: Shape
    material: Material = field(default_factory=Material)
    radiance: Rgb | None = None


def linear(colour: Rgb | FloatArray) -> FloatArray:
    """sRGB 0…1 to linear light, any shape."""
    c = np.clip(np.asarray(colour, float), 0, 1)
    return np.asarray(np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4))
