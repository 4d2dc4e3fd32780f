"""The charge tract as a vessel: what it holds, how fast it fills, where it leaks, what pulls its couplers off.

What is here: the volume between compressor and engine, the air and time it takes to fill, the leak's area
from a pressure-decay test and its flow at any pressure, and the force on a coupler.  What is not: the loss
and heat of the parts (`lines.py`, `exchanger.py`) and the balance with the compressor (`plant/charge.py`).
"""

from __future__ import annotations

import numpy as np

from coldside.errors import BadInput, require
from coldside.media import air
from coldside.parts.exchanger import AirCoreSpec, WaterCoreSpec, charge_volume
from coldside.parts.lines import PipeSpec, PlenumSpec

TEST_TEMPERATURE = 293.15  # K, air and metal of a car that stood in the workshop
TEST_PRESSURE = 101325.0  # Pa absolute around it
_NODES = 24  # Gauss-Legendre points on each stretch of a decay: good to 1e-9 of the integral

Values = np.ndarray | float


def mass_flux(p: Values, T: Values, p_behind: Values, humidity_ratio: Values = 0.0) -> np.ndarray:
    """Mass flux through an ideal orifice [kg/(s m2)] from rest at `p`, `T` to `p_behind` [Pa absolute, K].

    Isentropic flow of an ideal gas, choked below p_behind/p = (2/(g + 1))^(g/(g - 1)) with g = cp/cv at `T`
    (gas-dynamics textbook, from memory; checked against the library fluids).  0 where `p` is not above `p_behind`.
    """
    require("pressure", p, low=0.0, open_low=True)
    require("pressure behind the orifice", p_behind, low=0.0)
    p, T = np.asarray(p, dtype=float), np.asarray(T, dtype=float)
    R = air.gas_constant(humidity_ratio)
    cp = np.asarray(air.cp(T, humidity_ratio))
    g = cp / (cp - R)
    choked = (2.0 / (g + 1.0)) ** (g / (g - 1.0))
    ratio = np.clip(np.asarray(p_behind, dtype=float) / p, choked, 1.0)
    speed = 2.0 * g / (g - 1.0) * (ratio ** (2.0 / g) - ratio ** ((g + 1.0) / g))
    return np.asarray(p / np.sqrt(R * T) * np.sqrt(np.maximum(speed, 0.0)))


def leak_flow(area: Values, p: Values, T: Values, p_ambient: Values, humidity_ratio: Values = 0.0) -> np.ndarray:
    """Charge lost through a leak [kg/s]; arrays of one shape or floats.

    `area` [m2] is the effective one (its discharge coefficient inside it, as a decay test gives it), `p` [Pa
    absolute] and `T` [K] of the gas in the tract, `p_ambient` [Pa absolute].  Choked or not; see `mass_flux`.
    Air that a vacuum draws in is not reckoned with: 0 at or below ambient pressure.
    """
    require("leak area", area, low=0.0)
    return np.asarray(area * mass_flux(p, T, p_ambient, humidity_ratio))


def decay_leak_area(
    volume: float, p_from: float, p_to: float, seconds: float, p_ambient: float = TEST_PRESSURE
) -> float:
    """Effective area of the leak [m2] through which a closed tract falls from `p_from` to `p_to` [Pa absolute].

    A = V/(R T t) x integral of dp/G(p) over the fall, G the `mass_flux` at workshop temperature: walls hold
    the gas there, since such a test takes many seconds.  `volume` [m3] under test, `seconds` it took.
    `BadInput` unless p_from > p_to > p_ambient, and on a volume or time that is not above 0.
    """
    require("volume", volume, low=0.0, open_low=True)
    require("time of the pressure-decay test", seconds, low=0.0, open_low=True)
    if not p_from > p_to > p_ambient:
        raise BadInput("a pressure-decay test falls from a higher pressure to a lower one, both above ambient pressure")
    T, R = TEST_TEMPERATURE, air.GAS_CONSTANT_DRY
    g = float(air.cp(T)) / (float(air.cp(T)) - R)
    knee = p_ambient * (2.0 / (g + 1.0)) ** (-g / (g - 1.0))  # the flux has a kink where it stops being choked
    edges = [p_from, *([knee] if p_to < knee < p_from else []), p_to]
    x, weights = np.polynomial.legendre.leggauss(_NODES)
    total = 0.0
    for high, low in zip(edges, edges[1:], strict=False):
        # over s with p = ambient + s^2, because the flux rises as s near ambient pressure
        a, b = np.sqrt(low - p_ambient), np.sqrt(high - p_ambient)
        s = 0.5 * (a + b) + 0.5 * (b - a) * x
        total += float(np.sum(weights * 0.5 * (b - a) * 2.0 * s / mass_flux(p_ambient + s * s, T, p_ambient)))
    return volume * total / (R * T * seconds)


