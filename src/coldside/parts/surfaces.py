"""Heat-exchange surfaces: fins between plates or tubes, and flat tubes with liquid inside.

What is here: `OffsetStripFin`, `PlainFin`, `LouveredFin`, `FlatTube`, each of which says of one layer of a
core how much area, free section and metal it has, and its film coefficient and friction.  A layer is a flat
space of `height` between two walls; shares and densities are per volume or section of that space, so that a
core (`geometry.py`) only multiplies them by its own sizes.  What is not: sizes of a core, fouling, walls.

Lengths in m, angle in degrees.  f is FANNING everywhere.  G = mass flux in the smallest free section,
kg/(s m2).  Re on `reference_length`: the hydraulic diameter, or the louver pitch of louvered fins.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, require
from coldside.parts import correlations

Array = NDArray[np.float64]
Number = Any  # float or array in, the broadcast shape out

_SMALLEST_RE = 1e-9  # a standing fluid gives a finite f, and no loss
_LOUVER_LOWEST_RE = 30.0  # below, f of louvers goes on as 1/Re: its logarithms have their zeros at Re 2 and 3.3 (own)
_LOUVER_BLEND = (130.0, 230.0)  # Re between the two formulas of f
_SMALLEST_THICKNESS_SHARE = 0.02  # t/F_p: logarithms of the louver friction go through zero at 0.008 and 0.01


def fin_efficiency(h: ArrayLike, conductivity: float, thickness: float, length: float, edge: float = 0.0) -> Number:
    """Efficiency of a straight fin of `length` from root to its adiabatic middle, 0 to 1.

    h >= 0 film coefficient, W/(m2 K); conductivity, W/(m K), thickness and length > 0; `edge` = thickness over
    the strip's own length, for the edges that are wetted too: m = sqrt(2 h (1 + edge)/(k t)).
    Source: KaysLondon1984, tanh(m L)/(m L).
    """
    film = np.asarray(h, dtype=float)
    require("h", film, low=0.0)
    for name, value in (("conductivity", conductivity), ("thickness", thickness), ("length", length)):
        require(name, value, low=0.0, open_low=True)
    x = np.sqrt(2.0 * film * (1.0 + edge) / (conductivity * thickness)) * length
    safe = np.where(x > 1e-4, x, 1.0)
    return np.where(x > 1e-4, np.tanh(safe) / safe, 1.0 - x * x / 3.0)[()]


def surface_efficiency(fin_efficiency: ArrayLike, fin_share: float) -> Number:
    """Efficiency of a whole surface of which `fin_share` is fin: 1 - share (1 - eta_f).  Source: KaysLondon1984."""
    return 1.0 - fin_share * (1.0 - np.asarray(fin_efficiency, dtype=float))[()]


class Surface(ABC):
    """One layer's surface.  `height` is the clear space between the walls, m."""

    height: float

    @property
    @abstractmethod
    def hydraulic_diameter(self) -> float:
        """4 x free section x length over wetted area, m."""

    @property
    @abstractmethod
    def area_density(self) -> float:
        """Wetted area per volume of the layer, 1/m."""

    @property
    @abstractmethod
    def free_share(self) -> float:
        """Smallest free section over the layer's section."""

    @property
    @abstractmethod
    def fin_share(self) -> float:
        """Share of the wetted area that is fin; 0 without fins."""

    @property
    @abstractmethod
    def metal_share(self) -> float:
        """Share of the layer's volume that is fin metal (walls are the core's)."""

    @property
    def reference_length(self) -> float:
        """Length in Re, m."""
        return self.hydraulic_diameter

    def reynolds(self, G: ArrayLike, mu: ArrayLike) -> Number:
        """Re = G x reference_length / mu."""
        return (np.asarray(G, dtype=float) * self.reference_length / np.asarray(mu, dtype=float))[()]

    @abstractmethod
    def nusselt(self, Re: ArrayLike, Pr: ArrayLike, length: float) -> Number:
        """Mean Nusselt number on the hydraulic diameter over a flow length, Re on `reference_length`."""

    @abstractmethod
    def f(self, Re: ArrayLike, length: float) -> Number:
        """Mean FANNING friction factor over a flow length."""

    def film(self, G: ArrayLike, mu: ArrayLike, Pr: ArrayLike, k: ArrayLike, length: float) -> Number:
        """Film coefficient, W/(m2 K), at mass flux G >= 0 of a fluid of viscosity mu and conductivity k."""
        Nu = self.nusselt(self.reynolds(G, mu), Pr, length)
        return (np.asarray(Nu) * np.asarray(k, dtype=float) / self.hydraulic_diameter)[()]

    @abstractmethod
    def efficiency(self, h: ArrayLike, conductivity: float) -> Number:
        """Surface efficiency eta_o at film coefficient h with fins of this conductivity; 1 without fins."""

    @abstractmethod
    def extrapolated(self, Re: ArrayLike, Pr: ArrayLike) -> list[str]:
        """One sentence for each number outside its correlation's range."""


