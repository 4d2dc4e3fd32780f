"""Air: the standard atmosphere, humid air, and what compressing and cooling it takes.

What is here: pressure and temperature of the standard atmosphere, saturation, humidity ratio and dew
point, density, specific heat, enthalpy and entropy of moist air as an ideal gas with variable specific
heat, compression temperatures, transport properties, and the power correction factors of three
standards.  All SI: K, Pa absolute, kg/m3, J/kg, J/(kg K), Pa s, W/(m K).  Everything takes floats or
arrays that broadcast, and is NumPy only.  What is not: condensation in a core (`parts/exchanger`).

`humidity_ratio` (W) is kg of water vapour per kg of DRY air; specific properties are per kg of MOIST air.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, Internal, require
from coldside.media.compiled import worth_compiling

Array = NDArray[np.float64]
Number = Any  # float or array in, the broadcast shape out; NumPy scalars count as floats

LOWEST, HIGHEST = 200.0, 6000.0  # K, range of the polynomials
REFERENCE_TEMPERATURE = 273.15  # K, where enthalpy and entropy part are zero, for dry air and vapour alike
GAS_CONSTANT = 8.31446261815324  # J/(mol K)

# Dry air as N2, O2, Ar; carbon dioxide counted with argon (moves cp by less than 0.02 %).
_SHARES = {"N2": 0.7808, "O2": 0.2095, "Ar": 0.0097}
_MOLAR_MASS = {"N2": 0.028014, "O2": 0.031998, "Ar": 0.03995, "H2O": 0.018015}  # kg/mol

# McBride1993 (the set from 200 K): cp/R = a0 + a1 T + ... + a4 T^4, below and above 1000 K.
_CP_OVER_R = {
    "N2": (
        (3.53100528, -1.23660987e-04, -5.02999437e-07, 2.43530612e-09, -1.40881235e-12),
        (2.95257626, 1.39690057e-03, -4.92631691e-07, 7.86010367e-11, -4.60755321e-15),
    ),
    "O2": (
        (3.78245636, -2.99673415e-03, 9.847302e-06, -9.68129508e-09, 3.24372836e-12),
        (3.66096083, 6.56365523e-04, -1.41149485e-07, 2.05797658e-11, -1.29913248e-15),
    ),
    "Ar": ((2.5, 0.0, 0.0, 0.0, 0.0), (2.5, 0.0, 0.0, 0.0, 0.0)),
    "H2O": (
        (4.19864056, -2.0364341e-03, 6.52040211e-06, -5.48797062e-09, 1.77197817e-12),
        (2.67703787, 2.97318329e-03, -7.7376969e-07, 9.44336689e-11, -4.26900959e-15),
    ),
}
_BREAK = 1000.0  # K, where the two fits of each species meet

MOLAR_MASS_DRY = sum(_SHARES[s] * _MOLAR_MASS[s] for s in _SHARES)  # kg/mol
GAS_CONSTANT_DRY = GAS_CONSTANT / MOLAR_MASS_DRY  # 287.06 J/(kg K)
GAS_CONSTANT_VAPOUR = GAS_CONSTANT / _MOLAR_MASS["H2O"]  # 461.5 J/(kg K)
MASS_RATIO = GAS_CONSTANT_DRY / GAS_CONSTANT_VAPOUR  # 0.6220, vapour to dry air


def _horner(coefficients: Array, x: Array) -> Array:
    """Sum of coefficients[i] x**i; entries of `coefficients` may be arrays of x's shape."""
    total = coefficients[-1] + np.zeros_like(x)
    for c in coefficients[-2::-1]:
        total = total * x + c
    return total


def _specific(shares: dict[str, float], gas_constant: float, band: int) -> Array:
    """cp coefficients, J/(kg K), of a gas made of molar `shares`, in the band below (0) or above (1) 1000 K."""
    total = np.zeros(5)
    for species, share in shares.items():
        total += share * np.asarray(_CP_OVER_R[species][band])
    return gas_constant * total


