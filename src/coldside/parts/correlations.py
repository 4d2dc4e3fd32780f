"""Exchange effectiveness, friction and film coefficients: pure functions of similarity numbers.

What is here: effectiveness of crossflow (exact), counterflow, one stream mixed, passes in counterflow,
the inverse of the exact crossflow, the change between sides; Darcy friction of pipes; Nusselt numbers of
tubes, of rectangular channels and of a standing hot plate; j and f of offset strip fins; apparent friction of
short channels; `extrapolated`, which says what leaves a correlation's range.
What is not: the shapes of fins and tubes (`surfaces.py`), and how a core uses these (`geometry.py`).

NTU = UA/C_min, C_r = C_min/C_max, C = m_dot cp.  An effectiveness without another word is
Q / (C_min (T_hot,in - T_cold,in)).  NumPy only; floats or arrays that broadcast.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coldside.errors import BadInput, Internal, require
from coldside.media.compiled import worth_compiling

Array = NDArray[np.float64]
Number = Any  # float or array in, the broadcast shape out; NumPy scalars count as floats

LARGEST_NTU = 500.0  # exp(-NTU) must not underflow in the series; eps is then within 2.6 % of 1 for any C_r
USUAL_NTU = 20.0  # no part of a car has more; what is reached by then need not be tried at the largest
_SMALLEST_NTU = 1e-9  # below, two terms of the expansion in NTU are exact to round-off
_SMALLEST_C_R = 1e-12  # below, the stream does not change temperature


def _pair(NTU: ArrayLike, C_r: ArrayLike) -> tuple[Array, Array]:
    """NTU and C_r guarded and broadcast."""
    require("NTU", np.asarray(NTU, dtype=float), low=0.0)
    require("C_r", np.asarray(C_r, dtype=float), low=0.0, high=1.0)
    N, C = np.broadcast_arrays(np.asarray(NTU, dtype=float), np.asarray(C_r, dtype=float))
    return N, C


def _mean_decay(x: Array) -> Array:
    """(1 - exp(-x))/x for x >= 0, 1 at x = 0: the mean of exp over the way."""
    safe = np.where(x > 0.0, x, 1.0)
    return np.where(x > 0.0, -np.expm1(-safe) / safe, 1.0)


# --- effectiveness -----------------------------------------------------------------------------------------------


def effectiveness_crossflow(NTU: ArrayLike, C_r: ArrayLike) -> Number:
    """Effectiveness of one crossflow pass, both streams unmixed; exact for constant properties.

    NTU >= 0 (held at 500 above), C_r 0 to 1; result 0 to 1.  BadInput outside or not finite.
    Agrees with quadrature and with the Bessel form within 1e-13.
    Source: Mason1954, double series of regularised incomplete gamma functions P,
    eps = sum over n of P(n+1, NTU) P(n+1, C_r NTU) / (C_r NTU); recurrence and stop rule ours.
    """
    N, C = _pair(NTU, C_r)
    return _crossflow(N.ravel(), C.ravel())[0].reshape(N.shape)[()]


def _crossflow(N: Array, C: Array) -> tuple[Array, Array]:
    """eps and d(eps)/d(NTU) of flat arrays: the series, with both limits handled apart."""
    N = np.minimum(N, LARGEST_NTU)
    eps, slope = -np.expm1(-N), np.exp(-N)  # the row C_r = 0
    tiny = N < _SMALLEST_NTU
    eps[tiny] = N[tiny] * (1.0 - 0.5 * (1.0 + C[tiny]) * N[tiny])
    slope[tiny] = 1.0 - (1.0 + C[tiny]) * N[tiny]
    rest = np.flatnonzero(~tiny & (C >= _SMALLEST_C_R))
    if rest.size and worth_compiling(rest.size):
        from coldside.parts.series import crossflow_series  # Numba: only where a table is made

        eps[rest], slope[rest] = crossflow_series(N[rest], C[rest])
    elif rest.size:
        rest = rest[np.argsort(-(N * C)[rest], kind="stable")]  # longest series first: the active part is a slice
        eps[rest], slope[rest] = _crossflow_series(N[rest], C[rest])
    return eps, slope


def _crossflow_series(N: Array, C: Array) -> tuple[Array, Array]:
    """The series for C N falling along the array, N and C above their smallest."""
    y = C * N
    # every term has a factor P(n + 1, y) or e^-y y^n / n!, the tail of a Poisson count of mean y: here below round-off
    terms = np.ceil(y + 12.0 * np.sqrt(y) + 40.0)
    pmf_x, pmf_y = np.exp(-N), np.exp(-y)  # e^-x x^n / n!, n = 0
    P_x, P_y = -np.expm1(-N), -np.expm1(-y)  # P(n + 1, x), n = 0
    total, change = P_x * P_y, pmf_x * P_y + C * P_x * pmf_y
    active = N.size
    for n in range(1, int(terms[0]) + 1):
        while active and terms[active - 1] < n:
            active -= 1
        a = slice(0, active)
        pmf_x[a] *= N[a] / n
        pmf_y[a] *= y[a] / n
        P_x[a] = np.maximum(P_x[a] - pmf_x[a], 0.0)  # clipped: the difference is round-off in the far tail
        P_y[a] = np.maximum(P_y[a] - pmf_y[a], 0.0)
        total[a] += P_x[a] * P_y[a]
        change[a] += pmf_x[a] * P_y[a] + C[a] * P_x[a] * pmf_y[a]
    return np.minimum(total / y, 1.0), np.maximum((change - total / N) / y, 0.0)


def effectiveness_counterflow(NTU: ArrayLike, C_r: ArrayLike) -> Number:
    """Effectiveness of counterflow, exact for constant properties; NTU >= 0, C_r 0 to 1; result 0 to 1.

    Source: KaysLondon1984; divided through by 1 - C_r by us, so that C_r = 1 is no special case.
    """
    N, C = _pair(NTU, C_r)
    g = N * _mean_decay(N * (1.0 - C))
    return np.minimum(g / (1.0 + C * g), 1.0)[()]  # round-off may pass 1


def effectiveness_crossflow_mixed(NTU: ArrayLike, C_r: ArrayLike, *, mixed: str) -> Number:
    """Effectiveness of one crossflow pass with one stream mixed; `mixed` is "C_min" or "C_max".

    NTU >= 0, C_r 0 to 1; result 0 to 1.  BadInput for other words.  Source: KaysLondon1984.
    """
    N, C = _pair(NTU, C_r)
    if mixed == "C_max":
        g = -np.expm1(-N)
        return (g * _mean_decay(C * g))[()]
    if mixed == "C_min":
        return (-np.expm1(-N * _mean_decay(C * N)))[()]
    raise BadInput(f'mixed = {mixed!r} is not known; it must be "C_min" or "C_max"')


def effectiveness_cross_counter(NTU: ArrayLike, C_r: ArrayLike, passes: int) -> Number:
    """Effectiveness of `passes` equal crossflow passes in counterflow, streams mixed between passes.

    NTU is that of all passes together; each pass is the exact unmixed crossflow; passes 1 to 100.
    One pass is `effectiveness_crossflow`; many tend to counterflow.
    Source: KaysLondon1984; written so that C_r = 1 is no special case.
    """
    if passes != int(passes) or not 1 <= passes <= 100:
        raise BadInput(f"passes = {passes} is out of range; it must be a whole number from 1 to 100")
    N, C = _pair(NTU, C_r)
    one = np.asarray(effectiveness_crossflow(N / passes, C))
    left = np.maximum(1.0 - one * C, 1e-300)
    r = np.minimum(one * (1.0 - C) / left, 1.0)  # 1 - what remains of the difference after a pass
    safe = np.where(r > 0.0, r, 0.5)
    with np.errstate(divide="ignore"):  # r = 1: log1p gives -inf and the pass transfers all
        share = np.where(r > 0.0, -np.expm1(passes * np.log1p(-safe)) / safe, float(passes))
    g = share * one / left
    return np.minimum(g / (1.0 + C * g), 1.0)[()]


def transfer_units_crossflow(effectiveness: ArrayLike, C_r: ArrayLike) -> Number:
    """NTU at which one unmixed crossflow pass has this effectiveness: inverse of `effectiveness_crossflow`.

    effectiveness 0 to below 1, C_r 0 to 1.  BadInput where NTU = 500 does not reach it, naming the limit.
    Solved on the exact series by Newton inside a bracket; the counterflow value, which lies below the
    answer, is the start.
    """
    eps = np.asarray(effectiveness, dtype=float)
    require("effectiveness", eps, low=0.0, high=1.0)
    require("C_r", np.asarray(C_r, dtype=float), low=0.0, high=1.0)
    eps, C = np.broadcast_arrays(eps, np.asarray(C_r, dtype=float))
    # under _SMALLEST_C_R the series is that of 0; the bracket must be too, or it holds no answer
    target, ratio = eps.ravel(), np.where(C.ravel() < _SMALLEST_C_R, 0.0, C.ravel())
    _refuse_unreachable(target, ratio)
    low = np.minimum(_transfer_units_counterflow(target, ratio), LARGEST_NTU)
    return _invert(target, ratio, low).reshape(eps.shape)[()]


def _refuse_unreachable(target: Array, ratio: Array) -> None:
    """BadInput for the first effectiveness that the largest NTU does not reach."""
    if np.all(target < _crossflow(np.full(target.shape, USUAL_NTU), ratio)[0]):
        return
    limit = _crossflow(np.full(target.shape, LARGEST_NTU), ratio)[0]
    beyond = (target >= limit) | (target >= 1.0)
    if beyond.any():
        first = int(np.argmax(beyond))
        raise BadInput(
            f"effectiveness {target[first]:.4g} cannot be reached in crossflow; with the smaller heat capacity flow "
            f"{ratio[first]:.3g} of the larger one it stays below {limit[first]:.4g} however large the core"
        )


def _transfer_units_counterflow(eps: Array, C: Array) -> Array:
    """NTU of counterflow for eps < 1; at most the answer for crossflow."""
    reach = np.maximum(1.0 - eps * C, 1e-300)
    r = np.minimum(eps * (1.0 - C) / reach, 1.0 - 1e-16)
    safe = np.where(r > 0.0, r, 0.5)
    return np.where(r > 0.0, -np.log1p(-safe) / safe, 1.0) * eps / reach


def _invert(target: Array, ratio: Array, start: Array) -> Array:
    """Newton on eps(NTU) = target, kept inside a bracket that shrinks with every value seen."""
    N = start.copy()
    low, high = start.copy(), np.full_like(start, LARGEST_NTU)
    open_ = np.flatnonzero(target > 0.0)
    N[target == 0.0] = 0.0
    for _ in range(100):
        value, slope = _crossflow(N[open_], ratio[open_])
        gap = target[open_] - value
        low[open_] = np.where(gap >= 0.0, N[open_], low[open_])
        high[open_] = np.where(gap <= 0.0, N[open_], high[open_])
        with np.errstate(divide="ignore", invalid="ignore"):  # a flat end of the curve: bisect there
            new = N[open_] + gap / slope
        inside = (new >= low[open_]) & (new <= high[open_])
        new = np.where(inside, new, 0.5 * (low[open_] + high[open_]))
        moved = np.abs(new - N[open_])
        # Settled when the step, or what round-off of eps lets us know, is below resolution.
        settled = (moved <= 1e-13 * new) | (np.abs(gap) <= 4e-15) | (high[open_] - low[open_] <= 1e-15 * new)
        N[open_] = new
        open_ = open_[~settled]
        if not open_.size:
            return N
    raise Internal("a crossflow effectiveness was not inverted; please send the build")


def stream_effectiveness(effectiveness: ArrayLike, C_stream: ArrayLike, C_other: ArrayLike) -> Number:
    """Effectiveness referred to one stream, Q/(C_stream (T_hot,in - T_cold,in)), from the one referred to C_min.

    C_stream, C_other heat capacity flows, W/K, >= 0.  For the charge side of a core, C_stream is the charge's.
    """
    own, C_min = _capacities(C_stream, C_other)
    share = np.where(own > 0.0, C_min / np.where(own > 0.0, own, 1.0), 1.0)
    return (np.asarray(effectiveness, dtype=float) * share)[()]


def smaller_side_effectiveness(effectiveness: ArrayLike, C_stream: ArrayLike, C_other: ArrayLike) -> Number:
    """Effectiveness referred to C_min from the one referred to a stream: inverse of `stream_effectiveness`.

    BadInput when more heat than C_min allows is asked for, which says that a figure belongs to another flow.
    """
    own, C_min = _capacities(C_stream, C_other)
    require("smaller heat capacity flow", C_min, low=0.0, open_low=True)
    found = np.asarray(effectiveness, dtype=float) * own / C_min
    require("effectiveness on the smaller stream", found, low=0.0, high=1.0)
    return found[()]


def liquid_coupled_conductance(conductance_hot: ArrayLike, conductance_cold: ArrayLike, C_loop: ArrayLike) -> Number:
    """Heat per kelvin between the inlets of two exchangers joined by a liquid loop, steady, W/K.

    conductance_hot and conductance_cold are each exchanger's effectiveness times its smaller heat
    capacity flow, W/K, at most C_loop, the loop's heat capacity flow; all > 0.  The volume of a tank in
    the loop does not occur.  Source: KaysLondon1984, 1/(1/a + 1/b - 1/C_loop).
    """
    a, b, C = (np.asarray(x, dtype=float) for x in (conductance_hot, conductance_cold, C_loop))
    require("conductance_hot", a, low=0.0, open_low=True)
    require("conductance_cold", b, low=0.0, open_low=True)
    if np.any(np.maximum(a, b) * (1.0 - 1e-12) > C):
        raise BadInput("the loop carries less heat than an exchanger on it is said to move; check its flow")
    return (1.0 / (1.0 / a + 1.0 / b - 1.0 / C))[()]


def _capacities(C_stream: ArrayLike, C_other: ArrayLike) -> tuple[Array, Array]:
    """The stream's heat capacity flow, guarded, and the smaller of both."""
    own, other = np.asarray(C_stream, dtype=float), np.asarray(C_other, dtype=float)
    require("heat capacity flow of the stream", own, low=0.0)
    require("heat capacity flow of the other stream", other, low=0.0)
    return own, np.minimum(own, other)