def _positive(fin: Surface, *names: str) -> None:
    for name in names:
        require(name, getattr(fin, name), low=0.0, open_low=True)


@dataclass(frozen=True)
class OffsetStripFin(Surface):
    """Offset strip fin between plates: `height` plate to plate, `pitch` web to web, `thickness`, `strip_length`.

    Free width s = pitch - thickness, free height h = height - thickness.  Source: ManglikBergles1995.
    """

    height: float
    pitch: float
    thickness: float
    strip_length: float

    def __post_init__(self) -> None:
        _positive(self, "height", "pitch", "thickness", "strip_length")
        if self.thickness >= self.pitch or 2.0 * self.thickness >= self.height:
            raise BadInput("a fin's thickness must be less than its pitch and less than half its height")

    @cached_property
    def _cell(self) -> tuple[float, float, float, float]:
        """Free width and height; area of a cell of one strip, and the fin's part of it."""
        s, h, t, length = self.pitch - self.thickness, self.height - self.thickness, self.thickness, self.strip_length
        return s, h, 2.0 * (s * length + h * length + t * h) + t * s, 2.0 * h * length + 2.0 * t * h + t * s

    @cached_property
    def _numbers(self) -> tuple[float, float, float]:
        s, h, _, _ = self._cell
        return s / h, self.thickness / self.strip_length, self.thickness / s

    @property
    def hydraulic_diameter(self) -> float:
        """4 s h l over the cell's area, as the source defines it, m."""
        s, h, area, _ = self._cell
        return 4.0 * s * h * self.strip_length / area

    @property
    def area_density(self) -> float:
        """Wetted area per volume of the layer, 1/m."""
        return self._cell[2] / (self.height * self.pitch * self.strip_length)

    @property
    def free_share(self) -> float:
        """Free section over the layer's section."""
        s, h, _, _ = self._cell
        return s * h / (self.height * self.pitch)

    @property
    def fin_share(self) -> float:
        """Share of the wetted area that is fin."""
        return self._cell[3] / self._cell[2]

    @property
    def metal_share(self) -> float:
        """What is not free is fin."""
        return 1.0 - self.free_share

    def j(self, Re: ArrayLike) -> Number:
        """Colburn factor at Re > 0.  Source: ManglikBergles1995."""
        return correlations.colburn_offset_strip(Re, *self._numbers)

    def nusselt(self, Re: ArrayLike, Pr: ArrayLike, length: float) -> Number:
        """j Re Pr^(1/3), and not below a developed laminar channel of the same section (met under Re about 50)."""
        size = np.maximum(np.asarray(Re, dtype=float), _SMALLEST_RE)
        still = correlations.nusselt_rectangular(_aspect(*self._cell[:2]), wall="T")
        return np.maximum(np.asarray(self.j(size)) * size * np.cbrt(np.asarray(Pr, dtype=float)), still)[()]

    def f(self, Re: ArrayLike, length: float = 1.0) -> Number:
        """FANNING friction factor, whatever the length; not below a laminar channel's (met under Re about 10)."""
        size = np.maximum(np.asarray(Re, dtype=float), _SMALLEST_RE)
        still = correlations.laminar_friction_rectangular(_aspect(*self._cell[:2])) / size
        return np.maximum(np.asarray(correlations.friction_offset_strip(size, *self._numbers)), still)[()]

    def efficiency(self, h: ArrayLike, conductivity: float) -> Number:
        """Surface efficiency, fin from both plates to its middle: length height/2 - thickness."""
        half = 0.5 * self.height - self.thickness
        eta = fin_efficiency(h, conductivity, self.thickness, half, self.thickness / self.strip_length)
        return surface_efficiency(eta, self.fin_share)

    def extrapolated(self, Re: ArrayLike, Pr: ArrayLike) -> list[str]:
        """One sentence for each number outside the correlation's range."""
        return correlations.extrapolated("colburn_offset_strip", Re=Re, Pr=Pr)