def _integrals(low: Array, high: Array) -> tuple[Array, Array]:
    """Coefficients of h and of s0 (without its logarithm) in both bands, joined at 1000 K, zero at 273.15 K.

    Row = band; h: powers 0 to 5 of T; s0: powers 0 to 4, beside a0 ln T.
    """
    h, s = np.zeros((2, 6)), np.zeros((2, 5))
    for band, a in enumerate((low, high)):
        h[band, 1:] = a / np.arange(1, 6)
        s[band, 1:] = a[1:] / np.arange(1, 5)
    T0 = np.asarray(REFERENCE_TEMPERATURE)
    h[0, 0] = -_horner(h[0], T0)
    s[0, 0] = -_horner(s[0], T0) - low[0] * np.log(T0)
    edge = np.asarray(_BREAK)
    h[1, 0] = _horner(h[0], edge) - _horner(h[1], edge)
    s[1, 0] = _horner(s[0], edge) + (low[0] - high[0]) * np.log(edge) - _horner(s[1], edge)
    return h, s


_CP_DRY = np.stack([_specific(_SHARES, GAS_CONSTANT_DRY, band) for band in (0, 1)])
_CP_VAPOUR = np.stack([_specific({"H2O": 1.0}, GAS_CONSTANT_VAPOUR, band) for band in (0, 1)])
_H_DRY, _S_DRY = _integrals(_CP_DRY[0], _CP_DRY[1])
_H_VAPOUR, _S_VAPOUR = _integrals(_CP_VAPOUR[0], _CP_VAPOUR[1])


def _mixed(dry: Array, vapour: Array, W: Array) -> Array:
    """Coefficients per kg of moist air; an array W gives each coefficient W's shape."""
    if W.ndim:
        dry, vapour = (a.reshape(a.shape + (1,) * W.ndim) for a in (dry, vapour))
    return (dry + W * vapour) / (1.0 + W)


class _MoistAir:
    """cp, h and s0 at one humidity ratio (float or array), unguarded: the inner loop of the functions below."""

    def __init__(self, W: Array) -> None:
        self._cp = [_mixed(_CP_DRY[i], _CP_VAPOUR[i], W) for i in (0, 1)]
        self._h = [_mixed(_H_DRY[i], _H_VAPOUR[i], W) for i in (0, 1)]
        self._s = [_mixed(_S_DRY[i], _S_VAPOUR[i], W) for i in (0, 1)]
        self.R = _gas_constant(W)

    def cp(self, T: Array) -> Array:
        """Specific heat."""
        return self._banded(T, lambda i: _horner(self._cp[i], T))

    def h(self, T: Array) -> Array:
        """Enthalpy."""
        return self._banded(T, lambda i: _horner(self._h[i], T))

    def s0(self, T: Array) -> Array:
        """Temperature part of entropy."""
        log = np.log(T)
        return self._banded(T, lambda i: _horner(self._s[i], T) + self._cp[i][0] * log)

    @staticmethod
    def _banded(T: Array, evaluate: Any) -> Array:
        """The low band everywhere, the high one only where some T needs it."""
        above = T > _BREAK
        return np.where(above, evaluate(1), evaluate(0)) if above.any() else evaluate(0)


def _gas_constant(W: Array) -> Array:
    """R of moist air, unguarded."""
    return (GAS_CONSTANT_DRY + W * GAS_CONSTANT_VAPOUR) / (1.0 + W)


def _guarded(T: ArrayLike, humidity_ratio: ArrayLike) -> tuple[Array, Array]:
    """T and W as arrays, refused outside their ranges."""
    require("temperature", np.asarray(T, dtype=float), low=LOWEST, high=HIGHEST)
    require("humidity_ratio", np.asarray(humidity_ratio, dtype=float), low=0.0, high=1.0)
    return np.asarray(T, dtype=float), np.asarray(humidity_ratio, dtype=float)