# --- friction ----------------------------------------------------------------------------------------------------

_SMALLEST_RE = 1e-9  # f = 64/Re is carried to here and held, so that a standing fluid gives a finite number


def friction_factor(Re: ArrayLike, relative_roughness: ArrayLike = 0.0) -> Number:
    """Darcy friction factor of a round pipe, one smooth formula for all Re (laminar, transition, rough).

    Re of either sign (its size counts); relative_roughness e/D, 0 to 0.05.  64/Re below about Re 1500; at
    Re = 0 the value of Re = 1e-9, so that f Re stays 64 and f finite.  Between Re 2000 and 4000 reality
    scatters by +-30 %.  Source: Churchill1977.
    """
    size = np.abs(np.asarray(Re, dtype=float))
    rough = np.asarray(relative_roughness, dtype=float)
    require("Re", size)
    require("relative_roughness", rough, low=0.0, high=0.05)
    size = np.maximum(size, _SMALLEST_RE)
    A = (2.457 * np.log(1.0 / ((7.0 / size) ** 0.9 + 0.27 * rough))) ** 16
    B = (37530.0 / size) ** 16
    return (8.0 * ((8.0 / size) ** 12 + (A + B) ** -1.5) ** (1.0 / 12.0))[()]


# --- films -------------------------------------------------------------------------------------------------------

