"""How things of a room look: frozen descriptions without pixels, drawn from a generator."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from .values import Rgb


@dataclass(frozen=True, slots=True, kw_only=True)
class ClothLook:
    """Cloth colour and wear; 0…1 amounts."""

    name: str
    colour: Rgb
    mottle: float = 0.04
    tracks: float = 0.3
    chalk: float = 0.3
    worn: float = 0.3
    spot_sticker: bool = False
    head_string: bool = False
    print_share: float = 0.0
    """How strongly a printed pattern of another colour shows; 0 is plain cloth."""
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class RailLook:
    """Rails: wood or laminate, their joints, sights, pocket castings and liners."""

    material: str = "wood"
    """``wood`` or ``laminate``."""
    colour: Rgb = (0.4, 0.25, 0.14)
    gloss: float = 0.12
    joints: str = "mitre"
    """``mitre`` or ``casting`` (corner pieces of another material)."""
    casting_colour: Rgb = (0.05, 0.05, 0.05)
    casting_metal: bool = False
    sight: str = "round"
    """``round`` or ``diamond``."""
    sight_size_mm: float = 12.0
    sight_colour: Rgb = (0.9, 0.88, 0.8)
    sight_scatter_mm: float = 0.0
    """How far single sights lie from their places, one sigma each way."""
    trim_mm: float = 0.0
    trim_colour: Rgb = (0.12, 0.08, 0.05)
    trim_metal: bool = False
    liner_colour: Rgb = (0.03, 0.03, 0.03)
    outer_radius_mm: float = 70.0
    nose_round_mm: float = 2.6
    """Radius of the noses' rounding."""
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class FloorLook:
    """Floor: ``carpet``, ``boards`` or ``concrete``."""

    kind: str = "carpet"
    colour: Rgb = (0.3, 0.3, 0.32)
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class WallLook:
    """Walls and ceiling: how far they stand from the table's middle and their colours."""

    half_length_mm: float = 3400.0
    half_width_mm: float = 2700.0
    ceiling_mm: float = 2900.0
    wall_colour: Rgb = (0.7, 0.68, 0.64)
    ceiling_colour: Rgb = (0.85, 0.85, 0.83)


@dataclass(frozen=True, slots=True, kw_only=True)
class LampLook:
    """Lamps of one kind: ``frame``, ``side-panels``, ``tubes``, ``ceiling-panels``,
    ``pendants``, ``window`` or ``hall-panels``; hard ones are ``sun``, ``shaft``, ``strips``,
    ``low-shade`` and ``middle-shade``."""

    kind: str
    kelvin: float = 4500.0
    strength: float = 1.0
    height_mm: float = 1050.0
    turn: float = 0.0
    """Free number 0…1: which side, how many, as the kind uses it."""
    seed: int = 0
    """Where hard light falls and how it is broken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BallLook:
    """The set: its shades, band width, number disc, cue ball and coat."""

    scheme: str = "standard"
    """``standard``, ``broadcast`` (pink 4/12, tan 7/15) or ``broadcast-lilac`` (light purple
    5/13 and a lighter green 6/14 as well)."""
    shade: float = 0.0
    """−1…1: darker to lighter."""
    hue: float = 0.0
    """−1…1: small turn of all hues."""
    ivory: float = 0.3
    band_mm: float = 28.6
    disc_mm: float = 17.0
    spotted_cue: bool = False
    gloss: float = 0.03
    dust: float = 0.1
    recolour: float = 0.0
    """0…1: how far each paint is from the usual one, in hue and lightness."""
    faded: float = 0.0
    """0…1: paint gone pale."""
    strange: int = 0
    """How many of the seven paints are of no usual set's colour."""
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorLook:
    """The picture's own faults: exposure, white balance, blur, noise, vignette, compression."""

    exposure: float = 1.0
    red_gain: float = 1.0
    blue_gain: float = 1.0
    blur_px: float = 0.6
    sharpen: float = 0.5
    noise: float = 0.004
    vignette: float = 0.1
    saturation: float = 1.05
    quality: int = 90
    defocus_px: float = 0.0
    """Radius of the disc that a point is spread over."""
    fringe: float = 0.0
    """Red is larger and blue smaller by this share."""
    veil: float = 0.0
    """Share of the picture's light that is scattered over all of it."""
    black: float = 0.0
    """Shown levels below this are crushed to black, 0…1."""
    contrast: float = 0.0
    """An S-curve's strength."""
    local_tone: float = 0.0
    """How far dark parts are lifted and bright ones lowered against their surroundings."""
    denoise: float = 0.0
    """How far fine texture is smeared by the camera's noise filter, 0…1."""
    chroma_px: float = 0.0
    """Blur of the colour against the lightness."""
    bands: float = 0.0
    """Amplitude of flicker bands down the picture."""
    tint_slope: float = 0.0
    """White balance that changes across the picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedBall:
    """A ball at rest: its centre and how it is turned (unit quaternion w, x, y, z)."""

    id: str
    x_mm: float
    y_mm: float
    turn: tuple[float, float, float, float] = (1.0, 0.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something that lies about or reaches over the table."""

    kind: str
    """On rails and round the table: ``cue``, ``chalk``, ``rack``, ``bridge``, ``towel``,
    ``jacket``, ``bag``, ``phone``, ``paper``, ``drink``, ``stool``, ``player``; over the bed:
    ``arm``, ``leaner``, and a ``cue`` that lies so."""
    x_mm: float
    y_mm: float
    z_mm: float = 0.0
    turn_deg: float = 0.0
    lean_deg: float = 0.0
    seed: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardPose:
    """A lens board: the place of its first inner-grid origin and its turn (Rodrigues vector).

    A board point (x right, y down, mm from the pattern's first corner, 0) lies at
    R(rvec)·p + origin in the table frame.
    """

    origin_mm: tuple[float, float, float]
    rvec: tuple[float, float, float]


def plain(look: Any) -> dict[str, Any]:
    """A look as a plain JSON object."""
    return dict(asdict(look))
