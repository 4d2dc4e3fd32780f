"""The unburnt charge while it is compressed: air, fuel vapour and burnt gas left from the cycle before.

What is here: `EndGas` (ratio of specific heats and isentropes with variable specific heat) and its makers `end_gas`,
`of_shares`.  Taking it for air alone is the worst single error of a knock estimate: fuel vapour makes it 100 K colder
when compressed to 80 bar.  Ideal gas, composition frozen; K and J/(kg K).  What is not: burnt gas and chemistry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from coldside.errors import BadInput, require
from coldside.media.air import GAS_CONSTANT
from coldside.media.fuels import Fuel

Number = Any  # float or array in, the broadcast shape out

LOWEST, HIGHEST = 220.0, 3000.0  # K, range of the tables
_KNOTS = 600  # even in ln T: linear interpolation is then within 1e-5 of the polynomials
_BREAK = 1000.0  # K, where the two fits of each species meet

# McBride1993 (the set from 200 K): molar mass, kg/mol; cp/R below and above 1000 K, powers 0 to 4 of T.
_SPECIES: dict[str, tuple[float, tuple[float, ...], tuple[float, ...]]] = {
    "N2": (
        0.028014,
        (3.53100528, -1.23660987e-04, -5.02999437e-07, 2.43530612e-09, -1.40881235e-12),
        (2.95257626, 1.39690057e-03, -4.92631691e-07, 7.86010367e-11, -4.60755321e-15),
    ),
    "O2": (
        0.031998,
        (3.78245636, -2.99673415e-03, 9.847302e-06, -9.68129508e-09, 3.24372836e-12),
        (3.66096083, 6.56365523e-04, -1.41149485e-07, 2.05797658e-11, -1.29913248e-15),
    ),
    "Ar": (0.03995, (2.5, 0.0, 0.0, 0.0, 0.0), (2.5, 0.0, 0.0, 0.0, 0.0)),
    "H2O": (
        0.018015,
        (4.19864056, -2.0364341e-03, 6.52040211e-06, -5.48797062e-09, 1.77197817e-12),
        (2.67703787, 2.97318329e-03, -7.7376969e-07, 9.44336689e-11, -4.26900959e-15),
    ),
    "CO2": (
        0.044009,
        (2.35677352, 8.98459677e-03, -7.12356269e-06, 2.45919022e-09, -1.43699548e-13),
        (4.63659493, 2.74131991e-03, -9.95828531e-07, 1.60373011e-10, -9.16103468e-15),
    ),
    "CO": (
        0.028010,
        (3.57953347, -6.1035368e-04, 1.01681433e-06, 9.07005884e-10, -9.04424499e-13),
        (3.04848583, 1.35172818e-03, -4.85794075e-07, 7.88536486e-11, -4.69807489e-15),
    ),
    "H2": (
        0.002016,
        (2.34433112, 7.98052075e-03, -1.9478151e-05, 2.01572094e-08, -7.37611761e-12),
        (2.93286579, 8.26607967e-04, -1.46402335e-07, 1.54100359e-11, -6.88804432e-16),
    ),
    "iso-octane": (
        0.114232,
        (0.815737338, 7.32643959e-02, 1.78300688e-05, -6.93589620e-08, 3.21629382e-11),
        (15.9899273, 5.53184790e-02, -1.95267072e-05, 3.11779172e-09, -1.85312577e-13),
    ),
    "toluene": (
        0.092141,
        (1.61191400, 2.11188902e-02, 8.53221453e-05, -1.32566876e-07, 5.59406109e-11),
        (12.9394750, 2.66921558e-02, -9.68420108e-06, 1.57392140e-09, -9.46670482e-14),
    ),
    "ethanol": (
        0.046069,
        (4.85868178, -3.74006740e-03, 6.95550267e-05, -8.86541147e-08, 3.51684430e-11),
        (6.56289770, 1.52034264e-02, -5.38922247e-06, 8.62150224e-10, -5.12824683e-14),
    ),
    "methanol": (
        0.032042,
        (5.71539582, -1.52309129e-02, 6.52441155e-05, -7.10806889e-08, 2.61352698e-11),
        (3.60134486, 1.02430954e-02, -3.59985517e-06, 5.72505986e-10, -3.39117640e-14),
    ),
}
_ATOMS = {"iso-octane": (8, 18, 0), "toluene": (7, 8, 0), "ethanol": (2, 6, 1), "methanol": (1, 4, 1)}  # C, H, O
_AIR = {"N2": 0.7808, "O2": 0.2095, "Ar": 0.0097}  # molar
GASOLINE = {"iso-octane": 0.65, "toluene": 0.35}  # by mass, the vapour that stands for gasoline (own)


@dataclass(frozen=True, eq=False)
class EndGas:
    """A frozen mixture with variable specific heat.

    `R` J/(kg K); the tables run over ln T: cp over R, and s0/R = integral of cp/(R T) from the first knot.
    """

    R: float
    log_T: np.ndarray
    cp_over_R: np.ndarray
    s_over_R: np.ndarray

    def gamma(self, T: Number) -> Number:
        """Ratio of specific heats at `T` [K]; held beyond 220 to 3000 K."""
        ratio = np.interp(np.log(T), self.log_T, self.cp_over_R)
        return ratio / (ratio - 1.0)

    def isentropic(self, T: Number, pressure_ratio: Number) -> Number:
        """Temperature [K] after an isentropic change by `pressure_ratio` (> 0) from `T` [K]; 220 to 3000 K."""
        s = np.interp(np.log(T), self.log_T, self.s_over_R) + np.log(pressure_ratio)
        return np.exp(np.interp(s, self.s_over_R, self.log_T))

    def gamma_along(self, T: Number, pressure_ratio: Number) -> Number:
        """Ratio of specific heats after an isentropic change by `pressure_ratio` from `T` [K], in one step."""
        s = np.interp(np.log(T), self.log_T, self.s_over_R) + np.log(pressure_ratio)
        ratio = np.interp(s, self.s_over_R, self.cp_over_R)
        return ratio / (ratio - 1.0)

    def isentropic_by_volume(self, T: Number, volume_ratio: Number) -> Number:
        """Temperature [K] after the volume has shrunk isentropically by `volume_ratio` (> 0) from `T` [K]."""
        shifted = self.s_over_R - self.log_T  # of s0 - R ln T, constant along s0 - R ln T - R ln(V1/V2)
        s = np.interp(np.log(T), self.log_T, shifted) + np.log(volume_ratio)
        return np.exp(np.interp(s, shifted, self.log_T))


@dataclass(frozen=True)
class PerfectGas:
    """A gas of one ratio of specific heats, in the place of an `EndGas`: for closed forms."""

    ratio: float

    def gamma(self, T: Number) -> Number:
        """The ratio, at any `T`."""
        return self.ratio + 0.0 * np.asarray(T, dtype=float)

    def gamma_along(self, T: Number, pressure_ratio: Number) -> Number:
        """The ratio, whatever happens."""
        return self.ratio + 0.0 * np.asarray(pressure_ratio, dtype=float)

    def isentropic(self, T: Number, pressure_ratio: Number) -> Number:
        """T PR^((g - 1)/g)."""
        return np.asarray(T, dtype=float) * np.asarray(pressure_ratio, dtype=float) ** (1.0 - 1.0 / self.ratio)


def of_shares(moles: Mapping[str, float]) -> EndGas:
    """The gas of these moles of N2, O2, Ar, H2O, CO2, CO, H2, iso-octane, toluene, ethanol, methanol.

    Source: McBride1993.  BadInput for another species or nothing at all.
    """
    unknown = [name for name in moles if name not in _SPECIES]
    if unknown:
        raise BadInput(f"{unknown[0]!r} is no species of the end gas; these are: {', '.join(_SPECIES)}")
    require("moles", np.array(list(moles.values())), low=0.0)
    total = sum(moles.values())
    if total <= 0.0:
        raise BadInput("a gas needs moles of something")
    T = np.exp(np.linspace(np.log(LOWEST), np.log(HIGHEST), _KNOTS))
    powers = np.vander(T, 5, increasing=True)
    cp, mass = np.zeros(_KNOTS), 0.0
    for name, amount in moles.items():
        molar_mass, low, high = _SPECIES[name]
        cp += amount / total * np.where(_BREAK < T, powers @ np.array(high), powers @ np.array(low))
        mass += amount / total * molar_mass
    log_T = np.log(T)
    steps = 0.5 * (cp[1:] + cp[:-1]) * np.diff(log_T)  # ds = cp d ln T
    return EndGas(GAS_CONSTANT / mass, log_T, cp, np.concatenate([[0.0], np.cumsum(steps)]))


def vapour(fuel: Fuel) -> dict[str, float]:
    """Moles of each vapour in one kilogram of `fuel`; gasoline is 65 % iso-octane and 35 % toluene by mass."""
    moles: dict[str, float] = {}
    for content, share in fuel.contents:
        for species, part in (GASOLINE if content == "gasoline" else {content: 1.0}).items():
            moles[species] = moles.get(species, 0.0) + share * part / _SPECIES[species][0]
    return moles


def _burnt(fuel_moles: Mapping[str, float], lambda_: float) -> dict[str, float]:
    """Products of this fuel with its air: complete, but where oxygen lacks carbon keeps CO first, then H2 stays.

    Real rich products share the lack between CO and H2; at 5 % of the charge that moves gamma by less than 0.001.
    """
    carbon, hydrogen, oxygen = (sum(moles * _ATOMS[name][i] for name, moles in fuel_moles.items()) for i in range(3))
    needed = carbon + hydrogen / 4.0 - oxygen / 2.0
    air = lambda_ * needed / _AIR["O2"]
    lack = 2.0 * max(0.0, 1.0 - lambda_) * needed  # atoms of oxygen
    CO = min(carbon, lack)
    H2 = min(hydrogen / 2.0, lack - CO)
    return {
        "N2": air * _AIR["N2"],
        "Ar": air * _AIR["Ar"],
        "O2": max(0.0, lambda_ - 1.0) * needed,
        "CO2": carbon - CO,
        "CO": CO,
        "H2": H2,
        "H2O": hydrogen / 2.0 - H2,
    }


@lru_cache(maxsize=32)
def end_gas(fuel: Fuel, lambda_: float, residual_share: float = 0.0) -> EndGas:
    """Dry air with all of `fuel` as vapour at air-fuel equivalence ratio `lambda_`, and burnt gas of the same mixture.

    `residual_share` 0 to 0.5 by mass of the whole; `lambda_` 0.4 to 3; BadInput outside.  Source: McBride1993.
    """
    require("lambda", lambda_, low=0.4, high=3.0)
    require("residual_share", residual_share, low=0.0, high=0.5)
    fuel_moles = vapour(fuel)
    needed = sum(
        moles * (_ATOMS[name][0] + _ATOMS[name][1] / 4.0 - _ATOMS[name][2] / 2.0) for name, moles in fuel_moles.items()
    )
    air = lambda_ * needed / _AIR["O2"]
    fresh = {**{name: air * share for name, share in _AIR.items()}, **fuel_moles}
    burnt = _burnt(fuel_moles, lambda_)
    # both have the mass of one kilogram of fuel with its air, so shares by mass are shares of these moles
    moles = {name: (1.0 - residual_share) * amount for name, amount in fresh.items()}
    for name, amount in burnt.items():
        moles[name] = moles.get(name, 0.0) + residual_share * amount
    return of_shares(moles)