def _plain(x: Array) -> Number:
    """A 0-d array as a NumPy scalar, anything else unchanged."""
    return x[()]


# --- atmosphere and humidity -------------------------------------------------------------------------------------


def standard_atmosphere(altitude: ArrayLike) -> tuple[Number, Number]:
    """Temperature (K) and pressure (Pa) of the standard atmosphere at a geometric altitude (m).

    Valid from -500 m to 11,000 m; BadInput outside.  Real pressure differs by up to about 4 % with the
    weather: a measured station pressure is better.  Source: ISO2533.
    """
    h = np.asarray(altitude, dtype=float)
    require("altitude", h, low=-500.0, high=11000.0)
    H = 6356766.0 * h / (6356766.0 + h)  # geopotential
    T = 288.15 - 0.0065 * H
    return _plain(T), _plain(101325.0 * (T / 288.15) ** 5.25588)


_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)
_LIQUID = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)
_TRIPLE = 273.16  # K; below it saturation is over ice
_SATURATION_RANGE = (173.15, 473.15)  # K


def _log_saturation(T: Array) -> tuple[Array, Array]:
    """ln p_ws (Pa) and its derivative with T, ice below the triple point."""
    c = np.where((T < _TRIPLE)[..., None], _ICE, _LIQUID)
    c = np.moveaxis(c, -1, 0)
    value = c[0] / T + _horner(c[1:6], T) + c[6] * np.log(T)
    slope = -c[0] / T**2 + c[2] + T * (2 * c[3] + T * (3 * c[4] + T * 4 * c[5])) + c[6] / T
    return value, slope


def saturation_pressure(T: ArrayLike) -> Number:
    """Vapour pressure of pure water over liquid, or over ice below 273.16 K, Pa.

    T in K, 173.15 to 473.15; BadInput outside.  Source: HylandWexler1983.
    """
    kelvin = np.asarray(T, dtype=float)
    require("temperature", kelvin, low=_SATURATION_RANGE[0], high=_SATURATION_RANGE[1])
    return _plain(np.exp(_log_saturation(kelvin)[0]))


def enhancement_factor(T: ArrayLike, p: ArrayLike) -> Number:
    """How much air at T (K), p (Pa) raises the saturation pressure of water: 1.004 at 1 bar, 1.01 near 3 bar.

    Source: Own, least squares on the ratio from CoolProp 8.0.0 HAPropsSI, 223 to 353 K, 50 to 450 kPa,
    vapour share below 0.3: largest deviation 0.0005.  Held at the edges of that range.
    """
    t = (np.clip(np.asarray(T, dtype=float), 223.15, 353.15) - 293.15) / 50.0
    q = np.clip(np.asarray(p, dtype=float), 0.0, 4.5e5) / 1e5
    return _plain(1.0 + 0.001264 + t * (0.002281 + 0.000743 * t) + q * (0.003013 + t * (-0.001292 + 0.000716 * t)))


def humidity_ratio(T: ArrayLike, p: ArrayLike, relative_humidity: ArrayLike) -> Number:
    """Humidity ratio W, kg of vapour per kg of dry air.

    T in K, p in Pa absolute, relative_humidity 0 to 1 (over liquid above, over ice below 273.16 K).
    BadInput outside, or when the vapour alone would reach p (boiling).
    Source: HylandWexler1983 with `enhancement_factor`.
    """
    kelvin, pascal, share = (np.asarray(x, dtype=float) for x in (T, p, relative_humidity))
    require("relative_humidity", share, low=0.0, high=1.0)
    require("pressure", pascal, low=0.0, open_low=True)
    p_v = share * saturation_pressure(kelvin) * enhancement_factor(kelvin, pascal)
    if np.any(p_v >= pascal):
        raise BadInput("water boils at this temperature and pressure; relative humidity has no meaning here")
    return _plain(np.asarray(MASS_RATIO * p_v / (pascal - p_v)))