LAMINAR_END, TURBULENT_START = 2300.0, 4000.0
NUSSELT_LAMINAR = 3.657  # developed, wall at one temperature


def nusselt_tube_laminar(Re: ArrayLike, Pr: ArrayLike, length_over_diameter: ArrayLike = np.inf) -> Number:
    """Mean Nusselt number of laminar flow that develops in velocity and temperature, wall at one temperature.

    Re >= 0, Pr 0.1 to 1e5, L/D > 0 (inf: developed, 3.657).  Source: BaehrStephan2006.
    """
    size, prandtl, length = _tube(Re, Pr, length_over_diameter)
    Gz = np.maximum(size * prandtl / length, 1e-12)
    cube = Gz ** (-1.0 / 3.0)
    top = NUSSELT_LAMINAR / np.tanh(2.264 * cube + 1.7 * cube**2) + 0.0499 * Gz * np.tanh(1.0 / Gz)
    return (top / np.tanh(2.432 * prandtl ** (1.0 / 6.0) * cube ** (0.5)))[()]


def nusselt_tube_turbulent(Re: ArrayLike, Pr: ArrayLike, length_over_diameter: ArrayLike = np.inf) -> Number:
    """Nusselt number of turbulent flow in a smooth tube, with the entrance factor 1 + (D/L)^(2/3).

    Meant for Re 4000 to 5e6, Pr 0.5 to 2000; below Re 1500 refused.
    Source: Gnielinski1976 with the smooth friction factor of Petukhov.
    """
    size, prandtl, length = _tube(Re, Pr, length_over_diameter)
    require("Re", size, low=1500.0)
    return _gnielinski(size, prandtl, length)[()]


