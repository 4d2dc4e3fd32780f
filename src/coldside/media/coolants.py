"""Coolants: water, ethylene glycol, propylene glycol or methanol mixed with water, and engine oil.

What is here: `Coolant` (density, cp, conductivity, viscosity, vapour pressure, freezing point, range),
`parse_coolant` (the user's words -> `Coolant`), `require_liquid` (the refusal of ice).  All in SI:
kelvin, kg/m3, J/(kg K), W/(m K), Pa s.  What is not: ice in the tank.  Inhibitor packages change
viscosity by several percent; the data spread behind these fits is about 10 % on viscosity.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, nearest, require
from coldside.media import air
from coldside.media.compiled import worth_compiling

FREEZING_WATER = 273.15  # K
WATER_MOLAR_MASS = 18.015e-3  # kg/mol
DENSITY_WATER_20C = 998.2  # kg/m3 at 20 degC, for mixing by volume
LARGEST_MASS_FRACTION = 0.60  # end of the data
LOWEST_ALLOWED, HIGHEST_ALLOWED = 203.15, 573.15  # K, what `require` lets in at all
HIGHEST_CARRIED = 413.15  # K: the fits are smooth but meaningless far above their data, so held from here
OIL = "engine oil"
POUR_POINT = 238.15  # K: where a 5W grade is still pumped (SAEJ300, from memory)
_OIL_TOP = FREEZING_WATER + 150.0  # K, end of the data behind its fits
_OIL_BOILS = 700.0  # K at 101325 Pa, middle of its distillation range (from memory); it cracks before

Array = NDArray[np.float64]


@dataclass(frozen=True)
class _Solute:
    """What is mixed with water: kg/mol, pure density at 20 degC (kg/m3), freezing polynomial (degC, in mass
    fraction), fits, and their reach.

    Fits: rows are powers of (T - 323.15 K)/50 K, columns powers of (x - 0.4)/0.2; least squares on
    CoolProp 8.0.0 INCOMP::MEG, INCOMP::MPG and INCOMP::MMA (Melinder2010), mass fractions `least` to 0.6,
    -10 degC to `top` where liquid.  From `carried` on values are held.
    """

    molar_mass: float
    density: float
    freezing: tuple[float, ...]
    rho: tuple[tuple[float, ...], ...]
    cp: tuple[tuple[float, ...], ...]
    k: tuple[tuple[float, ...], ...]
    ln_mu: tuple[tuple[float, ...], ...]
    least: float = 0.2
    top: float = FREEZING_WATER + 100.0
    carried: float = HIGHEST_CARRIED


_ETHYLENE = _Solute(
    molar_mass=62.068e-3,
    density=1113.2,
    freezing=(2.85081554e-04, -3.06142635e01, -1.18256562e01, -1.86208145e02, 8.30176660e01, 1.14000000e01),
    rho=(
        (1035.43, 23.3829, -0.701312),
        (-30.5673, -4.34431, 0.539172),
        (-5.01006, 2.03639, -0.447002),
        (0.65659, 0.257198, 0.277062),
    ),
    cp=(
        (3635.51, -341.008, -22.5609),
        (178.774, 86.9593, -5.3314),
        (-22.19, -22.512, -1.85859),
    ),
    k=(
        (0.447931, -0.0840456, 0.00697929),
        (0.0367893, -0.0123865, -0.00121686),
        (-0.00127291, 0.00287488, -0.00232075),
    ),
    ln_mu=(
        (-6.63516, 0.476571, 0.0227933, 0.00506333),
        (-1.02727, -0.0748178, 0.0296601, 0.00969641),
        (0.339519, -0.00991673, -0.0137846, 0.00805095),
        (-0.121306, -0.0706178, -0.0325552, 0.000326795),
    ),
)
_PROPYLENE = _Solute(
    molar_mass=76.095e-3,
    density=1036.1,
    freezing=(-2.50712761e-02, -1.77195008e01, -1.34332108e02, 3.28470143e02, -5.65800208e02, 1.46500000e02),
    rho=(
        (1013.34, 10.0823, -2.35049),
        (-34.3948, -6.25146, 1.28884),
        (-3.8519, 2.03589, -0.451194),
        (1.54303, -0.23642, 0.284191),
    ),
    cp=(
        (3802.03, -285.977, -44.2176),
        (158.238, 61.5455, 5.94713),
        (-3.25655, 1.83614, 1.38388),
    ),
    k=(
        (0.419838, -0.0942213, 0.00726089),
        (0.0329993, -0.013466, -0.000410897),
        (0.000919419, 0.00247304, -0.00228361),
    ),
    ln_mu=(
        (-6.4262, 0.555318, 0.024561, 0.0157112),
        (-1.273, -0.263534, 0.0224462, 0.0272622),
        (0.52096, 0.130715, -0.0626491, -0.0316097),
        (-0.197053, -0.048234, -0.00186825, -0.000744348),
    ),
)
_METHANOL = _Solute(
    molar_mass=32.042e-3,
    density=791.3,  # handbook, from memory; CoolProp 8.0.0 gives 791.0
    freezing=(1.447396276e-02, -5.466045538e01, -1.192270252e02, 1.359425761e02, -3.475387320e02, 2.363e02),
    rho=(
        (915.827, -39.7151, -3.1313, -0.549854),
        (-33.3438, -4.79858, 0.755773, 0.521438),
        (-3.49601, 3.78785, -1.06807, 0.248051),
    ),
    cp=(
        (3839.6, -330.557, -67.2475, 20.93),
        (-197.274, 42.5227, 101.309, 38.6038),
        (-433.679, -92.1255, 167.172, 48.2444),
        (-65.9687, -39.6402, 33.2234, 36.2449),
    ),
    k=(
        (0.402307, -0.100694, 0.0114153, 0.000606895),
        (0.0287599, -0.0222455, -0.00062571, 0.000506753),
        (0.0026339, 0.00061062, -0.00368966, 0.000425261),
    ),
    ln_mu=(
        (-7.08241, 0.00307933, -0.101392, 0.00405676),
        (-1.17612, -0.0478127, 0.0267581, -0.0244613),
        (0.104026, -0.12321, -0.0690169, -0.0142991),
        (-0.185442, 0.020511, -0.0183945, -0.0160593),
    ),
    least=0.1,
    top=FREEZING_WATER + 40.0,
    carried=FREEZING_WATER + 60.0,  # near where it boils at one atmosphere
)
# Water: powers of (T - 323.15 K)/50 K; least squares on CoolProp 8.0.0 HEOS::Water at 3 bar, 0.5 to 110 degC.
_WATER_RHO = (988.127, -22.7043, -8.22327, 1.92349, -0.664548)
_WATER_CP = (4181.03, 14.5256, 17.9253, -7.78183, 17.5898, -7.9052)
_WATER_K = (0.640978, 0.0561704, -0.0239258, 0.0040341)
_WATER_LN_MU = (-7.51166, -0.83878, 0.223732, -0.0721331, 0.0377141, -0.0135164)

# Engine oil, SAE 5W-30: a typical one of 850 kg/m3 at 15 degC (0.65 kg/m3 less a kelvin), 64 mm2/s at 40 degC and
# 10.7 at 100 (SAEJ300 allows 9.3 to 12.5), viscosity between by Walther's line (ASTMD341), fitted here in powers of
# (T - 323.15 K)/50 K from -35 to 180 degC; cp and conductivity of the handbook's unused engine oil (Incropera2007).
_OIL_RHO = (827.25, -32.5)
_OIL_CP = (2007.66, 214.361)
_OIL_K = (0.141742, -0.00485557)
_OIL_LN_MU = (-3.32746, -1.86822, 0.548771, -0.149203, 0.0356383, -0.00828461, 0.00180531, -0.000214484)

_SOLUTES = {"ethylene glycol": _ETHYLENE, "propylene glycol": _PROPYLENE, "methanol": _METHANOL}
_WATER_TOP = FREEZING_WATER + 110.0  # K
_OIL_CARRIED = FREEZING_WATER + 180.0  # K
# van Laar constants of methanol in water: within 0.3 K of the handbook's boiling points at one atmosphere
# (from memory); Antoine's constants of methanol, degC and mm of mercury, likewise
_LAAR_METHANOL, _LAAR_WATER = 0.8041, 0.5619
_ANTOINE_METHANOL = (8.08097, 1582.271, 239.726)
_MERCURY = 133.322  # Pa


def _polynomial(coefficients: tuple[float, ...], x: Array | float) -> Array | float:
    """Sum of coefficients[i] x**i, by Horner."""
    total = coefficients[-1] * np.ones_like(x)
    for c in coefficients[-2::-1]:
        total = total * x + c
    return total


@dataclass(frozen=True)
class Coolant:
    """A coolant of fixed composition; property methods take K (float or array) and return the same shape.

    Fields: `name` the normalised text ("water", "ethylene glycol 30 % by volume", "engine oil"),
    `mass_fraction` the share by mass of what is not water (0 to 0.6; of oil 1), `solute` what that is: "",
    "ethylene glycol", "propylene glycol", "methanol" or "engine oil".

    Below the least mass fraction of the data (0.2; methanol 0.1), properties (ln of viscosity) run linearly
    in mass fraction from water to the mix's fit.  Outside `valid_range` values are still given and
    `extrapolated` says so; above 140 degC (methanol 60, oil 180) they are held at their value there.  Raises
    BadInput for T that is not finite or lies outside 203.15 to 573.15 K.

    Source: fits of this project to CoolProp 8.0.0 (Melinder2010 for the mixes, IAPWS95 for water);
    largest deviations 0.08 % density, 0.3 % cp (methanol 0.6), 0.2 % conductivity, 0.7 % viscosity where
    fitted; below that glycols 0.2, 0.6, 0.8 and 2.5 %, methanol 0.1, 1.2, 0.5 and 1.5 %.  Oil: SAEJ300, ASTMD341,
    Incropera2007 (from memory); oils of one grade differ by 15 % in viscosity and 5 % in the rest.
    """

    name: str
    mass_fraction: float
    solute: str = ""
    _rho: tuple[float, ...] = field(init=False, repr=False, compare=False, default=())
    _cp: tuple[float, ...] = field(init=False, repr=False, compare=False, default=())
    _k: tuple[float, ...] = field(init=False, repr=False, compare=False, default=())
    _ln_mu: tuple[float, ...] = field(init=False, repr=False, compare=False, default=())

    def __post_init__(self) -> None:
        if not self.is_oil:
            require("mass_fraction", self.mass_fraction, low=0.0, high=LARGEST_MASS_FRACTION + 1e-12)
            if bool(self.solute) != (self.mass_fraction > 0.0):
                raise BadInput("a coolant mixed with water needs a mass fraction above 0, water has none")
        for key, water, oil in (
            ("rho", _WATER_RHO, _OIL_RHO),
            ("cp", _WATER_CP, _OIL_CP),
            ("k", _WATER_K, _OIL_K),
            ("ln_mu", _WATER_LN_MU, _OIL_LN_MU),
        ):
            object.__setattr__(self, f"_{key}", oil if self.is_oil else self._in_temperature(key, water))

    @property
    def is_oil(self) -> bool:
        """True for engine oil, which holds no water."""
        return self.solute == OIL

    def _in_temperature(self, key: str, water: tuple[float, ...]) -> tuple[float, ...]:
        """The property's polynomial in (T - 323.15)/50 at this composition: the blend is linear, so one serves."""
        if not self.solute:
            return water
        if self.solute not in _SOLUTES:
            raise BadInput(f"{self.solute!r} is not known; it must be one of {', '.join(_SOLUTES)}")
        x, least = self.mass_fraction, _SOLUTES[self.solute].least
        xi = (max(x, least) - 0.4) / 0.2
        mix = [float(_polynomial(row, xi)) for row in getattr(_SOLUTES[self.solute], key)]
        share = min(1.0, x / least)
        size = max(len(mix), len(water) if share < 1.0 else 0)
        mix += [0.0] * (size - len(mix))
        plain = list(water) + [0.0] * (size - len(water))
        return tuple(share * m + (1.0 - share) * w for m, w in zip(mix, plain, strict=False))

    @property
    def _carried(self) -> float:
        """Temperature from which values are held, K."""
        if self.is_oil:
            return _OIL_CARRIED
        return _SOLUTES[self.solute].carried if self.solute else HIGHEST_CARRIED

    def _at(self, coefficients: tuple[float, ...], T: ArrayLike) -> Array | float:
        """Evaluate one polynomial at T."""
        kelvin = np.asarray(T, dtype=float)
        if kelvin.ndim and worth_compiling(kelvin.size):
            from coldside.media.horner import held_polynomial

            values, good = held_polynomial(
                np.array(coefficients), kelvin.ravel(), (LOWEST_ALLOWED, HIGHEST_ALLOWED, self._carried, 323.15, 50.0)
            )
            if good:
                return values.reshape(kelvin.shape)
        require(f"temperature of {self.name}", kelvin, low=LOWEST_ALLOWED, high=HIGHEST_ALLOWED)
        return _polynomial(coefficients, (np.minimum(kelvin, self._carried) - 323.15) / 50.0)

    def density(self, T: ArrayLike) -> Array | float:
        """Density, kg/m3, at T in K."""
        return self._at(self._rho, T)

    def cp(self, T: ArrayLike) -> Array | float:
        """Specific heat at constant pressure, J/(kg K), at T in K."""
        return self._at(self._cp, T)

    def conductivity(self, T: ArrayLike) -> Array | float:
        """Thermal conductivity, W/(m K), at T in K."""
        return self._at(self._k, T)

    def viscosity(self, T: ArrayLike) -> Array | float:
        """Dynamic viscosity, Pa s, at T in K."""
        return np.exp(self._at(self._ln_mu, T))

    @property
    def freezing_point(self) -> float:
        """Temperature at which the first ice forms, K; of oil the coldest at which it is still pumped."""
        if self.is_oil:
            return POUR_POINT
        if not self.solute:
            return FREEZING_WATER
        return FREEZING_WATER + float(_polynomial(_SOLUTES[self.solute].freezing, self.mass_fraction))

    @property
    def valid_range(self) -> tuple[float, float]:
        """Lowest and highest temperature, K, that is liquid and that the data behind the fits cover.

        The fits of the mixes were made from -10 degC up; from there down to freezing they were checked
        against the same data: glycols 0.4 % up to half glycol by mass, 2 % on cp at 0.6.
        """
        if self.is_oil:
            return self.freezing_point, _OIL_TOP
        return self.freezing_point, _SOLUTES[self.solute].top if self.solute else _WATER_TOP

    def vapour_pressure(self, T: ArrayLike) -> Array | float:
        """Pressure at which it boils, Pa absolute, at T in K (273.2 to 473 K).

        Water and glycol mixes: Raoult's law, water vapour alone, about 10 %.  Methanol: both vapours with
        activities after van Laar, about 2 %.  Oil: Trouton's rule from a boiling point near 700 K, an order
        of magnitude (a few pascals when hot).  Source: HylandWexler1983 for water; Raoult's law (design
        notes, from memory); van Laar's and Antoine's constants and Trouton's rule from memory.
        """
        if self.is_oil:
            return 101325.0 * np.exp(10.5 * (1.0 - _OIL_BOILS / np.asarray(T, dtype=float)))
        x = self._water_share
        if self.solute != "methanol":
            return x * air.saturation_pressure(T)
        A, B = _LAAR_METHANOL, _LAAR_WATER
        weight = A * (1.0 - x) + B * x
        a, b, c = _ANTOINE_METHANOL
        alone = _MERCURY * 10.0 ** (a - b / (c + np.asarray(T, dtype=float) - FREEZING_WATER))
        of_methanol = (1.0 - x) * np.exp(A * (B * x / weight) ** 2) * alone
        return of_methanol + x * np.exp(B * (A * (1.0 - x) / weight) ** 2) * air.saturation_pressure(T)

    def boiling_point(self, pressure: float) -> float:
        """Temperature at which it boils under `pressure` [Pa absolute], K: `vapour_pressure` turned round."""
        low, high = (273.2, 900.0) if self.is_oil else (273.2, 470.0)
        require("pressure", pressure, low=float(self.vapour_pressure(low)), high=float(self.vapour_pressure(high)))
        for _ in range(60):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if float(self.vapour_pressure(middle)) < pressure else (low, middle)
        return 0.5 * (low + high)

    @property
    def _water_share(self) -> float:
        """Molar share of water."""
        water = (1.0 - self.mass_fraction) / WATER_MOLAR_MASS
        return water / (water + (self.mass_fraction / _SOLUTES[self.solute].molar_mass if self.solute else 0.0))

    def extrapolated(self, T: ArrayLike) -> list[str]:
        """One sentence for each end of `valid_range` that some T (K) passes; empty when none does."""
        low, high = self.valid_range
        kelvin = np.asarray(T, dtype=float)
        found = []
        if float(kelvin.min()) < low:
            found.append(_beyond(self.name, float(kelvin.min()), "below", low))
        if float(kelvin.max()) > high:
            found.append(_beyond(self.name, float(kelvin.max()), "above", high))
        return found