def dew_point_at(p: ArrayLike, humidity_ratio: ArrayLike) -> Number:
    """Temperature (K) at which air of humidity ratio W is saturated at p (Pa): frost point below 273.16 K.

    Use p = plenum pressure for condensation in a charge core: boost raises the dew point.  Air drier
    than the equation's range gives its lower end, 173.15 K.  BadInput when water would have to be hotter
    than 473.15 K.  Source: inversion of `saturation_pressure` with `enhancement_factor`.
    """
    pascal, W = np.broadcast_arrays(np.asarray(p, dtype=float), np.asarray(humidity_ratio, dtype=float))
    require("pressure", pascal, low=0.0, open_low=True)
    require("humidity_ratio", W, low=0.0, high=1.0)
    p_v = np.maximum(pascal * W / (MASS_RATIO + W), 1e-300)
    low, high = (np.full(pascal.shape, edge) for edge in _SATURATION_RANGE)
    T = np.full(pascal.shape, 290.0)
    for _ in range(60):  # Newton in 1/T, where ln p_ws is nearly straight; the bracket catches the kink at ice
        value, slope = _log_saturation(T)
        gap = value + np.log(enhancement_factor(T, pascal)) - np.log(p_v)
        low, high = np.where(gap < 0, T, low), np.where(gap < 0, high, T)
        inverse = 1.0 / T + gap / (slope * T**2)
        step = np.where(inverse > 0, 1.0 / np.where(inverse > 0, inverse, 1.0), np.inf)
        new = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        done = np.max(np.abs(new - T), initial=0.0) < 1e-9
        T = new
        if done:
            break
    if np.any(high == _SATURATION_RANGE[1]) and np.any(_SATURATION_RANGE[1] - 1e-6 < T):
        raise BadInput("the dew point lies above 200 degC, beyond the range of the saturation equation")
    return _plain(T)


def dew_point(T: ArrayLike, p: ArrayLike, relative_humidity: ArrayLike) -> Number:
    """Dew point (frost point below 273.16 K), K, of air at T (K), p (Pa absolute), relative humidity 0 to 1."""
    return dew_point_at(p, humidity_ratio(T, p, relative_humidity))


# --- moist air as an ideal gas -----------------------------------------------------------------------------------


def gas_constant(humidity_ratio: ArrayLike) -> Number:
    """Gas constant of moist air, J/(kg K); 287.06 dry.  Shares N2 0.7808, O2 0.2095, Ar 0.0097."""
    W = np.asarray(humidity_ratio, dtype=float)
    require("humidity_ratio", W, low=0.0, high=1.0)
    return _plain(np.asarray(_gas_constant(W)))


def density(T: ArrayLike, p: ArrayLike, humidity_ratio: ArrayLike = 0.0) -> Number:
    """Density of moist air, kg/m3, at T (K) and p (Pa absolute), ideal gas (0.1 % to 3 bar).

    Oxygen is in the dry part: engine air is density / (1 + W).
    """
    kelvin, W = _guarded(T, humidity_ratio)
    pascal = np.asarray(p, dtype=float)
    require("pressure", pascal, low=0.0)
    return _plain(np.asarray(pascal / (_gas_constant(W) * kelvin)))


def cp(T: ArrayLike, humidity_ratio: ArrayLike = 0.0) -> Number:
    """Specific heat of moist air, J/(kg K) per kg of moist air; T 200 to 6000 K.  Source: McBride1993."""
    kelvin, W = _guarded(T, humidity_ratio)
    kelvin, W = _aligned(kelvin, W)
    return _plain(_MoistAir(W).cp(kelvin))


