"""Keys of a core's sizes, fins and tubes, and the `CoreGeometry` they describe.

What is here: the keys that each kind of core adds to its bench point when it is rated by what it is made of, and
`plates_with_charge` and `remote_core`, which build the geometry.  What is not: areas, films and losses
(`geometry.py`, `surfaces.py`), reconciling with a bench point and wording (`exchanger.py`).

Fin and plate sizes not given are those usual in the trade (common practice, no source), each good to 20 %;
foil is sold in thousandths of an inch, hence their thicknesses.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coldside.parts.fields import given
from coldside.parts.geometry import CoreGeometry, CoreSide
from coldside.parts.surfaces import FlatTube, LouveredFin, OffsetStripFin, PlainFin, Surface

USUAL = 0.2  # sd of a usual fin or plate size, as a share
LOUVER_SHARE = 0.85  # of the fin's length between tubes that louvers take, 0.80 to 0.90 (common practice)
TANKS = {"plain": (0.8, 0.4), "diffusing": (0.3, 0.2)}  # loss coefficients in and out, on the bore (common practice)
# m2 K/W (common practice): charge 2 to 5e-4 with oil mist, coolant 0.5 to 1e-4 and 2 to 4e-4, air 1 to 3e-4
FOULING = {
    "charge": {"clean": 0.0, "oil mist": 3.5e-4},
    "coolant": {"clean": 0.75e-4, "untreated": 3e-4},
    "cooling": {"clean": 0.0, "dusty": 2e-4},
}
OIL_MIST_LOSS = 1.10  # factor on the charge loss of a core with oil mist in it, 1.05 to 1.15 (common practice)


def _usual(words: str, value: float, low: float, high: float) -> Any:
    return given("length", words, default=value, sd_share=USUAL, low=low, high=high)


def _size(words: str, low: float, high: float) -> Any:
    return given("length", words, default=None, low=low, high=high, when_absent="rated by bench points instead")


def _fouling(side: str, words: str) -> Any:
    return given("choice", words, default="clean", choices=tuple(FOULING[side]))


@dataclass(frozen=True, kw_only=True)
class PlateKeys:
    """Keys of a stack of plates with fins between."""

    stack_height: float | None = _size("height of its stack of plates or tubes", 0.01, 2.0)
    plate: float = _usual("thickness of the plates between the streams", 0.5e-3, 0.2e-3, 3e-3)
    end_bar: float = _usual("width of the bars that close a passage at its ends", 6e-3, 0.0, 0.03)


@dataclass(frozen=True, kw_only=True)
class ChargeSizeKeys(PlateKeys):
    """Keys of the charge side of a core known by its sizes."""

    charge_length: float | None = _size("length of the charge's way through the fins", 0.02, 2.0)
    charge_bore: float | None = _size("bore of its charge connections", 0.02, 0.3)
    charge_tanks: str = given(
        "choice", "how its charge tanks spread the flow from the bore", default="plain", choices=tuple(TANKS)
    )
    charge_fin: str = given("choice", "charge fin", default="offset strip", choices=("offset strip", "plain"))
    charge_fin_height: float = _usual("height of the charge fins, plate to plate", 7.5e-3, 1e-3, 0.03)
    charge_fin_pitch: float = _usual("charge fin pitch, one web to the next", 2.0e-3, 0.5e-3, 0.02)
    charge_fin_thickness: float = _usual("thickness of the charge fins", 0.1524e-3, 0.03e-3, 1e-3)
    charge_fin_strip: float = _usual("length of one strip of the charge fins along the flow", 3.2e-3, 0.5e-3, 0.05)
    charge_fouling: str = _fouling("charge", "what has settled on the charge side")


@dataclass(frozen=True, kw_only=True)
class CoolantSizeKeys:
    """Keys of a finned coolant side."""

    coolant_length: float | None = _size("length of the coolant's way through the fins or tubes, one pass", 0.02, 2.0)
    coolant_bore: float = _usual("bore of its coolant connections", 19e-3, 5e-3, 0.1)
    coolant_fin_height: float = _usual("height of the coolant passages, plate to plate", 3e-3, 0.5e-3, 0.03)
    coolant_fin_pitch: float = _usual("coolant fin pitch, one web to the next", 3e-3, 0.5e-3, 0.02)
    coolant_fin_thickness: float = _usual("thickness of the coolant fins", 0.2e-3, 0.03e-3, 1e-3)
    coolant_fin_strip: float = _usual("length of one strip of the coolant fins along the flow", 6e-3, 0.5e-3, 0.05)
    coolant_fouling: str = _fouling("coolant", "state of the coolant side: clean or once run with untreated water")


@dataclass(frozen=True, kw_only=True)
class CoolingSizeKeys:
    """Keys of a finned cooling-air side between plates."""

    cooling_length: float | None = _size("depth of the core along the cooling air", 0.01, 1.0)
    cooling_fin: str = given("choice", "cooling-air fin", default="offset strip", choices=("offset strip", "plain"))
    cooling_fin_height: float = _usual("height of the cooling-air fins, plate to plate", 9e-3, 1e-3, 0.03)
    cooling_fin_pitch: float = _usual("cooling-air fin pitch, one web to the next", 2.0e-3, 0.5e-3, 0.02)
    cooling_fin_thickness: float = _usual("thickness of the cooling-air fins", 0.127e-3, 0.03e-3, 1e-3)
    cooling_fin_strip: float = _usual("length of one strip of these fins along the air", 3.2e-3, 0.5e-3, 0.05)
    cooling_fouling: str = _fouling("cooling", "what has settled on the cooling-air side")


@dataclass(frozen=True, kw_only=True)
class TubeKeys:
    """Keys of flat tubes with louvered fins between."""

    construction: str = given(
        "choice",
        "flat tubes with louvered fins, or plates with fins on both sides",
        default="tube and fin",
        choices=("tube and fin", "bar and plate"),
    )
    tube_pitch: float = _usual("one tube to the next across the stack", 10e-3, 4e-3, 0.04)
    tube_thickness: float = _usual("thickness of a tube across the stack, outside", 2e-3, 1e-3, 0.02)
    tube_wall: float = _usual("wall of the tubes", 0.3e-3, 0.1e-3, 2e-3)
    tube_rows: int = given("count", "rows of tubes in the depth of the core", default=1, low=1, high=6)
    louver_fin_pitch: float = _usual("louvered fin pitch, one fin to the next along the tube", 1.4e-3, 0.6e-3, 5e-3)
    louver_fin_thickness: float = _usual("thickness of the louvered fins", 0.0762e-3, 0.03e-3, 0.5e-3)
    louver_pitch: float = _usual("louver pitch along the air", 1.2e-3, 0.4e-3, 5e-3)
    louver_length: float | None = given(
        "length",
        "length of a louver across the fin",
        default=None,
        low=1e-3,
        high=0.04,
        when_absent="85 % of the fin between two tubes",
    )
    louver_angle: float = given("number", "louver angle in degrees", default=27.0, sd=3.0, low=5.0, high=45.0)


def _plate_fin(kind: str, height: float, pitch: float, thickness: float, strip: float) -> Surface:
    return PlainFin(height, pitch, thickness) if kind == "plain" else OffsetStripFin(height, pitch, thickness, strip)


def charge_side(keys: ChargeSizeKeys) -> CoreSide:
    """The charge side of a sized core."""
    assert keys.charge_length is not None  # proved by the reader
    fin = _plate_fin(
        keys.charge_fin, keys.charge_fin_height, keys.charge_fin_pitch, keys.charge_fin_thickness, keys.charge_fin_strip
    )
    tank_in, tank_out = TANKS[keys.charge_tanks]
    return CoreSide(
        surface=fin,
        length=keys.charge_length,
        fouling=FOULING["charge"][keys.charge_fouling],
        tank_in=tank_in,
        tank_out=tank_out,
        pipe_bore=keys.charge_bore,
    )


def coolant_side(keys: CoolantSizeKeys, passes: int, tube: FlatTube | None = None) -> CoreSide:
    """The coolant side of a sized core: finned passages, or the inside of `tube`."""
    assert keys.coolant_length is not None  # proved by the reader
    fin = OffsetStripFin(
        keys.coolant_fin_height, keys.coolant_fin_pitch, keys.coolant_fin_thickness, keys.coolant_fin_strip
    )
    return CoreSide(
        surface=tube or fin,
        length=keys.coolant_length,
        passes=passes,
        fouling=FOULING["coolant"][keys.coolant_fouling],
        pipe_bore=keys.coolant_bore,
    )


def cooling_side(keys: CoolingSizeKeys, louvers: LouveredFin | None = None) -> CoreSide:
    """The cooling-air side of a sized core: fins between plates, or `louvers` between tubes; no tanks."""
    assert keys.cooling_length is not None  # proved by the reader
    fin = _plate_fin(
        keys.cooling_fin,
        keys.cooling_fin_height,
        keys.cooling_fin_pitch,
        keys.cooling_fin_thickness,
        keys.cooling_fin_strip,
    )
    return CoreSide(
        surface=louvers or fin, length=keys.cooling_length, fouling=FOULING["cooling"][keys.cooling_fouling]
    )


def plate_core(keys: PlateKeys, side1: CoreSide, side2: CoreSide) -> CoreGeometry:
    """A stack of plates with fins between."""
    assert keys.stack_height is not None  # proved by the reader
    return CoreGeometry(
        side1=side1, side2=side2, stack_height=keys.stack_height, wall_thickness=keys.plate, end_bar=keys.end_bar
    )


def louvered_fin(keys: TubeKeys, depth: float) -> LouveredFin:
    """The fin between the tubes of a tube-and-fin core of this depth."""
    length = keys.louver_length
    return LouveredFin(
        keys.tube_pitch,
        keys.tube_thickness,
        keys.louver_fin_pitch,
        keys.louver_fin_thickness,
        keys.louver_pitch,
        LOUVER_SHARE * (keys.tube_pitch - keys.tube_thickness) if length is None else length,
        keys.louver_angle,
        depth,
    )


def flat_tube(keys: TubeKeys, depth: float) -> FlatTube:
    """The inside of one tube; its rows fill the depth side by side."""
    return FlatTube(
        keys.tube_thickness - 2.0 * keys.tube_wall, depth / keys.tube_rows - 2.0 * keys.tube_wall, 2.0 * keys.tube_wall
    )