def _gnielinski(Re: Array, Pr: Array, length: Array) -> Array:
    """Unguarded `nusselt_tube_turbulent`."""
    f = (0.79 * np.log(Re) - 1.64) ** -2
    developed = (f / 8.0) * (Re - 1000.0) * Pr / (1.0 + 12.7 * np.sqrt(f / 8.0) * (Pr ** (2.0 / 3.0) - 1.0))
    return developed * (1.0 + (1.0 / length) ** (2.0 / 3.0))


def nusselt_tube(
    Re: ArrayLike,
    Pr: ArrayLike,
    length_over_diameter: ArrayLike = np.inf,
    *,
    laminar: float | None = None,
) -> Number:
    """Mean Nusselt number of flow in a tube for every Re: laminar to 2300, turbulent from 4000, linear between.

    Re >= 0, Pr, L/D as in the two parts; `laminar` replaces the laminar part by a constant (4.364 for a
    wall of uniform heat flux).  In a tube about as short as it is wide the laminar part ends above the
    turbulent one's beginning; the film is then held level until the turbulent part has caught up (own).
    Source: BaehrStephan2006, Gnielinski1976, Gnielinski2013 for the transition.
    """
    size, prandtl, length = _tube(Re, Pr, length_over_diameter)
    share = np.clip((size - LAMINAR_END) / (TURBULENT_START - LAMINAR_END), 0.0, 1.0)
    slow = np.minimum(size, LAMINAR_END)
    low = np.asarray(nusselt_tube_laminar(slow, prandtl, length)) if laminar is None else np.full(size.shape, laminar)
    high = np.maximum(_gnielinski(np.maximum(size, TURBULENT_START), prandtl, length), low)
    return ((1.0 - share) * low + share * high)[()]


