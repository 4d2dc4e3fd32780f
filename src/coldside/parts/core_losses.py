"""Pressure losses of cores and exchangers against flow: charge, coolant and cooling air.

What is here: `charge_loss`, `coolant_loss`, `cooling_loss`, functions of flow for the networks of `plant/flows.py`,
whichever way a part is known: by one bench loss and an exponent, by two losses, by sizes and fins, or by sizes
with the bench's correction; `loss_corrections`.  What is not: the network, and what a rating says of heat.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from coldside.media import air
from coldside.media.coolants import Coolant, parse_coolant
from coldside.parts import lines
from coldside.parts.exchanger import (
    CHARGE_FILM,
    COOLING_FILM,
    USUAL_COOLANT,
    AirCoreSpec,
    CoreSpec,
    ExchangerSpec,
    WaterCoreSpec,
    geometry_of,
    rated_cooling_flow,
    usual_flows,
)
from coldside.parts.geometry import CoreGeometry
from coldside.parts.sizes import OIL_MIST_LOSS
from coldside.parts.two_points import loss_exponent

CREEP = 1e-3  # share of the bench flow under which a core's loss becomes linear
REFERENCE_PRESSURE = 2.0e5  # Pa absolute, of a charge bench point that does not say
STANDARD_PRESSURE = 101325.0  # Pa, of gauge readings at the bench and of cooling air
BENCH_AIR = 1.184  # kg/m3, cooling air of a bench point, 25 degC at 101325 Pa (loop-C22)
# K in and out, at which the change of speed of a cooled or heated gas is reckoned with; its share of the loss
# moves little with them
CHARGE_COOLED, AIR_HEATED = (410.0, 320.0), (303.15, 333.15)
STEP = 1e-3  # relative step of flow for the slope of a loss from correlations

# loss and its slope, against flow
Loss = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]


def charge_loss(spec: WaterCoreSpec | AirCoreSpec) -> Loss:
    """Charge-side loss times mean density, Pa kg/m3, and its slope, as a function of the flow that arrives [kg/s].

    dp rho_m = s_0 (m/m_0)^x from the bench (heat note B3), or from its sizes; odd in flow and finite at zero.
    What slips past the core (`charge_bypass`) does not lose in it.
    """
    shape = geometry_of(spec)
    through = _charge_by_bench(spec) if shape is None else _charge_by_shape(spec, shape)
    share = 1.0 - spec.charge_bypass
    if share == 1.0:
        return through

    def loss(flow: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, slope = through(share * np.asarray(flow, dtype=float))
        return value, share * slope

    return loss


def _charge_by_bench(spec: WaterCoreSpec | AirCoreSpec) -> Loss:
    assert spec.bench_charge_flow is not None  # proved by the reader
    s0, m0, x = _bench_weighted(spec), spec.bench_charge_flow, _charge_exponent(spec)

    def loss(flow: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        # |r|^(x-1) with its corner at rest rounded off under CREEP of the bench flow; exact at the bench
        r = np.asarray(flow, dtype=float) / m0
        round_ = (r * r + CREEP**2) / (1.0 + CREEP**2)
        power = round_ ** (0.5 * (x - 1.0))
        return s0 * r * power, s0 / m0 * power * (1.0 + (x - 1.0) * r * r / (r * r + CREEP**2))

    return loss


def _charge_exponent(spec: WaterCoreSpec | AirCoreSpec) -> float:
    if spec.bench2_charge_loss is None:
        return spec.charge_loss_exponent
    assert spec.bench_charge_flow is not None and spec.bench2_charge_flow is not None  # proved by the reader
    second = _bench_weighted(spec, second=True)
    return loss_exponent(_bench_weighted(spec), second, spec.bench_charge_flow, spec.bench2_charge_flow)


def _bench_weighted(spec: WaterCoreSpec | AirCoreSpec, second: bool = False) -> float:
    """Loss times mean density at a bench point, Pa kg/m3."""
    eps, loss = spec.bench_effectiveness, spec.bench_charge_loss
    if second:
        eps, loss = spec.bench2_effectiveness or eps, spec.bench2_charge_loss
    assert eps is not None and loss is not None and spec.bench_charge_in is not None  # proved by the reader
    drop = eps * (spec.bench_charge_in - _bench_sink(spec))
    rho = float(air.density(spec.bench_charge_in - 0.5 * drop, _bench_pressure(spec) - 0.5 * loss))
    return loss * rho


def _bench_pressure(spec: WaterCoreSpec | AirCoreSpec) -> float:
    level = spec.bench_charge_pressure
    return REFERENCE_PRESSURE if level is None else level.absolute(STANDARD_PRESSURE)


def _bench_sink(spec: WaterCoreSpec | AirCoreSpec) -> float:
    T = spec.bench_coolant_in if isinstance(spec, WaterCoreSpec) else spec.bench_cooling_in
    assert T is not None  # proved by the reader
    return T


def _charge_by_shape(spec: WaterCoreSpec | AirCoreSpec, shape: CoreGeometry) -> Loss:
    """Kays and London's loss with its tanks; the change of speed as a fixed share, taken at the usual flow."""
    usual = spec.bench_charge_flow or usual_flows(spec, shape, None)[0]
    factor = _charge_correction(spec, shape)
    if factor is None:
        factor = OIL_MIST_LOSS if spec.charge_fouling == "oil mist" else 1.0
    factor *= _speed_change(shape, usual)

    def weighted(m: np.ndarray) -> np.ndarray:
        return factor * np.asarray(shape.throttling1(m, CHARGE_FILM))

    return _odd(weighted, usual)