def _aspect(a: float, b: float) -> float:
    return min(a, b) / max(a, b)


@dataclass(frozen=True)
class PlainFin(Surface):
    """Plain straight fin between plates: rectangular channels; `height`, `pitch`, `thickness` as the strip fin's."""

    height: float
    pitch: float
    thickness: float

    def __post_init__(self) -> None:
        _positive(self, "height", "pitch", "thickness")
        if self.thickness >= self.pitch or 2.0 * self.thickness >= self.height:
            raise BadInput("a fin's thickness must be less than its pitch and less than half its height")

    @property
    def _free(self) -> tuple[float, float]:
        return self.pitch - self.thickness, self.height - self.thickness

    @property
    def hydraulic_diameter(self) -> float:
        """2 s h/(s + h), m."""
        s, h = self._free
        return 2.0 * s * h / (s + h)

    @property
    def area_density(self) -> float:
        """Wetted area per volume of the layer, 1/m."""
        return 2.0 * sum(self._free) / (self.height * self.pitch)

    @property
    def free_share(self) -> float:
        """Free section over the layer's section."""
        s, h = self._free
        return s * h / (self.height * self.pitch)

    @property
    def fin_share(self) -> float:
        """Share of the wetted area that is fin: h/(s + h)."""
        s, h = self._free
        return h / (s + h)

    @property
    def metal_share(self) -> float:
        """What is not free is fin."""
        return 1.0 - self.free_share

    def nusselt(self, Re: ArrayLike, Pr: ArrayLike, length: float) -> Number:
        """Channel of this section and length, wall at one temperature (`correlations.nusselt_channel`)."""
        return correlations.nusselt_channel(Re, Pr, length / self.hydraulic_diameter, _aspect(*self._free))

    def f(self, Re: ArrayLike, length: float) -> Number:
        """Apparent FANNING friction factor of the channel (`correlations.friction_channel`)."""
        return correlations.friction_channel(Re, length / self.hydraulic_diameter, _aspect(*self._free))

    def efficiency(self, h: ArrayLike, conductivity: float) -> Number:
        """Surface efficiency, fin from both plates to its middle."""
        half = 0.5 * self.height - self.thickness
        return surface_efficiency(fin_efficiency(h, conductivity, self.thickness, half), self.fin_share)

    def extrapolated(self, Re: ArrayLike, Pr: ArrayLike) -> list[str]:
        """One sentence for each number outside the correlation's range."""
        return correlations.extrapolated("nusselt_channel", Re=Re, Pr=Pr)


