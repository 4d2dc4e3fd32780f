"""Fuels: octane, heating value, air demand, and what their evaporation takes from the charge.

What is here: `Fuel`, `FUELS` (the names that `[engine] fuel` may use), `fuel` (reads a name or a blend), `mixed`,
`blend`, `octane_words`, `evaporation_drop`, `saturated_drop`, `vapour_pressure`, `stoichiometric_ratio`.  SI: J/kg,
kg/m3, kg/mol; air-fuel ratios are kg of dry air per kg of fuel.  What is not: knock.  Pump fuel scatters: gasoline +-2
octane and +-1 % heating value, and what is sold as E85 holds 51 to 83 % ethanol; measure it.

A number behind "gasoline" is RON, as most of the world's pumps show it.  Pumps of North America show half the sum of
RON and MON (USOctane), called AKI or (R+M)/2: "gasoline 93 AKI".  RON and MON of such a fuel are told apart by its
sensitivity, RON - MON, 8 to 10 of pump gasoline (common practice): here 9, so that RON is known to half a number.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from coldside.errors import BadInput, nearest, require

Number = Any  # float or array in, the broadcast shape out; NumPy scalars count as floats

_OXYGEN_SHARE = 0.2095  # molar, dry air
_AIR_MOLAR_MASS = 28.964e-3  # kg/mol
_ATOMS = {"C": 12.011e-3, "H": 1.008e-3, "O": 15.999e-3}  # kg/mol
_CP_AIR = 1006.0  # J/(kg K), of the charge while the fuel evaporates
_CP_FUEL_VAPOUR = 1600.0  # J/(kg K), about right for gasoline and alcohols near 300 K (from memory)


@dataclass(frozen=True)
class Fuel:
    """One fuel.

    `RON`, `MON` octane numbers; `heating_value` lower, J/kg; `stoichiometric` kg dry air per kg fuel;
    `latent_heat` J/kg at 25 degC; `density` kg/m3 at 15 degC; `molar_mass` kg/mol (of a blend: the mean);
    `source` key and standing of the figures; `contents` shares by mass of gasoline, ethanol and methanol, sum 1.
    """

    name: str
    RON: float
    MON: float
    heating_value: float
    stoichiometric: float
    latent_heat: float
    density: float
    molar_mass: float
    source: str
    contents: tuple[tuple[str, float], ...]

    @property
    def heat_per_air(self) -> float:
        """Heating value per kg of air at stoichiometric mixture, J/kg: 2.9 to 3.1 MJ for every fuel here."""
        return self.heating_value / self.stoichiometric

    @property
    def alcohol_share(self) -> float:
        """Share of ethanol and methanol by mass."""
        return sum(share for content, share in self.contents if content != "gasoline")

    def octane(self, K: float = 0.0) -> float:
        """Octane index RON - K (RON - MON): K 0 as in the RON test, 1 the MON test, below 0 in boosted cool engines.

        Source: OctaneIndex.
        """
        return self.RON - K * (self.RON - self.MON)


def stoichiometric_ratio(carbon: float, hydrogen: float, oxygen: float = 0.0) -> float:
    """Kilograms of dry air that burn one kilogram of C_a H_b O_c exactly; a + b/4 must exceed c/2.

    Source: Analytic, O2 share 0.2095, air 28.964 g/mol.
    """
    require("carbon", carbon, low=0.0)
    require("hydrogen", hydrogen, low=0.0)
    require("oxygen", oxygen, low=0.0)
    moles = carbon + hydrogen / 4.0 - oxygen / 2.0
    if moles <= 0.0:
        raise BadInput("this formula does not burn: it holds all the oxygen that it needs")
    mass = carbon * _ATOMS["C"] + hydrogen * _ATOMS["H"] + oxygen * _ATOMS["O"]
    return moles / _OXYGEN_SHARE * _AIR_MOLAR_MASS / mass


def _gasoline(grade: int, MON: float) -> Fuel:
    """Gasoline without ethanol of one pump grade."""
    return Fuel(
        name=f"gasoline {grade}",
        RON=float(grade),
        MON=MON,
        heating_value=43.0e6,
        stoichiometric=14.6,
        latent_heat=350e3,
        density=750.0,
        molar_mass=0.103,
        source="EN228 for 95/85; AFDC for heat and mass; other grades Practice",
        contents=(("gasoline", 1.0),),
    )


_ETHANOL = Fuel(
    name="ethanol",
    RON=109.0,
    MON=90.0,
    heating_value=26.81e6,
    stoichiometric=stoichiometric_ratio(2, 6, 1),
    latent_heat=920.7e3,
    density=793.6,
    molar_mass=46.069e-3,
    source="octane Practice (AFDC 108/92); latent heat, density CoolProp; heating value Cantera, liquid",
    contents=(("ethanol", 1.0),),
)
_METHANOL = Fuel(
    name="methanol",
    RON=109.0,
    MON=89.0,
    heating_value=19.94e6,
    stoichiometric=stoichiometric_ratio(1, 4, 1),
    latent_heat=1169.0e3,
    density=795.6,
    molar_mass=32.042e-3,
    source="octane Practice (AFDC 107/92); latent heat, density CoolProp; heating value Cantera, liquid",
    contents=(("methanol", 1.0),),
)


def mixed(first: Fuel, second: Fuel, volume_share: float, *, name: str = "") -> Fuel:
    """`first` with `second` added to a volume share of 0 to 1 of the whole.

    Heating value, air demand and latent heat go by mass, density by volume (no contraction), octane by
    molar share without interaction (real blends lie up to a few numbers above).  At 0 the figures of the first,
    at 1 those of the second, exactly.  BadInput outside 0 to 1.
    Source: Analytic; octane AndersonWallington2020 (linear in molar share, interaction term 0).
    """
    require("volume_share", volume_share, low=0.0, high=1.0)
    v = float(volume_share)
    density = v * second.density + (1.0 - v) * first.density
    w = v * second.density / density
    moles, moles_first = w / second.molar_mass, (1.0 - w) / first.molar_mass
    x = moles / (moles + moles_first)

    def share(weight: float, quantity: str) -> float:
        return float(weight * getattr(second, quantity) + (1.0 - weight) * getattr(first, quantity))

    contents: dict[str, float] = {}
    for part, weight in ((first, 1.0 - w), (second, w)):
        for content, amount in part.contents:
            contents[content] = contents.get(content, 0.0) + weight * amount
    return Fuel(
        name=name or f"{first.name} with {100 * v:g} % {second.name}",
        RON=share(x, "RON"),
        MON=share(x, "MON"),
        heating_value=share(w, "heating_value"),
        stoichiometric=share(w, "stoichiometric"),
        latent_heat=share(w, "latent_heat"),
        density=density,
        molar_mass=1.0 / (moles + moles_first),
        source=f"Own: blended from {first.name} and {second.name}, octane by molar share (AndersonWallington2020)",
        contents=tuple((content, amount) for content, amount in contents.items() if amount > 0.0),
    )


def blend(base: Fuel, ethanol_volume_share: float, *, name: str = "") -> Fuel:
    """`base` with ethanol added to a volume share of 0 to 1 of the blend, as `mixed`; BadInput outside 0 to 1."""
    require("ethanol_volume_share", ethanol_volume_share, low=0.0, high=1.0)
    words = name or f"{base.name} with {100 * float(ethanol_volume_share):g} % ethanol by volume"
    return mixed(base, _ETHANOL, ethanol_volume_share, name=words)


_GASOLINE_95 = _gasoline(95, 85.0)

FUELS: dict[str, Fuel] = {
    item.name: item
    for item in (
        _GASOLINE_95,
        _gasoline(98, 87.5),
        _gasoline(100, 89.0),
        blend(_GASOLINE_95, 0.10, name="E10"),
        blend(_GASOLINE_95, 0.85, name="E85"),
        _ETHANOL,
        _METHANOL,
    )
}


_BLEND = re.compile(
    r"(?P<first>.+?)\s+with\s+(?P<share>[0-9]+(?:\.[0-9]+)?)\s*%\s*(?P<second>.+?)(?:\s+by volume)?\s*\Z"
)
_ETHANOL_NUMBER = re.compile(r"[Ee]([1-9][0-9]?)\Z")  # the trade's name of gasoline with so many percent by volume
_OCTANE = re.compile(r"gasoline\s+(?P<number>[0-9]+(?:\.[0-9]+)?)\s*(?P<scale>AKI|\(R\s*\+\s*M\)\s*/\s*2|RON)\Z", re.I)
_PUMPED = re.compile(r"gasoline ([0-9.]+) AKI")
_BARE = re.compile(r"(?:[a-z ]*\s)?(?P<number>[0-9]{2,3}(?:\.[0-9]+)?)(?:\s+octane)?\Z", re.I)
SENSITIVITY = 9.0  # RON - MON of pump gasoline known by its AKI; 8 to 10, common practice
_UNCASED = {name.casefold(): name for name in FUELS}  # "e85" is E85
OCTANES = {"AKI": (80.0, 115.0), "RON": (85.0, 120.0)}  # of gasoline, what is sold for road and track
PUMPS = (84.0, 95.0)  # AKI on pumps of North America; common practice
FORMS = '"gasoline 98", "gasoline 93 AKI", "E85" or a blend by volume, "gasoline 98 with 40 % E85"'


@lru_cache(maxsize=128)
def fuel(name: str) -> Fuel:
    """The fuel of this name, or the blend of two that it names, by volume: "gasoline 98 with 40 % E85".

    "gasoline 98" and "gasoline 98 RON" are the same, "gasoline 93 AKI" (or "(R+M)/2") is what a pump in North America
    shows, "E40" gasoline 95 with 40 % of ethanol.  A blend's name comes out in that form.  BadInput for anything
    else, with the allowed names and the nearest.
    """
    words = " ".join(name.split())
    if simple := _simple(words):
        return simple
    if numbered := _ETHANOL_NUMBER.match(words):
        return blend(_GASOLINE_95, int(numbered[1]) / 100.0, name=words.upper())
    found = _BLEND.match(words)
    if not found:
        if hint := _pump_hint(words):
            raise BadInput(f"fuel {name!r} is not known; {hint}")
        raise BadInput(f"fuel {name!r} is not known; it must be one of {', '.join(FUELS)}{_closest(words)}; or {FORMS}")
    pair = []
    for which in ("first", "second"):
        part = found[which]
        one = _simple(part)
        if one is None:
            hint = _pump_hint(part) or f"a blend is made of {', '.join(FUELS)}{_closest(part)}"
            raise BadInput(f"fuel {name!r}: {part!r} is not known; {hint}")
        pair.append(one)
    share = float(found["share"])
    if share > 100.0:
        raise BadInput(f"fuel {name!r}: a share of {share:g} % is more than all; it must be from 0 to 100 %")
    return mixed(pair[0], pair[1], share / 100.0)


def octane_words(kind: Fuel) -> str | None:
    """What a pump's number in a fuel's name was taken for, RON and MON; None where there is none."""
    found = _PUMPED.search(kind.name)
    base = None if found is None else _simple(found[0])
    if found is None or base is None:
        return None
    return (
        f"{found[1]}, the (R+M)/2 of a North American pump, is taken for RON {base.RON:g} and MON {base.MON:g}, each "
        "known to half a number"
    )


def _simple(words: str) -> Fuel | None:
    """A fuel of one name, or gasoline of an octane number on a named scale; None for anything else."""
    if (cased := _UNCASED.get(words.casefold())) is not None:
        return FUELS[cased]
    found = _OCTANE.match(words)
    if found is None:
        return None
    number, scale = float(found["number"]), "RON" if found["scale"].upper() == "RON" else "AKI"
    low, high = OCTANES[scale]
    if not low <= number <= high:
        raise BadInput(
            f"fuel {words!r}: gasoline of {number:g} {scale} is not sold; it must be from {low:g} to {high:g}"
        )
    if scale == "RON":
        known = FUELS.get(f"gasoline {number:g}")
        return known or replace(
            _GASOLINE_95, name=f"gasoline {number:g} RON", RON=number, MON=number - _GASOLINE_95.RON + _GASOLINE_95.MON
        )
    half = 0.5 * SENSITIVITY
    source = "octane USOctane with a sensitivity of 9, Practice; heat and mass of gasoline 95"
    return replace(_GASOLINE_95, name=f"gasoline {number:g} AKI", RON=number + half, MON=number - half, source=source)


def _pump_hint(words: str) -> str:
    """For a bare number that a pump in North America may show: which of the two scales is meant must be said."""
    found = _BARE.match(words)
    if found is None or not PUMPS[0] <= float(found["number"]) <= PUMPS[1]:
        return ""
    n = found["number"]
    return (
        f'say which {n} is meant: "gasoline {n} AKI" is what a North American pump shows, (R+M)/2, about RON '
        f'{float(n) + 0.5 * SENSITIVITY:g}; "gasoline {n} RON" is the number of pumps elsewhere'
    )


def _closest(name: str) -> str:
    hint = nearest(name, FUELS)
    return f"; nearest: {hint!r}" if hint else ""


def evaporation_drop(fuel: Fuel, lambda_: ArrayLike, share: ArrayLike = 1.0) -> Number:
    """How far evaporating fuel cools the charge, K, when `share` of its heat comes from the charge.

    lambda_ air-fuel equivalence ratio (> 0), share 0 to 1: about 0.7 direct injection
    (KasserisHeywood2012), 0.2 to 0.5 port injection (Practice; the rest comes from walls).  Upper limit:
    a cold plenum may saturate before all has evaporated, which this does not know.
    Source: enthalpy balance, f L / (cp_air + f cp_vapour), f = 1/(lambda AFR).
    """
    mixture, part = np.asarray(lambda_, dtype=float), np.asarray(share, dtype=float)
    require("lambda", mixture, low=0.0, open_low=True)
    require("share", part, low=0.0, high=1.0)
    f = 1.0 / (mixture * fuel.stoichiometric)
    return (part * f * fuel.latent_heat / (_CP_AIR + f * _CP_FUEL_VAPOUR))[()]


# log10(p/bar) = A - B/(T + C): ethanol 273 to 352 K, methanol 288 to 357 K, used somewhat colder
_ANTOINE = {"ethanol": (5.37229, 1670.409, -40.191), "methanol": (5.20409, 1581.341, -33.50)}
_LATENT = {"gasoline": 350e3, "ethanol": _ETHANOL.latent_heat, "methanol": _METHANOL.latent_heat}  # J/kg
_MOLAR_MASS = {"ethanol": _ETHANOL.molar_mass, "methanol": _METHANOL.molar_mass}  # kg/mol


def vapour_pressure(content: str, T: ArrayLike) -> Number:
    """Saturation pressure (Pa) of ethanol or methanol at `T` (K), 230 to 370; BadInput outside or for another fuel.

    Within 3 % of CoolProp from 260 to 355 K, 10 % at 235 K.  Source: NISTWebBook, Antoine.
    """
    if content not in _ANTOINE:
        raise BadInput(f"no vapour pressure of {content!r} is known here; these are: {', '.join(_ANTOINE)}")
    kelvin = np.asarray(T, dtype=float)
    require("temperature", kelvin, low=230.0, high=370.0)
    return _saturation(content, kelvin)


def _saturation(content: str, T: Number) -> Number:
    """Unguarded; the colder end held at 200 K."""
    A, B, C = _ANTOINE[content]
    return 1e5 * 10.0 ** (A - B / (np.maximum(T, 200.0) + C))


def saturated_drop(fuel: Fuel, lambda_: float, share: float, T: ArrayLike, p: ArrayLike) -> Number:
    """`evaporation_drop`, K, but no alcohol evaporates beyond its dew point in charge of `T` (K) at `p` (Pa absolute).

    For fuel that meets the charge before the cylinder.  Gasoline is not limited (its light ends evaporate); alcohol in
    a blend is limited as if it were pure.  lambda_ above 0, share 0 to 1.  Vectorised.  Own; ideal gas.
    """
    require("lambda", lambda_, low=0.0, open_low=True)
    require("share", share, low=0.0, high=1.0)
    kelvin, pascal = np.broadcast_arrays(np.asarray(T, dtype=float), np.asarray(p, dtype=float))
    require("temperature", kelvin, low=200.0, high=600.0)
    require("pressure", pascal, low=0.0, open_low=True)
    f = 1.0 / (lambda_ * fuel.stoichiometric)
    contents = dict(fuel.contents)
    warms = _CP_AIR + f * _CP_FUEL_VAPOUR
    fixed = share * f * contents.get("gasoline", 0.0) * _LATENT["gasoline"] / warms
    alcohols = {name: w for name, w in contents.items() if name in _ANTOINE and w > 0.0}
    most = f * sum(w * _LATENT[name] for name, w in alcohols.items()) / warms
    low, high = np.zeros(kelvin.shape), np.full(kelvin.shape, share)
    for _ in range(24 if alcohols else 0):  # bisection: the share evaporated to 1e-7
        middle = 0.5 * (low + high)
        left = kelvin - fixed - middle * most
        wet = np.zeros(kelvin.shape, dtype=bool)
        for name, w in alcohols.items():
            moles = middle * f * w / _MOLAR_MASS[name]
            wet |= pascal * moles / (moles + 1.0 / _AIR_MOLAR_MASS) > _saturation(name, left)
        low, high = np.where(wet, low, middle), np.where(wet, middle, high)
    return (fixed + high * most)[()]
