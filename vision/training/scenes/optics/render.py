"""Parts to light: builds the mitsuba scene and renders the pinhole view.

mitsuba is imported here alone, inside functions, so descriptions and truth work without it.
Variants: ``cuda_ad_rgb`` on a graphics card, ``llvm_ad_rgb`` or ``scalar_rgb`` without.
"""

from __future__ import annotations

import warnings
from collections import OrderedDict
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration.camera import Camera
from vision.training.scenes.shapes.meshes import merge
from vision.training.scenes.shapes.solids import as_mesh
from vision.training.scenes.values import FloatArray, Material, Mesh, Part, Rgb, SceneError, linear

from .lens_warp import FloatPicture, Pinhole

VISIBLE_SLACK_MM = 1.5


ROUGHNESSES = (0.03, 0.12, 0.32)
"""Coats of untextured glossy parts are rounded to these, so that they share materials."""
KEPT_MATERIALS = 12
PALETTE_SIDE = 128


class Renderer:
    """mitsuba under one variant.

    Parts are gathered by material into few meshes: untextured ones share a material per kind
    and carry their colours at the vertices. Materials with textures are kept from still to
    still, so a room that comes back is not uploaded again.
    """

    def __init__(self, variant: str = "llvm_ad_rgb", *, max_depth: int = 6) -> None:
        with warnings.catch_warnings():
            # its own sources draw syntax warnings from newer interpreters
            warnings.simplefilter("ignore")
            import mitsuba

        mitsuba.set_variant(variant)
        mitsuba.set_log_level(mitsuba.LogLevel.Error)
        self.mi: Any = mitsuba
        self.variant = variant
        self.max_depth = max_depth
        self._kept: OrderedDict[tuple[str, int, float], tuple[Material, Any]] = OrderedDict()

    # -- building ----------------------------------------------------------------------------

    def build(self, parts: Sequence[Part], ambient: Rgb | None = None) -> Any:
        """A mitsuba scene of the parts; ``ambient`` is even light from all round, linear."""
        scene: dict[str, Any] = {"type": "scene"}
        palette = Palette()
        groups = [
            (
                members[0].material,
                members[0].radiance,
                merge([palette.painted(as_mesh(part.shape), part.material) for part in members]),
            )
            for members in _grouped(parts)
        ]
        painted = palette.texture()
        for index, (material, radiance, whole) in enumerate(groups):
            bsdf = self._bsdf(material, painted)
            scene[f"p{index:04d}"] = self._mesh(f"p{index}", whole, bsdf, radiance)
        if ambient is not None:
            scene["ambient"] = {"type": "constant", "radiance": self._rgb(ambient)}
        return self.mi.load_dict(scene, parallel=False)

    def _rgb(self, value: Rgb) -> dict[str, Any]:
        return {"type": "rgb", "value": [float(v) for v in value]}

    def _bsdf(self, material: Material, painted: FloatArray) -> Any:
        """The material's BSDF; textured ones are kept while they keep coming back."""
        if material.texture is None:
            return self._make_bsdf(material, painted, _rounded(material))
        key = (material.kind, id(material.texture), material.roughness)
        if key not in self._kept:
            made = self._make_bsdf(material, material.texture, material.roughness)
            self._kept[key] = (material, made)
            while len(self._kept) > KEPT_MATERIALS:
                self._kept.popitem(last=False)
        self._kept.move_to_end(key)
        return self._kept[key][1]

    def _make_bsdf(self, material: Material, texture: NDArray[Any], roughness: float) -> Any:
        colour = {
            "type": "bitmap",
            "bitmap": self.mi.Bitmap(np.ascontiguousarray(texture)),
            "raw": texture.dtype != np.uint8,
            "filter_type": "bilinear",
            "wrap_mode": "repeat",
        }
        kinds: dict[str, dict[str, Any]] = {
            "matt": {"type": "diffuse", "reflectance": colour},
            "cloth": {
                "type": "principled", "base_color": colour, "roughness": 0.85,
                "specular": 0.25, "sheen": 0.35, "sheen_tint": 0.6,
            },
            "gloss": {
                "type": "roughplastic", "diffuse_reflectance": colour,
                "alpha": float(max(roughness, 0.015)), "int_ior": 1.5, "nonlinear": True,
            },
            "metal": {
                "type": "roughconductor", "specular_reflectance": colour, "material": "Ag",
                "alpha": float(roughness),
            },
        }  # fmt: skip
        return self.mi.load_dict({"type": "twosided", "bsdf": kinds[material.kind]})

    def _mesh(self, name: str, shape: Mesh, bsdf: Any, radiance: Rgb | None) -> Any:
        props = self.mi.Properties()
        props["bsdf"] = bsdf
        if radiance is not None:
            props["emitter"] = self.mi.load_dict({"type": "area", "radiance": self._rgb(radiance)})
        mesh = self.mi.Mesh(
            name, len(shape.vertices_mm), len(shape.faces), props=props,
            has_vertex_normals=True, has_vertex_texcoords=shape.uv is not None,
        )  # fmt: skip
        params = self.mi.traverse(mesh)
        arrays: dict[str, Any] = {
            "vertex_positions": np.asarray(shape.vertices_mm, np.float32),
            "faces": np.asarray(shape.faces, np.uint32),
            "vertex_normals": np.asarray(shape.normals, np.float32),
        }
        if shape.uv is not None:
            arrays["vertex_texcoords"] = np.asarray(shape.uv, np.float32)
        for key, values in arrays.items():
            params[key] = type(params[key])(values.ravel())
        params.update()
        return mesh

    # -- rendering ---------------------------------------------------------------------------

    def _transform(self, matrix: FloatArray) -> Any:
        return self.mi.ScalarTransform4f(np.asarray(matrix, dtype=np.float64))

    def sensor(self, camera: Camera, pinhole: Pinhole, spp: int) -> Any:
        """The pinhole sensor with the camera's pose."""
        rotation = camera.rotation
        to_world = np.eye(4)
        # mitsuba's camera looks along z with x to the left and y up
        to_world[:3, :3] = np.column_stack([-rotation[0], -rotation[1], rotation[2]])
        to_world[:3, 3] = camera.position_mm
        return self.mi.load_dict(
            {
                "type": "perspective",
                "fov": pinhole.field_deg,
                "fov_axis": "x",
                "near_clip": 10.0,
                "far_clip": 50000.0,
                "to_world": self._transform(to_world),
                "film": {
                    "type": "hdrfilm",
                    "width": pinhole.width_px,
                    "height": pinhole.height_px,
                    "rfilter": {"type": "box"},
                    "pixel_format": "rgb",
                    "component_format": "float32",
                },
                "sampler": {"type": "multijitter", "sample_count": spp},
            }
        )

    def render(
        self, scene: Any, camera: Camera, pinhole: Pinhole, *, spp: int, seed: int = 0
    ) -> FloatPicture:
        """Pinhole picture (H, W, 3), linear light."""
        integrator = self.mi.load_dict({"type": "path", "max_depth": self.max_depth, "rr_depth": 4})
        image = self.mi.render(
            scene, sensor=self.sensor(camera, pinhole, spp), integrator=integrator,
            spp=spp, seed=seed,
        )  # fmt: skip
        return np.asarray(np.array(image), np.float32)

    def first_hits_mm(self, scene: Any, origin_mm: FloatArray, rays: FloatArray) -> FloatArray:
        """Distances (N,) from ``origin_mm`` along unit directions (N, 3) to what is hit first."""
        mi = self.mi
        if self.variant.startswith("scalar"):
            out = []
            for ray in rays:
                hit = scene.ray_intersect(
                    mi.Ray3f(mi.Point3f(*map(float, origin_mm)), mi.Vector3f(*map(float, ray)))
                )
                out.append(float(hit.t) if hit.is_valid() else np.inf)
            return np.array(out)
        directions = mi.Vector3f(*(mi.Float(np.float32(rays[:, k])) for k in range(3)))
        origin = mi.Point3f(*(float(v) for v in origin_mm))
        hit = scene.ray_intersect(mi.Ray3f(origin, directions))
        return np.asarray(np.array(hit.t), float)