def held_volume(spec: object, displacement: float) -> float:
    """Charge that a part holds [m3]: pipes by their size, cores as `exchanger.charge_volume` says, other parts none.

    A plenum without `volume` holds the engine's `displacement` [m3] (four-stroke equivalent for a rotary).
    """
    if isinstance(spec, PipeSpec):
        return float(np.pi / 4.0 * spec.bore**2 * spec.length)
    if isinstance(spec, PlenumSpec):
        return displacement if spec.volume is None else spec.volume
    if isinstance(spec, WaterCoreSpec | AirCoreSpec):
        return charge_volume(spec)
    return 0.0


def tested_leak_area(plenum: PlenumSpec, volume: float) -> float:
    """Effective leak area [m2] by the plenum's pressure-decay test; 0 when no test is given.

    `volume` [m3] of the tract stands for `leak_test_volume` where that is not given.  `BadInput` when only some of
    the test's three keys are given or it does not fall.
    """
    keys = {
        "leak_test_from": plenum.leak_test_from,
        "leak_test_to": plenum.leak_test_to,
        "leak_test_time": plenum.leak_test_time,
    }
    missing = [key for key, value in keys.items() if value is None]
    if len(missing) == len(keys):
        return 0.0
    if plenum.leak_test_from is None or plenum.leak_test_to is None or plenum.leak_test_time is None:
        raise BadInput(f"a pressure-decay test needs {', '.join(keys)}; not given: {', '.join(missing)}")
    return decay_leak_area(
        volume if plenum.leak_test_volume is None else plenum.leak_test_volume,
        plenum.leak_test_from.absolute(TEST_PRESSURE),
        plenum.leak_test_to.absolute(TEST_PRESSURE),
        plenum.leak_test_time,
    )


def air_to_fill(volume: Values, p_from: Values, p_to: Values, T: Values, humidity_ratio: float = 0.0) -> np.ndarray:
    """Air that a tract of `volume` [m3] takes up between two pressures [Pa absolute] at `T` [K], kg (ideal gas)."""
    require("temperature", T, low=0.0, open_low=True)
    change = np.asarray(p_to, dtype=float) - p_from
    return np.asarray(volume * change / (air.gas_constant(humidity_ratio) * np.asarray(T, dtype=float)))


def fill_time(air_mass: Values, surplus: Values) -> np.ndarray:
    """Time to take up `air_mass` [kg] at `surplus` [kg/s], what the compressor gives beyond the engine's flow; s."""
    require("surplus flow", surplus, low=0.0, open_low=True)
    return np.asarray(np.asarray(air_mass, dtype=float) / surplus)


def blow_off_force(
    outside: Values, gauge: Values, m_dot: Values = 0.0, density: Values = 1.2, bore: Values | None = None
) -> np.ndarray:
    """Force that pulls a coupler off its pipe [N].

    Pressure `gauge` [Pa] on the circle that the hose seals (`outside` diameter of the pipe [m]) plus the
    momentum of the charge, m^2/(rho A), where the next piece turns it: the momentum balance of a bend
    (textbook, from memory).  `m_dot` [kg/s], `density` [kg/m3] in the pipe, `bore` [m] (`outside` when absent).
    """
    require("outside diameter", outside, low=0.0, open_low=True)
    require("density", density, low=0.0, open_low=True)
    area = np.pi / 4.0 * np.asarray(outside, dtype=float) ** 2
    inside = area if bore is None else np.pi / 4.0 * np.asarray(bore, dtype=float) ** 2
    return np.asarray(gauge * area + np.asarray(m_dot, dtype=float) ** 2 / (density * inside))