def _speed_change(shape: CoreGeometry, flow: float) -> float:
    """Loss with the slowing of a cooled charge, over that at constant density."""
    hot, cold = CHARGE_COOLED
    p = REFERENCE_PRESSURE
    whole = float(shape.loss1(flow, hot, cold, p).whole)
    rho = float(air.density(0.5 * (hot + cold), p - 0.5 * whole))
    return whole * rho / float(shape.throttling1(flow, 0.5 * (hot + cold)))


def _charge_correction(spec: WaterCoreSpec | AirCoreSpec, shape: CoreGeometry) -> float | None:
    """Measured over reckoned charge loss at the bench flow, or None without both."""
    if spec.bench_charge_loss is None or spec.bench_charge_flow is None:
        return None
    m = spec.bench_charge_flow
    reckoned = float(shape.throttling1(m, CHARGE_FILM)) * _speed_change(shape, m)
    return _bench_weighted(spec) / reckoned


def coolant_loss(spec: WaterCoreSpec | ExchangerSpec, loop_coolant: Coolant, temperature: np.ndarray) -> Loss:
    """Coolant-side loss, Pa, and its slope, Pa s/m3, as a function of volume flow [m3/s] at `temperature` [K].

    `temperature` of the loop's coolant, array of points; the function takes flows of the same points.
    """
    T = np.asarray(temperature, dtype=float)
    density = loop_coolant.density(T)
    shape = geometry_of(spec)
    if shape is not None:
        return _coolant_by_shape(spec, shape, loop_coolant, T)
    bench = parse_coolant(spec.bench_coolant) if spec.bench_coolant is not None else loop_coolant
    T0, loss0, flow0 = spec.bench_coolant_in, spec.bench_coolant_loss, spec.bench_coolant_flow
    assert T0 is not None and loss0 is not None and flow0 is not None  # proved by the reader
    n = _near_exponent(spec.coolant_loss_exponent, (loss0, spec.bench2_coolant_loss), (flow0, spec.bench2_coolant_flow))
    rho, mu = density / bench.density(T0), loop_coolant.viscosity(T) / bench.viscosity(T0)
    return lambda q: lines.bench_loss(loss0, flow0, n, q, rho, mu)


def _near_exponent(given: float, losses: tuple[float, float | None], flows: tuple[float, float | None]) -> float:
    """Exponent near the first point of a Q + b Q^2: as given, or so that both points are met."""
    if losses[1] is None or flows[1] is None:
        return given
    (p1, p2), (q1, q2) = (losses[0], losses[1]), (flows[0], flows[1])
    loss_exponent(p1, p2, q1, q2)
    b = (p2 / q2 - p1 / q1) / (q2 - q1)
    return 1.0 + b * q1 * q1 / p1