@dataclass(frozen=True)
class LouveredFin(Surface):
    """Corrugated louvered fin between flat tubes.

    `tube_pitch` tube to tube, `tube_thickness` of a tube across the stack, outside (fin height is the
    difference), `fin_pitch` one fin to the next along the tube, `fin_thickness`, `louver_pitch`,
    `louver_length` across the fin, `louver_angle` in degrees, `depth` along the flow.
    Source: ChangWang1997 for j, ChangHsuLinWang2000 with Chang2006 for f; most data within +-15 %.
    """

    tube_pitch: float
    tube_thickness: float
    fin_pitch: float
    fin_thickness: float
    louver_pitch: float
    louver_length: float
    louver_angle: float
    depth: float

    def __post_init__(self) -> None:
        _positive(self, "tube_pitch", "tube_thickness", "fin_pitch", "fin_thickness", "louver_pitch", "louver_length")
        _positive(self, "louver_angle", "depth")
        if self.tube_thickness >= self.tube_pitch or self.louver_length > self.height:
            raise BadInput("tubes must be thinner than their pitch, and louvers no longer than the fin between them")
        share = self.fin_thickness / self.fin_pitch
        if not _SMALLEST_THICKNESS_SHARE <= share < 0.5:
            raise BadInput(
                f"fin_thickness over fin_pitch = {share:.3g} is out of range; the friction of louvers "
                f"is known from {_SMALLEST_THICKNESS_SHARE:g} on, and a fin must leave half its pitch free"
            )

    @property
    def height(self) -> float:  # type: ignore[override]
        """Fin length between the tubes, m."""
        return self.tube_pitch - self.tube_thickness

    @property
    def hydraulic_diameter(self) -> float:
        """4 x free section x depth over wetted area, m."""
        return 4.0 * self.free_share / self.area_density

    @property
    def area_density(self) -> float:
        """Wetted area (fins, and tubes between them) per volume of the layer, 1/m."""
        gap = self.fin_pitch - self.fin_thickness
        return 2.0 * (gap + self.height) / (self.fin_pitch * self.height)

    @property
    def free_share(self) -> float:
        """Free section over the layer's section."""
        return 1.0 - self.fin_thickness / self.fin_pitch

    @property
    def fin_share(self) -> float:
        """Share of the wetted area that is fin."""
        return self.height / (self.fin_pitch - self.fin_thickness + self.height)

    @property
    def metal_share(self) -> float:
        """Share of the layer's volume that is fin metal."""
        return self.fin_thickness / self.fin_pitch

    @property
    def reference_length(self) -> float:
        """Re of louvers stands on their pitch, m."""
        return self.louver_pitch

    def j(self, Re: ArrayLike) -> Number:
        """Colburn factor at Re > 0 on the louver pitch.  Source: ChangWang1997."""
        size = np.asarray(Re, dtype=float)
        require("Re", size, low=0.0, open_low=True)
        L = self.louver_pitch
        shape = (
            (self.louver_angle / 90.0) ** 0.27
            * (self.fin_pitch / L) ** -0.14
            * (self.height / L) ** -0.29
            * (self.depth / L) ** -0.23
            * (self.louver_length / L) ** 0.68
            * (self.tube_pitch / L) ** -0.28
            * (self.fin_thickness / L) ** -0.05
        )
        return (shape * size**-0.49)[()]

    def nusselt(self, Re: ArrayLike, Pr: ArrayLike, length: float) -> Number:
        """j on the hydraulic diameter, and not below a developed laminar channel between two fins."""
        size = np.maximum(np.asarray(Re, dtype=float), _SMALLEST_RE)
        on_diameter = size * self.hydraulic_diameter / self.louver_pitch
        gap = self.fin_pitch - self.fin_thickness
        still = correlations.nusselt_rectangular(_aspect(gap, self.height), wall="T")
        return np.maximum(np.asarray(self.j(size)) * on_diameter * np.cbrt(np.asarray(Pr, dtype=float)), still)[()]

    def f(self, Re: ArrayLike, length: float = 1.0) -> Number:
        """FANNING friction factor, Re on the louver pitch; the depth is the fin's own.

        Two formulas, below Re 130 and above 230, and their quadratic blend between; below Re 30 carried on
        as 1/Re (own).  Source: ChangHsuLinWang2000, Chang2006.
        """
        size = np.maximum(np.asarray(Re, dtype=float), _SMALLEST_RE)
        require("Re", size, low=0.0)
        low, high = _LOUVER_BLEND
        share = np.clip((high - size) / (high - low), 0.0, 1.0)  # of the low formula, (1 + w)/2 with w of the source
        held = np.maximum(size, _LOUVER_LOWEST_RE)
        slow, fast = self._f_low(np.minimum(held, low)), self._f_high(np.maximum(size, high))
        return (np.sqrt(share * slow**2 + (1.0 - share) * fast**2) * held / size)[()]

    def _f_low(self, Re: Array) -> Array:
        L, F, t = self.louver_pitch, self.fin_pitch, self.fin_thickness
        shape = (
            14.39
            * np.log(1.0 + F / L) ** 3.04
            * np.log((t / F) ** 0.48 + 0.9) ** -1.435
            * (self.hydraulic_diameter / L) ** -3.01
            * (F / self.louver_length) ** -0.308
            * (self.depth / self.louver_length) ** -0.308
            * np.exp(-0.1167 * self.tube_pitch / self.tube_thickness)
            * self.louver_angle**0.35
        )
        return np.asarray(shape * Re ** (-0.805 * F / self.height) * np.log(0.5 * Re) ** -3.01)

    def _f_high(self, Re: Array) -> Array:
        L, F, t = self.louver_pitch, self.fin_pitch, self.fin_thickness
        shape = (
            4.97
            * np.log((t / F) ** 0.5 + 0.9) ** -0.527
            * (F / self.louver_length) ** (-0.7931 * self.tube_pitch / self.height)
            * (self.tube_pitch / self.tube_thickness) ** -0.0446
            * np.log(1.2 + (L / F) ** 1.4) ** -3.553
            * self.louver_angle**-0.477
        )
        power = 0.6049 - 1.064 / self.louver_angle**0.2
        return np.asarray(shape * Re**power * (self.hydraulic_diameter / L * np.log(0.3 * Re)) ** -2.966)

    def efficiency(self, h: ArrayLike, conductivity: float) -> Number:
        """Surface efficiency, fin from both tubes to its middle."""
        edge = self.fin_thickness / self.depth
        eta = fin_efficiency(h, conductivity, self.fin_thickness, 0.5 * self.height, edge)
        return surface_efficiency(eta, self.fin_share)

    def extrapolated(self, Re: ArrayLike, Pr: ArrayLike) -> list[str]:
        """One sentence for each number outside the correlation's range."""
        return correlations.extrapolated(
            "louvered_fin",
            Re=Re,
            louver_pitch=self.louver_pitch,
            fin_pitch=self.fin_pitch,
            tube_pitch=self.tube_pitch,
            depth=self.depth,
            louver_angle=self.louver_angle,
        )