def _beyond(name: str, T: float, side: str, edge: float) -> str:
    """The sentence of `Coolant.extrapolated`."""
    return (
        f"{name} at {T - FREEZING_WATER:.0f} degC: {side} {edge - FREEZING_WATER:.0f} degC "
        "its properties are carried on beyond the data"
    )


_FORM = re.compile(r"(?P<kind>[a-z ]+?)\s*(?P<percent>[0-9]+(?:\.[0-9]+)?)\s*%\s*(?:by\s+)(?P<basis>volume|mass)")
ALLOWED_FORMS = (
    '"water", "ethylene glycol 50 % by volume", "propylene glycol 40 % by mass", "methanol 30 % by volume" (any share)'
    ' or "engine oil"'
)


def parse_coolant(text: str) -> Coolant:
    """The coolant that the user's words name.

    Allowed forms: "water", "ethylene glycol N % by volume", "propylene glycol N % by volume", "methanol N %
    by volume", the same "by mass", and "engine oil".  The trade mixes by volume; shares by volume are
    turned to mass with the densities of the pure liquids at 20 degC.  Raises BadInput with the allowed
    forms and the nearest name; also for a share of 0 and above 60 % by mass (no data).
    """
    words = " ".join(text.split()).casefold()
    if words == "water":
        return Coolant("water", 0.0)
    if words == OIL:
        return Coolant(OIL, 1.0, OIL)
    match = _FORM.fullmatch(words)
    if match is None or match["kind"] not in _SOLUTES:
        raise BadInput(f"coolant {text!r} is not known; write {ALLOWED_FORMS}{_guess(words)}")
    kind, share, basis = match["kind"], float(match["percent"]) / 100.0, match["basis"]
    if share == 0.0:
        raise BadInput(f'coolant {text!r} holds no {_short(kind)}; write "water"')
    if share > 1.0:
        raise BadInput(f"coolant {text!r} holds more than 100 % of {_short(kind)}")
    x = share if basis == "mass" else mass_fraction_of(kind, share)
    if x > LARGEST_MASS_FRACTION + 1e-12:
        limit = LARGEST_MASS_FRACTION if basis == "mass" else _volume_fraction(kind, LARGEST_MASS_FRACTION)
        raise BadInput(
            f"coolant {text!r} is beyond the data, which end at 60 % by mass; "
            f"write at most {np.floor(limit * 1000) / 10:g} % by {basis}"
        )
    return Coolant(f"{kind} {share * 100:.6g} % by {basis}", x, kind)