def enthalpy(T: ArrayLike, humidity_ratio: ArrayLike = 0.0) -> Number:
    """Enthalpy of moist air, J per kg of moist air, zero at 273.15 K for dry air and vapour (no latent heat).

    T 200 to 6000 K.  Source: McBride1993.
    """
    kelvin, W = _guarded(T, humidity_ratio)
    kelvin, W = _aligned(kelvin, W)
    return _plain(_MoistAir(W).h(kelvin))


def entropy_part(T: ArrayLike, humidity_ratio: ArrayLike = 0.0) -> Number:
    """s0(T) = integral of cp/T from 273.15 K, J/(kg K) per kg of moist air; s = s0 - R ln p + constant.

    T 200 to 6000 K.  Source: McBride1993.
    """
    kelvin, W = _guarded(T, humidity_ratio)
    kelvin, W = _aligned(kelvin, W)
    return _plain(_MoistAir(W).s0(kelvin))


def _aligned(T: Array, W: Array) -> tuple[Array, Array]:
    """T and W of one shape, but a scalar W stays scalar (its coefficients are then mixed once)."""
    if W.ndim == 0:
        return T, W
    T, W = np.broadcast_arrays(T, W)
    return T, W


_NEWTON_STEPS = 12


def _solve(residual: Any, slope: Any, T: Array) -> Array:
    """Newton on T, vectorised, kept inside the polynomials' range; `slope` is d(residual)/dT."""
    for _ in range(_NEWTON_STEPS):
        new = np.clip(T - residual(T) / slope(T), LOWEST, HIGHEST)
        moved = np.max(np.abs(new - T) / T, initial=0.0)
        T = new
        if moved < 1e-8:  # quadratic: the next error is below 1e-15
            return T
    raise Internal("an air temperature did not settle; please send the build and the session")


def isentropic_temperature(T1: ArrayLike, pressure_ratio: ArrayLike, humidity_ratio: ArrayLike = 0.0) -> Number:
    """Temperature (K) after an isentropic change by `pressure_ratio` (> 0) from T1 (K), variable cp.

    The answer must lie within 200 to 6000 K, else BadInput.  Source: s0(T2) = s0(T1) + R ln PR.
    """
    kelvin, W = _guarded(T1, humidity_ratio)
    ratio = np.asarray(pressure_ratio, dtype=float)
    require("pressure_ratio", ratio, low=0.0, open_low=True)
    W = np.asarray(W)
    if W.ndim:
        kelvin, ratio, W = np.broadcast_arrays(kelvin, ratio, W)
    else:
        kelvin, ratio = np.broadcast_arrays(kelvin, ratio)
    return _plain(_in_range(_isentropic(_MoistAir(W), kelvin, ratio)))


def _isentropic(gas: _MoistAir, T1: Array, ratio: Array) -> Array:
    """Unguarded `isentropic_temperature`."""
    log_ratio = gas.R * np.log(ratio)
    target = gas.s0(T1) + log_ratio
    guess = np.clip(T1 * np.exp(log_ratio / gas.cp(T1)), LOWEST, HIGHEST)
    return _solve(lambda T: gas.s0(T) - target, lambda T: gas.cp(T) / T, guess)


def _in_range(T: Array) -> Array:
    """Refuse answers that were stopped at the edge of the polynomials."""
    if np.any(T <= LOWEST) or np.any(T >= HIGHEST):
        raise BadInput(f"air would leave {LOWEST:g} to {HIGHEST:g} K, the range of its properties")
    return T