def _rounded(material: Material) -> float:
    """Roughness of an untextured material, rounded so that materials are shared."""
    if material.kind != "gloss":
        return 0.34
    return min(ROUGHNESSES, key=lambda r: abs(r - material.roughness))


def _grouped(parts: Sequence[Part]) -> list[list[Part]]:
    """Parts gathered by what they share: texture, or kind and coat, or lamp colour."""
    groups: dict[tuple[object, ...], list[Part]] = {}
    for part in parts:
        material = part.material
        if part.radiance is not None:
            key: tuple[object, ...] = ("lamp", part.radiance)
        elif material.texture is not None:
            key = (material.kind, id(material.texture), material.roughness)
        else:
            key = (material.kind, _rounded(material))
        groups.setdefault(key, []).append(part)
    return sorted(groups.values(), key=lambda g: (g[0].radiance is not None, g[0].material.kind))


class Palette:
    """Colours of untextured parts as texels of one shared texture."""

    def __init__(self) -> None:
        self._index: dict[tuple[float, float, float], int] = {}

    def painted(self, mesh: Mesh, material: Material) -> Mesh:
        """The mesh with its colours as texture places; textured materials pass through."""
        if material.texture is not None:
            return mesh if mesh.uv is not None else self._at(mesh, np.zeros(len(mesh.vertices_mm)))
        if mesh.colours is None:
            texel = self._texel(material.colour)
            return self._at(mesh, np.full(len(mesh.vertices_mm), texel))
        # colours change from face to face, so every face gets vertices of its own
        corners = mesh.faces.ravel()
        chosen = np.repeat(mesh.colours[mesh.faces[:, 0]], 3, axis=0)
        alone = Mesh(
            vertices_mm=mesh.vertices_mm[corners],
            faces=np.arange(len(corners)).reshape(-1, 3),
            normals=None if mesh.normals is None else mesh.normals[corners],
        )
        return self._at(alone, np.array([self._texel(tuple(c)) for c in chosen]))

    def _texel(self, colour: tuple[float, ...]) -> int:
        r, g, b = (round(float(v), 3) for v in colour)
        index = self._index.setdefault((r, g, b), len(self._index))
        if index >= PALETTE_SIDE**2:
            raise SceneError(
                f"palette: got colour {index + 1}; allowed: {PALETTE_SIDE**2} plain colours in a "
                "scene. Give the part a texture."
            )
        return index

    def _at(self, mesh: Mesh, texels: NDArray[Any]) -> Mesh:
        row, column = np.divmod(texels.astype(int), PALETTE_SIDE)
        uv = (np.column_stack([column, row]) + 0.5) / PALETTE_SIDE
        return Mesh(vertices_mm=mesh.vertices_mm, faces=mesh.faces, normals=mesh.normals, uv=uv)

    def texture(self) -> FloatArray:
        """The palette (SIDE, SIDE, 3), linear light, float32.

        Unused texels are grey: mitsuba weighs coat against base by a texture's mean.
        """
        out = np.full((PALETTE_SIDE**2, 3), 0.25, np.float32)
        if self._index:
            out[: len(self._index)] = linear(np.array(list(self._index)))
        return out.reshape(PALETTE_SIDE, PALETTE_SIDE, 3)