def _guess(words: str) -> str:
    """The likeliest meaning of words that are no coolant, as a tail of the message; empty when none is close."""
    number = re.search(r"[0-9]+(?:\.[0-9]+)?", words)
    percent = number.group() if number else "50"
    basis = "mass" if "mass" in words or "weight" in words else "volume"
    forms = [f"{kind} {percent} % by {basis}" for kind in _SOLUTES] + ["water", OIL]
    hit = nearest(words, forms)
    return f"; nearest: {hit!r}" if hit else ""


def _short(kind: str) -> str:
    """ "glycol" of either glycol."""
    return kind.rpartition(" ")[2]


def mass_fraction_of(kind: str, volume_fraction: float) -> float:
    """Mass fraction of a mix made by volume at 20 degC; `kind` is "ethylene glycol", "propylene glycol" or "methanol".

    The volumes are those of the pure liquids before mixing; the mix is smaller than their sum.
    """
    require("volume_fraction", volume_fraction, low=0.0, high=1.0)
    mixed_in = volume_fraction * _SOLUTES[kind].density
    return mixed_in / (mixed_in + (1.0 - volume_fraction) * DENSITY_WATER_20C)


def _volume_fraction(kind: str, mass_fraction: float) -> float:
    """Inverse of `mass_fraction_of`."""
    mixed_in = mass_fraction / _SOLUTES[kind].density
    return mixed_in / (mixed_in + (1.0 - mass_fraction) / DENSITY_WATER_20C)


def require_liquid(coolant: Coolant, T: ArrayLike) -> None:
    """Raise BadInput ("frozen") if some T (K) lies below the coolant's freezing point; oil below where it is pumped."""
    coldest = float(np.min(np.asarray(T, dtype=float)))
    if coldest >= coolant.freezing_point:
        return
    here, limit = f"{coldest - FREEZING_WATER:.1f} degC", f"{coolant.freezing_point - FREEZING_WATER:.1f} degC"
    if coolant.is_oil:
        raise BadInput(
            f"{coolant.name} is too stiff to be pumped at {here}; it flows down to {limit}: use a warmer start"
        )
    cure = f"more {_short(coolant.solute)}" if coolant.solute else "a mix with glycol"
    raise BadInput(f"{coolant.name} is frozen at {here}; it freezes at {limit}: use {cure} or a warmer start")