def compressed_temperature(
    T1: ArrayLike, pressure_ratio: ArrayLike, efficiency: ArrayLike, humidity_ratio: ArrayLike = 0.0
) -> Number:
    """Total temperature (K) after a compressor of isentropic total-to-total efficiency, adiabatic, variable cp.

    T1 in K, pressure_ratio total to total, efficiency above 0 to 1, humidity_ratio 0 to 1; arrays
    broadcast.  At a ratio of 1 or below, T1 itself: the wheel then only throttles, and throttling leaves
    the temperature as it is.  Source: h2 = h1 + (h2s - h1)/efficiency with McBride1993.
    """
    kelvin, W = _guarded(T1, humidity_ratio)
    ratio, eta = np.asarray(pressure_ratio, dtype=float), np.asarray(efficiency, dtype=float)
    require("pressure_ratio", ratio, low=0.0, open_low=True, high=50.0)
    require("efficiency", eta, low=0.0, high=1.0, open_low=True)
    if W.ndim:
        kelvin, ratio, eta, W = np.broadcast_arrays(kelvin, ratio, eta, W)
    else:
        kelvin, ratio, eta = np.broadcast_arrays(kelvin, ratio, eta)
    gas = _MoistAir(W)
    if not W.ndim and worth_compiling(kelvin.size):
        return _plain(_in_range(_compressed(gas, kelvin, ratio, eta)))
    isentropic = _isentropic(gas, kelvin, np.maximum(ratio, 1.0))
    start = gas.h(kelvin)
    target = start + (gas.h(isentropic) - start) / eta
    guess = np.clip(kelvin + (isentropic - kelvin) / eta, LOWEST, HIGHEST)
    T2 = _in_range(_solve(lambda T: gas.h(T) - target, gas.cp, guess))
    return _plain(np.where(ratio > 1.0, T2, kelvin))


def _compressed(gas: _MoistAir, T1: Array, ratio: Array, efficiency: Array) -> Array:
    """`compressed_temperature` by compiled code, for one humidity ratio."""
    from coldside.media.compressing import compressed  # Numba: only where a whole run is put together

    flat, ratios, shares = (np.ascontiguousarray(v).ravel() for v in (T1, ratio, efficiency))
    cp, h, s = (np.stack(table) for table in (gas._cp, gas._h, gas._s))
    limits = np.array([_BREAK, LOWEST, HIGHEST])
    found, lost = compressed((flat, ratios, shares), (cp, h, s), float(gas.R), limits, _NEWTON_STEPS)
    if lost:
        raise Internal("an air temperature did not settle; please send the build and the session")
    return np.asarray(found.reshape(T1.shape))


def temperature_at_enthalpy(enthalpy: ArrayLike, humidity_ratio: ArrayLike = 0.0) -> Number:
    """Temperature (K) at which moist air has this enthalpy (J/kg, zero at 273.15 K): inverse of `enthalpy`.

    BadInput when the answer leaves 200 to 6000 K.
    """
    h, W = np.asarray(enthalpy, dtype=float), np.asarray(humidity_ratio, dtype=float)
    require("enthalpy", h)
    require("humidity_ratio", W, low=0.0, high=1.0)
    h, W = _aligned(h, W)
    gas = _MoistAir(W)
    ends = (gas.h(np.asarray(LOWEST)), gas.h(np.asarray(HIGHEST)))
    if np.any(h <= ends[0]) or np.any(h >= ends[1]):
        raise BadInput(f"air would leave {LOWEST:g} to {HIGHEST:g} K, the range of its properties")
    guess = np.clip(REFERENCE_TEMPERATURE + h / 1050.0, LOWEST, HIGHEST)
    return _plain(_solve(lambda T: gas.h(T) - h, gas.cp, guess))


# --- transport ---------------------------------------------------------------------------------------------------


def viscosity(T: ArrayLike) -> Number:
    """Dynamic viscosity of dry air at low pressure, Pa s; T in K, 200 to 2000.

    Within 0.2 % of CoolProp Air from 230 to 500 K at 1 bar and 0.4 % at 3 bar.  Source: LemmonJacobsen2004,
    dilute-gas term.
    """
    kelvin = np.asarray(T, dtype=float)
    require("temperature", kelvin, low=LOWEST, high=2000.0)
    log = np.log(kelvin / 103.3)
    omega = np.exp(0.431 + log * (-0.4623 + log * (0.08406 + log * (0.005341 - 0.00331 * log))))
    return _plain(np.asarray(0.0266958e-6 * np.sqrt(28.9586 * kelvin) / (0.36**2 * omega)))