def _tube(Re: ArrayLike, Pr: ArrayLike, length_over_diameter: ArrayLike) -> tuple[Array, Array, Array]:
    """Re, Pr, L/D guarded and broadcast; L/D may be infinite."""
    length = np.asarray(length_over_diameter, dtype=float)
    require("Re", np.asarray(Re, dtype=float), low=0.0)
    require("Pr", np.asarray(Pr, dtype=float), low=0.1, high=1e5)
    require("length_over_diameter", np.where(np.isposinf(length), 1.0, length), low=0.0, open_low=True)
    size, prandtl, length = np.broadcast_arrays(np.asarray(Re, dtype=float), np.asarray(Pr, dtype=float), length)
    return size, prandtl, length


def nusselt_vertical_plate(Ra: ArrayLike, Pr: ArrayLike) -> Number:
    """Mean Nusselt number of free convection on a standing plate, on its height, laminar and turbulent.

    Ra = g beta (T_s - T_a) L^3 / (nu a) >= 0, to 1e12; any Pr > 0; properties at film temperature.
    Source: ChurchillChu1975.
    """
    rayleigh, prandtl = np.asarray(Ra, dtype=float), np.asarray(Pr, dtype=float)
    require("Ra", rayleigh, low=0.0)
    require("Pr", prandtl, low=0.0, open_low=True)
    damping = (1.0 + (0.492 / prandtl) ** (9.0 / 16.0)) ** (8.0 / 27.0)
    return ((0.825 + 0.387 * rayleigh ** (1.0 / 6.0) / damping) ** 2)[()]


# --- rectangular channels and offset strips ----------------------------------------------------------------------

_NU_T = (1.0, -2.610, 4.970, -5.119, 2.702, -0.548)
_NU_H1 = (1.0, -2.0421, 3.0853, -2.4765, 1.0578, -0.1861)
_F_RE = (1.0, -1.3553, 1.9467, -1.7012, 0.9564, -0.2537)
# Aspect, incremental loss K and constant C of the apparent friction of a channel that develops (Shah 1978)
_ENTRY = ((0.0, 0.2, 0.5, 1.0), (0.674, 0.931, 1.28, 1.43), (2.9e-5, 7.6e-5, 2.1e-4, 2.9e-4))