def _coolant_by_shape(
    spec: WaterCoreSpec | ExchangerSpec, shape: CoreGeometry, coolant: Coolant, T: np.ndarray
) -> Loss:
    density = np.asarray(coolant.density(T))
    throttling = shape.throttling2 if isinstance(spec, WaterCoreSpec) else shape.throttling1
    factor = _coolant_correction(spec, shape, coolant) or 1.0
    flows = usual_flows(spec, shape, coolant)
    usual = flows[1] if isinstance(spec, WaterCoreSpec) else flows[0]
    weighted = _odd(lambda m: factor * np.asarray(throttling(m, T, coolant)), usual)

    def loss(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, slope = weighted(np.asarray(q, dtype=float) * density)
        return value / density, slope

    return loss


def _coolant_correction(
    spec: WaterCoreSpec | ExchangerSpec, shape: CoreGeometry, loop_coolant: Coolant | None
) -> float | None:
    bench = parse_coolant(spec.bench_coolant) if spec.bench_coolant is not None else loop_coolant
    T, flow, loss = spec.bench_coolant_in, spec.bench_coolant_flow, spec.bench_coolant_loss
    if T is None or flow is None or loss is None or bench is None:
        return None
    rho = float(bench.density(T))
    throttling = shape.throttling2 if isinstance(spec, WaterCoreSpec) else shape.throttling1
    return loss * rho / float(throttling(flow * rho, T, bench))


def cooling_loss(spec: AirCoreSpec | ExchangerSpec, density: np.ndarray, share: float = 1.0) -> Loss:
    """Cooling-air loss, Pa, and its slope, Pa s/kg, as a function of flow [kg/s] through `share` of the face.

    `density` [kg/m3] mean of the air in the face, array of points.
    """
    shape = geometry_of(spec)
    if shape is not None:
        return _cooling_by_shape(spec, shape, np.asarray(density, dtype=float), share)
    assert spec.bench_cooling_flow is not None and spec.bench_cooling_loss is not None  # proved by the reader
    Q0 = spec.bench_cooling_flow / BENCH_AIR * share
    rho, loss0 = density / BENCH_AIR, spec.bench_cooling_loss
    n = _near_exponent(
        spec.cooling_loss_exponent,
        (loss0, spec.bench2_cooling_loss),
        (spec.bench_cooling_flow, spec.bench2_cooling_flow),
    )

    def face(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        loss, slope = lines.bench_loss(loss0, Q0, n, m / density, rho, 1.0)
        return loss, slope / density

    return face


def _cooling_by_shape(
    spec: AirCoreSpec | ExchangerSpec, shape: CoreGeometry, density: np.ndarray, share: float
) -> Loss:
    usual = rated_cooling_flow(spec)
    factor = (_cooling_correction(spec, shape) or 1.0) * _speed_gain(shape, usual)
    weighted = _odd(lambda m: factor * np.asarray(shape.throttling2(m, COOLING_FILM)), usual)

    def face(m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        value, slope = weighted(np.asarray(m, dtype=float) / share)
        return value / density, slope / (density * share)

    return face


def _speed_gain(shape: CoreGeometry, flow: float) -> float:
    """Loss with the speeding up of heated cooling air, over that at constant mean density."""
    cold, hot = AIR_HEATED
    whole = float(shape.loss2(flow, cold, hot, STANDARD_PRESSURE).whole)
    rho = float(air.density(0.5 * (cold + hot), STANDARD_PRESSURE))
    return whole * rho / float(shape.throttling2(flow, 0.5 * (cold + hot)))


def _cooling_correction(spec: AirCoreSpec | ExchangerSpec, shape: CoreGeometry) -> float | None:
    if spec.bench_cooling_flow is None or spec.bench_cooling_loss is None:
        return None
    m = spec.bench_cooling_flow
    reckoned = float(shape.throttling2(m, COOLING_FILM)) * _speed_gain(shape, m)
    return spec.bench_cooling_loss * BENCH_AIR / reckoned


def check_losses(spec: CoreSpec, loop_coolant: Coolant | None) -> None:
    """Raise `BadInput` where a part's losses at two bench points, or its sizes, cannot be."""
    if isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
        charge_loss(spec)
    if isinstance(spec, (WaterCoreSpec, ExchangerSpec)) and loop_coolant is not None:
        coolant_loss(spec, loop_coolant, np.array([USUAL_COOLANT]))
    if isinstance(spec, (AirCoreSpec, ExchangerSpec)):
        cooling_loss(spec, np.array([BENCH_AIR]))


def loss_corrections(spec: CoreSpec, loop_coolant: Coolant | None) -> dict[str, float]:
    """Measured over reckoned loss of each side ("charge", "coolant", "cooling") known both ways; empty without."""
    shape = geometry_of(spec)
    if shape is None:
        return {}
    found: dict[str, float | None] = {}
    if isinstance(spec, (WaterCoreSpec, AirCoreSpec)):
        found["charge"] = _charge_correction(spec, shape)
    if isinstance(spec, (WaterCoreSpec, ExchangerSpec)):
        found["coolant"] = _coolant_correction(spec, shape, loop_coolant)
    if isinstance(spec, (AirCoreSpec, ExchangerSpec)):
        found["cooling"] = _cooling_correction(spec, shape)
    return {side: factor for side, factor in found.items() if factor is not None}


def _odd(weighted: Callable[[np.ndarray], np.ndarray], usual: float) -> Loss:
    """A loss that is known for flows > 0 made odd, finite in slope at rest, and exact at `usual`.

    Under CREEP of the usual flow it is linear; the slope by central differences.
    """

    def steep(m: np.ndarray) -> np.ndarray:
        size = usual * np.sqrt(((m / usual) ** 2 + CREEP**2) / (1.0 + CREEP**2))
        return np.asarray(weighted(size)) / size * m

    def loss(flow: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        m = np.asarray(flow, dtype=float)
        step = STEP * np.maximum(np.abs(m), CREEP * usual)
        return steep(m), (steep(m + step) - steep(m - step)) / (2.0 * step)

    return loss