@dataclass(frozen=True)
class FlatTube(Surface):
    """Liquid (or gas) in flat tubes with round ends and smooth walls.

    `height` across the stack and `width` along the other stream, both inside; `gap` from the inside of one
    tube to the inside of the next along the other stream (two walls, and what lies between rows).
    Thin tubes with glycol are laminar; dimples, which these formulas do not know, then matter.
    """

    height: float
    width: float
    gap: float = 0.0

    def __post_init__(self) -> None:
        _positive(self, "height", "width")
        require("gap", self.gap, low=0.0)
        if self.height > self.width:
            raise BadInput("a flat tube must be at least as wide as high")

    @property
    def _section(self) -> float:
        return self.height * (self.width - self.height) + 0.25 * np.pi * self.height**2

    @property
    def _perimeter(self) -> float:
        return 2.0 * (self.width - self.height) + np.pi * self.height

    @property
    def hydraulic_diameter(self) -> float:
        """4 x section over perimeter, m."""
        return 4.0 * self._section / self._perimeter

    @property
    def area_density(self) -> float:
        """Inner wall per volume of the layer, 1/m."""
        return self._perimeter / (self.height * (self.width + self.gap))

    @property
    def free_share(self) -> float:
        """Free section over the layer's section."""
        return self._section / (self.height * (self.width + self.gap))

    @property
    def fin_share(self) -> float:
        """No fins."""
        return 0.0

    @property
    def metal_share(self) -> float:
        """No fins; the tube's wall is the core's."""
        return 0.0

    def nusselt(self, Re: ArrayLike, Pr: ArrayLike, length: float) -> Number:
        """Channel of this aspect and length, wall at one temperature (`correlations.nusselt_channel`)."""
        return correlations.nusselt_channel(Re, Pr, length / self.hydraulic_diameter, self.height / self.width)

    def f(self, Re: ArrayLike, length: float) -> Number:
        """Apparent FANNING friction factor of the channel (`correlations.friction_channel`)."""
        return correlations.friction_channel(Re, length / self.hydraulic_diameter, self.height / self.width)

    def efficiency(self, h: ArrayLike, conductivity: float) -> Number:
        """No fins: 1."""
        return np.ones_like(np.asarray(h, dtype=float))[()]

    def extrapolated(self, Re: ArrayLike, Pr: ArrayLike) -> list[str]:
        """One sentence for each number outside the correlation's range."""
        return correlations.extrapolated("nusselt_channel", Re=Re, Pr=Pr)