def conductivity(T: ArrayLike) -> Number:
    """Thermal conductivity of dry air at low pressure, W/(m K); T in K, 200 to 2000.

    Within 0.2 % of CoolProp Air from 230 to 500 K at 1 bar and 0.7 % at 3 bar.  Source: LemmonJacobsen2004,
    dilute-gas terms.
    """
    mu = viscosity(T)
    tau = 132.6312 / np.asarray(T, dtype=float)
    return _plain(np.asarray(1308.0 * mu + 1.405e-3 * tau**-1.1 - 1.036e-3 * tau**-0.3))


def prandtl(T: ArrayLike) -> Number:
    """Prandtl number of dry air, cp mu / k; T in K, 200 to 2000."""
    return cp(T) * viscosity(T) / conductivity(T)


# --- power correction --------------------------------------------------------------------------------------------

DIESEL_FACTORS = (0.2, 1.2)  # ISO 1585: least and largest engine factor of compression ignition


def power_correction(T: ArrayLike, p: ArrayLike, vapour_pressure: ArrayLike, *, standard: str) -> Number:
    """Factor that turns observed power into power at a standard's reference state.

    T (K), p (Pa, total barometric) and vapour_pressure (Pa) are those of the AMBIENT air at the intake's
    mouth, never of the cooled charge.  `standard`: "sae" (J1349 June 1990, 25 degC, 99 kPa dry), "iso" (ISO
    1585 and UN R85, positive ignition, same state), "din" (70020, 20 degC, 101.3 kPa, total pressure).
    Meant for engines without boost; a boost control that holds absolute plenum pressure has not lost
    what the pressure term gives back.  BadInput for an unknown standard.  Source: SAEJ1349, ISO1585, DIN70020.
    """
    kelvin, total, vapour = (np.asarray(x, dtype=float) for x in (T, p, vapour_pressure))
    require("temperature", kelvin, low=LOWEST, high=400.0)
    dry = total - vapour
    require("dry pressure", dry, low=0.0, open_low=True)
    if standard == "sae":
        factor = 1.18 * (99000.0 / dry) * np.sqrt(kelvin / 298.0) - 0.18
    elif standard == "iso":
        factor = (99000.0 / dry) ** 1.2 * (kelvin / 298.0) ** 0.6
    elif standard == "din":
        factor = (101300.0 / total) * np.sqrt(kelvin / 293.0)
    else:
        raise BadInput(f'standard {standard!r} is not known; it must be "sae", "iso" or "din"')
    return _plain(np.asarray(factor))


def diesel_correction(T: ArrayLike, p: ArrayLike, vapour_pressure: ArrayLike, *, engine_factor: float) -> Number:
    """The factor for turbocharged compression ignition: ((99 kPa / p_dry)^0.7 (T / 298 K)^1.5)^engine_factor.

    Arguments as for `power_correction`; `engine_factor` follows from the fuel of a cycle, 0.2 to 1.2
    (`DIESEL_FACTORS`).  Not for the engines here, which have a spark: it is known so that a sheet made with it is
    recognised.  Source: ISO1585 and UN R85; exponents from memory, the factor's range from an engine manual.
    """
    kelvin, total, vapour = (np.asarray(x, dtype=float) for x in (T, p, vapour_pressure))
    require("temperature", kelvin, low=LOWEST, high=400.0)
    require("engine factor", engine_factor, low=DIESEL_FACTORS[0], high=DIESEL_FACTORS[1])
    dry = total - vapour
    require("dry pressure", dry, low=0.0, open_low=True)
    return _plain(np.asarray(((99000.0 / dry) ** 0.7 * (kelvin / 298.0) ** 1.5) ** engine_factor))