def _aspect_series(coefficients: tuple[float, ...], aspect: ArrayLike) -> Array:
    a = np.asarray(aspect, dtype=float)
    require("aspect", a, low=0.0, high=1.0)
    return np.polynomial.polynomial.polyval(a, coefficients)


def nusselt_rectangular(aspect: ArrayLike, *, wall: str) -> Number:
    """Nusselt number of developed laminar flow in a rectangular channel, on its hydraulic diameter.

    aspect = short over long side, 0 (parallel plates) to 1; `wall` "T" (one temperature) or "H1" (uniform
    heat flux along, one temperature around).  BadInput for other words.  Source: ShahLondon1978.
    """
    if wall not in ("T", "H1"):
        raise BadInput(f'wall = {wall!r} is not known; it must be "T" or "H1"')
    found = 7.541 * _aspect_series(_NU_T, aspect) if wall == "T" else 8.235 * _aspect_series(_NU_H1, aspect)
    return found[()]


def laminar_friction_rectangular(aspect: ArrayLike) -> Number:
    """f Re (Fanning) of developed laminar flow in a rectangular channel; aspect 0 to 1.  Source: ShahLondon1978."""
    return (24.0 * _aspect_series(_F_RE, aspect))[()]


def nusselt_channel(Re: ArrayLike, Pr: ArrayLike, length_over_diameter: ArrayLike, aspect: float) -> Number:
    """Mean Nusselt number in a rectangular channel for every Re, wall at one temperature.

    Laminar to 2300: the developed value of the aspect, raised by the entrance as a round tube's is; turbulent
    from 4000; linear between, never falling.  Re >= 0, Pr, L/D as in `nusselt_tube`.  The factor
    (Pr_bulk/Pr_wall)^0.11 of a liquid is left out: within 5 % while the wall is within 15 K of it.
    Source: ShahLondon1978, BaehrStephan2006, Gnielinski1976, Gnielinski2013.
    """
    size, prandtl, length = _tube(Re, Pr, length_over_diameter)
    entrance = np.asarray(nusselt_tube_laminar(np.minimum(size, LAMINAR_END), prandtl, length)) / NUSSELT_LAMINAR
    low = nusselt_rectangular(aspect, wall="T") * entrance
    high = np.maximum(_gnielinski(np.maximum(size, TURBULENT_START), prandtl, length), low)
    share = np.clip((size - LAMINAR_END) / (TURBULENT_START - LAMINAR_END), 0.0, 1.0)
    return ((1.0 - share) * low + share * high)[()]


def friction_channel(Re: ArrayLike, length_over_diameter: ArrayLike, aspect: float) -> Number:
    """Apparent FANNING friction factor of a smooth rectangular channel of finite length, for every Re >= 0.

    Laminar and developing to 2300 (ShahLondon1978 with Shah's entrance terms, between aspects by straight
    lines), a quarter of `friction_factor` from 4000, linear between and never below the laminar one.
    "Apparent": the pressure spent on forming the profile is inside.
    """
    length = np.asarray(length_over_diameter, dtype=float)
    require("Re", np.asarray(Re, dtype=float), low=0.0)
    require("length_over_diameter", length, low=0.0, open_low=True)
    size, length = np.broadcast_arrays(np.maximum(np.asarray(Re, dtype=float), _SMALLEST_RE), length)
    K, C = (float(np.interp(aspect, _ENTRY[0], row)) for row in _ENTRY[1:])
    x = length / size
    first = 3.44 / np.sqrt(x)
    slow = (first + (laminar_friction_rectangular(aspect) + K / (4.0 * x) - first) / (1.0 + C / x**2)) / size
    fast = np.maximum(0.25 * np.asarray(friction_factor(np.maximum(size, TURBULENT_START))), slow)
    share = np.clip((size - LAMINAR_END) / (TURBULENT_START - LAMINAR_END), 0.0, 1.0)
    return ((1.0 - share) * slow + share * fast)[()]


