"""A core's face at a standstill: how the air in front of it and a hot face behind it warm the metal.

What is here: films of natural convection and of radiation on a vertical face, and the conductance of a whole face
that the default `pickup` of an air core stands for.  Library functions: nothing in `plant/` calls them; a script
finds with `face_conductance` what to write as `pickup` for a face much larger or smaller than 0.18 m2.  What is not:
draught through the core (`airflow.py`) and the march of the metal's temperature (`plant/`).
"""

from __future__ import annotations

from coldside.errors import require
from coldside.media import air
from coldside.parts.correlations import nusselt_vertical_plate
from coldside.parts.pump import GRAVITY
from coldside.parts.shielding import STEFAN_BOLTZMANN

FINNED_FACE = 0.85  # emissivity of a finned face, whose gaps act as cavities (heat note C4; common practice)
_PRESSURE = 101325.0  # Pa


def radiation_film(T1: float, T2: float, emissivity: float = FINNED_FACE) -> float:
    """Film of radiation between a grey face and what it looks at, W/(m2 K) of the difference of their temperatures.

    e sigma (T1^4 - T2^4)/(T1 - T2) = e sigma (T1 + T2)(T1^2 + T2^2) (textbook); T1, T2 in K, above 0.
    """
    require("temperature", T1, low=0.0, open_low=True)
    require("temperature", T2, low=0.0, open_low=True)
    require("emissivity", emissivity, low=0.0, high=1.0)
    return emissivity * STEFAN_BOLTZMANN * (T1 + T2) * (T1**2 + T2**2)


def convection_film(T_face: float, T_air: float, height: float) -> float:
    """Film of natural convection on a vertical face, W/(m2 K).

    ChurchillChu1975 with air's properties at the mean of both temperatures and 1/T as its expansion; temperatures in
    K within the range of `media.air`, `height` in m, above 0.
    """
    require("height", height, low=0.0, open_low=True)
    T = 0.5 * (T_face + T_air)
    density, mu, k = float(air.density(T, _PRESSURE)), float(air.viscosity(T)), float(air.conductivity(T))
    Pr = float(air.prandtl(T))
    Ra = GRAVITY / T * abs(T_face - T_air) * height**3 * density**2 / mu**2 * Pr
    return float(nusselt_vertical_plate(Ra, Pr)) * k / height


def face_conductance(area: float, height: float, T_air: float, T_behind: float) -> float:
    """Heat conductance into a standing core of face `area` [m2], W/K of the difference between T_behind and T_air.

    A hot face behind it (a radiator, `T_behind`) radiates to its back, and warm air rises along both of its faces.
    A rule for a first estimate, good to half of itself (heat note C4): 0.18 m2 before a radiator of 95 degC on a day
    of 35 degC gives 3.4 W/K; an air core's default `pickup` is of that size.
    """
    require("area", area, low=0.0)
    return area * (radiation_film(T_behind, T_air) + 2.0 * convection_film(T_behind, T_air, height))