def visible_fractions(
    renderer: Renderer,
    scene: Any,
    camera: Camera,
    centres_mm: Sequence[tuple[float, float]],
    radius_mm: float,
    *,
    rings: int = 8,
) -> list[float]:
    """Of each ball's outline disc as the camera sees it, the share nothing hides.

    The disc inside the grazing circle is sampled evenly by area and rays are cast to it.
    """
    origin = camera.position_mm
    rays, reaches, counts = [], [], []
    for x, y in centres_mm:
        points = _disc_points(np.array([x, y, radius_mm]) - origin, radius_mm, rings)
        length = np.linalg.norm(points, axis=1)
        direction = points / length[:, None]
        offset = np.array([x, y, radius_mm]) - origin
        along = direction @ offset
        chord = np.sqrt(np.maximum(radius_mm**2 - (offset @ offset - along**2), 0))
        rays.append(direction)
        reaches.append(along - chord)
        counts.append(len(direction))
    if not rays:
        return []
    hits = renderer.first_hits_mm(scene, origin, np.concatenate(rays))
    seen = np.abs(hits - np.concatenate(reaches)) < VISIBLE_SLACK_MM
    return [float(part.mean()) for part in np.split(seen, np.cumsum(counts)[:-1])]


def _disc_points(offset_mm: FloatArray, radius_mm: float, rings: int) -> FloatArray:
    """Even samples of the disc bounded by the circle where view rays graze the ball, (N, 3)."""
    distance = float(np.linalg.norm(offset_mm))
    axis = offset_mm / distance
    ring = radius_mm * np.sqrt(1 - (radius_mm / distance) ** 2)
    middle = offset_mm - axis * radius_mm**2 / distance
    first = np.cross(axis, [0.0, 1.0, 0.0])
    first /= np.linalg.norm(first)
    second = np.cross(axis, first)
    k = np.arange(rings * rings * 4) + 0.5
    reach = ring * 0.985 * np.sqrt(k / len(k))
    angle = k * np.pi * (3 - np.sqrt(5))
    return np.asarray(
        middle + reach[:, None] * (np.cos(angle)[:, None] * first + np.sin(angle)[:, None] * second)
    )