def colburn_offset_strip(Re: ArrayLike, alpha: float, delta: float, gamma: float) -> Number:
    """Colburn factor j = h Pr^(2/3)/(G cp) of an offset strip fin.

    Re > 0 on the hydraulic diameter 4 s h l / (2 (s l + h l + t h) + t s) of a cell with free width s, free
    height h, strip length l, thickness t; alpha = s/h, delta = t/l, gamma = t/s.  Range: `extrapolated`;
    data within +-20 %.  Source: ManglikBergles1995.
    """
    size = _fin_numbers(Re, alpha, delta, gamma)
    blend = 1.0 + 5.269e-5 * size**1.340 * alpha**0.504 * delta**0.456 * gamma**-1.055
    return (0.6522 * size**-0.5403 * alpha**-0.1541 * delta**0.1499 * gamma**-0.0678 * blend**0.1)[()]


def friction_offset_strip(Re: ArrayLike, alpha: float, delta: float, gamma: float) -> Number:
    """FANNING friction factor of an offset strip fin; numbers, range and source as `colburn_offset_strip`.

    Real brazed fins, with burrs, lie 10 to 25 % above (common practice).
    """
    size = _fin_numbers(Re, alpha, delta, gamma)
    blend = 1.0 + 7.669e-8 * size**4.429 * alpha**0.920 * delta**3.767 * gamma**0.236
    return (9.6243 * size**-0.7422 * alpha**-0.1856 * delta**0.3053 * gamma**-0.2659 * blend**0.1)[()]


def _fin_numbers(Re: ArrayLike, alpha: float, delta: float, gamma: float) -> Array:
    """Re as an array; all four guarded."""
    size = np.asarray(Re, dtype=float)
    require("Re", size, low=0.0, open_low=True)
    for name, value in (("alpha", alpha), ("delta", delta), ("gamma", gamma)):
        require(name, value, low=0.0, open_low=True)
    return size


# --- ranges ------------------------------------------------------------------------------------------------------

RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "friction_factor": {"Re": (0.0, 1e8), "relative_roughness": (0.0, 0.05)},
    "nusselt_tube": {"Re": (0.0, 5e6), "Pr": (0.5, 2000.0)},
    "nusselt_tube_laminar": {"Re": (0.0, LAMINAR_END), "Pr": (0.1, 1000.0)},
    "nusselt_tube_turbulent": {"Re": (TURBULENT_START, 5e6), "Pr": (0.5, 2000.0)},
    "nusselt_vertical_plate": {"Ra": (0.1, 1e12)},
    "nusselt_channel": {"Re": (0.0, 5e6), "Pr": (0.5, 2000.0)},
    "friction_channel": {"Re": (0.0, 1e8)},
    "colburn_offset_strip": {"Re": (120.0, 1e4), "Pr": (0.5, 15.0)},
    "friction_offset_strip": {"Re": (120.0, 1e4)},
    # j to 3000, f to 5000; the smaller counts, since a core needs both.  Lengths from memory, in m, angle in degrees.
    "louvered_fin": {
        "Re": (100.0, 3000.0),
        "louver_pitch": (0.5e-3, 3.0e-3),
        "fin_pitch": (0.5e-3, 3.3e-3),
        "tube_pitch": (7.5e-3, 25e-3),
        "depth": (16e-3, 57e-3),
        "louver_angle": (8.0, 35.0),
    },
}


def extrapolated(correlation: str | Callable[..., Any], **numbers: ArrayLike) -> list[str]:
    """One sentence for each number that leaves the range of a correlation's source; empty when none does.

    `correlation` is a function of this module or its name, `numbers` its similarity numbers by name
    (`Re=...`, `Pr=...`).  BadInput for a correlation or number without a stated range.
    """
    name = correlation if isinstance(correlation, str) else correlation.__name__
    if name not in RANGES:
        raise BadInput(f"no range is stated for {name!r}; there is one for {', '.join(RANGES)}")
    found = []
    for number, value in numbers.items():
        if number not in RANGES[name]:
            raise BadInput(f"{name} has no stated range of {number!r}; it has one of {', '.join(RANGES[name])}")
        low, high = RANGES[name][number]
        array = np.asarray(value, dtype=float)
        if float(array.min()) < low:
            found.append(f"{name}: {number} = {float(array.min()):.3g} is below {low:g}, the range of its source")
        if float(array.max()) > high:
            found.append(f"{name}: {number} = {float(array.max()):.3g} is above {high:g}, the range of its source")
    return found
