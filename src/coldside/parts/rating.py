"""What a rated core can do at any flows: film conductances, exact heat, and wall cells that are exact at rest.

What is here: `Rating` (two films and a wall that bench points or geometry gave, how streams cross: passes,
uneven flow), `cell_conductances` (what a grid of wall cells needs so that its steady answer is the exact
one), `doubt_beyond_bench`.  What is not: where the numbers come from (`exchanger.py`, `two_points.py`) and
solving the grid (`plant/`).  Side 1 is the charge of a core or the coolant of a remote exchanger.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from coldside.media import air
from coldside.media.compiled import worth_compiling
from coldside.media.coolants import Coolant
from coldside.parts.correlations import (
    effectiveness_cross_counter,
    effectiveness_crossflow,
    transfer_units_crossflow,
)
from coldside.parts.geometry import CoreGeometry

FLOOR = 0.02  # share of the bench flow under which a film no longer weakens (natural convection)
MOST_STRENGTHENED = 4.0  # limit of a film's correction for the cells (own)
MOST_WEAKENED = 0.01  # and the weakest it may become where uneven flow costs more than the cells miss (own)
STRONGEST_TRIED = 20.0  # to which that correction is sought
TRICKLE = (0.02, 0.10)  # shares of the bench flow between which that correction fades in (own)
BENCH_RANGE = (0.5, 2.0)  # of the bench flow; beyond it a rating is extrapolated (heat note B4)
DOUBT_PER_DOUBLING = 0.10  # sd of the conductance, as a share, for every factor 2 beyond that range (own)
# correlations of surfaces, in words
SURFACES = {
    "colburn_offset_strip": "film of its offset strip fins",
    "louvered_fin": "film and loss of its louvered fins",
    "nusselt_channel": "film in its channels",
}
COUNTER, BESIDE = "counter", "beside"  # passes of side 1 or 2 along the other stream, or side by side in its face


@dataclass(frozen=True)
class Rating:
    """A core or exchanger as rated.

    `flow1`, `flow2` bench mass flows [kg/s]; `film1`, `film2`, `wall` resistances at the bench
    [K/W]; `exponent1`, `exponent2` of film conductance with flow; `liquid` the side (1, 2 or 0 for
    none) whose film follows coolant temperature; `bench_coolant`, `bench_temperature` what it was
    rated with; `UA` the whole conductance and `effectiveness` of the smaller capacity rate at the bench.
    `passes` of the coolant and their `arrangement`: COUNTER, in counterflow with the other stream and
    mixed between (water cores), or BESIDE, side by side in the face of the other stream (exchangers).
    `maldistribution` x: the flow of side `uneven` is (1 + x) and (1 - x) in its two halves.
    `correction` what its geometry's conductance was multiplied by to meet its bench (None: not both
    known); `share1_sd`, `conductance_sd` standard deviations of side 1's film share and, as a share, of `UA`
    where two bench points were weighed; `notes` sentences on how it was rated.
    """

    flow1: float
    flow2: float
    film1: float
    film2: float
    wall: float
    exponent1: float
    exponent2: float
    liquid: int
    bench_coolant: Coolant | None
    bench_temperature: float
    UA: float
    effectiveness: float
    passes: int = 1
    arrangement: str = COUNTER
    maldistribution: float = 0.0
    uneven: int = 1
    correction: float | None = None
    share1_sd: float | None = None
    conductance_sd: float | None = None
    notes: tuple[str, ...] = ()

    def conductance1(self, flow: np.ndarray, temperature: np.ndarray, coolant: Coolant | None) -> np.ndarray:
        """Conductance from stream 1 to the middle of the wall, W/K, at `flow` [kg/s] (array)."""
        ratio = self._film_ratio(temperature, coolant) if self.liquid == 1 else 1.0
        film = self.film1 * ratio / _growth(flow, self.flow1, self.exponent1)
        return np.asarray(1.0 / (film + 0.5 * self.wall))

    def conductance2(self, flow: np.ndarray, temperature: np.ndarray, coolant: Coolant | None) -> np.ndarray:
        """Conductance from the middle of the wall to stream 2, W/K, at `flow` [kg/s] (array)."""
        ratio = self._film_ratio(temperature, coolant) if self.liquid == 2 else 1.0
        film = self.film2 * ratio / _growth(flow, self.flow2, self.exponent2)
        return np.asarray(1.0 / (film + 0.5 * self.wall))

    def heat(self, C1: np.ndarray, C2: np.ndarray, h1: np.ndarray, h2: np.ndarray) -> np.ndarray:
        """Exact steady heat per kelvin between the inlets, W/K.

        `C1`, `C2` capacity rates of the whole streams [W/K, > 0]; `h1`, `h2` [W/K] as `conductance1`
        and `conductance2` give them for the whole streams.  Crossflow, both unmixed; coolant passes;
        two halves that share the even stream (heat notes A1, A4).
        """
        if self.maldistribution == 0.0:
            return self._even_heat(C1, C2, h1, h2)
        total = np.zeros_like(np.asarray(C1, dtype=float))
        for share in (1.0 + self.maldistribution, 1.0 - self.maldistribution):
            if self.uneven == 1:
                half = (0.5 * share * C1, 0.5 * C2, 0.5 * self._at_share(h1, share, self.exponent1), 0.5 * h2)
            else:
                half = (0.5 * C1, 0.5 * share * C2, 0.5 * h1, 0.5 * self._at_share(h2, share, self.exponent2))
            total = total + self._even_heat(*half)
        return total

    def _at_share(self, h: np.ndarray, share: float, exponent: float) -> np.ndarray:
        """A side's conductance with its film at `share` of the flow; its half of the wall stays."""
        film = np.maximum(1.0 / h - 0.5 * self.wall, 0.0)
        return 1.0 / (film * share**-exponent + 0.5 * self.wall)

    def _even_heat(self, C1: np.ndarray, C2: np.ndarray, h1: np.ndarray, h2: np.ndarray) -> np.ndarray:
        if self.passes > 1 and self.arrangement == BESIDE:
            n = self.passes
            each = _crossflow_heat(C1, C2 / n, h1 / n, h2 / n)
            # the coolant keeps 1 - each/C1 of its difference in every pass, each of which meets fresh air
            return np.asarray(-C1 * np.expm1(n * np.log1p(-np.minimum(each / C1, 1.0 - 1e-15))))
        low, high = np.minimum(C1, C2), np.maximum(C1, C2)
        if self.passes > 1:
            UA = 1.0 / (1.0 / h1 + 1.0 / h2)
            return np.asarray(effectiveness_cross_counter(UA / low, low / high, self.passes) * low)
        return _crossflow_heat(C1, C2, h1, h2)

    def _film_ratio(self, temperature: np.ndarray, coolant: Coolant | None) -> np.ndarray:
        """Coolant film resistance over that on the bench at equal mass flow (heat note B1)."""
        if coolant is None or self.bench_coolant is None:
            return np.ones_like(np.asarray(temperature, dtype=float))
        n = self.exponent1 if self.liquid == 1 else self.exponent2
        T, T0, bench = np.asarray(temperature, dtype=float), self.bench_temperature, self.bench_coolant
        mu = coolant.viscosity(T) / bench.viscosity(T0)
        k = coolant.conductivity(T) / bench.conductivity(T0)
        cp = coolant.cp(T) / bench.cp(T0)
        return np.asarray(mu ** (n - 1.0 / 3.0) * k ** (-2.0 / 3.0) * cp ** (-1.0 / 3.0))


def _crossflow_heat(C1: np.ndarray, C2: np.ndarray, h1: np.ndarray, h2: np.ndarray) -> np.ndarray:
    low, high = np.minimum(C1, C2), np.maximum(C1, C2)
    return np.asarray(effectiveness_crossflow(1.0 / (1.0 / h1 + 1.0 / h2) / low, low / high) * low)


def _growth(flow: np.ndarray, bench: float, exponent: float) -> np.ndarray:
    """(flow/bench)^exponent with a smooth floor at FLOOR of the bench flow, exactly 1 at the bench."""
    x2 = (np.asarray(flow, dtype=float) / bench) ** 2
    return np.asarray(((x2 + FLOOR**2) / (1.0 + FLOOR**2)) ** (0.5 * exponent))


@dataclass(frozen=True)
class SizedRating(Rating):
    """A rating whose films and wall come from geometry.

    `shape` the core; `temperature1`, `temperature2` [K] at which a gas side takes its viscosity and
    conductivity (its film moves by 4 % for 10 % of absolute temperature).  `wall` holds fouling too, as at
    `flow1`, `flow2`; `film1`, `film2`, exponents and `UA` of the base class are those at `flow1`, `flow2`,
    the bench flows or usual ones; `correction` multiplies every conductance of the geometry; `factors`
    what each bench point asked for.
    """

    shape: CoreGeometry = field(kw_only=True)
    temperature1: float = field(kw_only=True)
    temperature2: float = field(kw_only=True)
    factors: tuple[float, ...] = field(kw_only=True, default=())

    def conductance1(self, flow: np.ndarray, temperature: np.ndarray, coolant: Coolant | None) -> np.ndarray:
        """As `Rating.conductance1`, from the surface's own correlation."""
        return np.asarray(1.0 / (self._film(1, flow, temperature, coolant) + 0.5 * self.wall))

    def conductance2(self, flow: np.ndarray, temperature: np.ndarray, coolant: Coolant | None) -> np.ndarray:
        """As `Rating.conductance2`, from the surface's own correlation."""
        return np.asarray(1.0 / (self._film(2, flow, temperature, coolant) + 0.5 * self.wall))

    def _film(self, side: int, flow: np.ndarray, temperature: np.ndarray, coolant: Coolant | None) -> np.ndarray:
        """Film resistance of a side, K/W, with the floor that every film has."""
        usual, gas = (self.flow1, self.temperature1) if side == 1 else (self.flow2, self.temperature2)
        m = np.hypot(np.asarray(flow, dtype=float), FLOOR * usual)
        wet = self.liquid == side
        stream = (m, temperature if wet else gas, (coolant or self.bench_coolant) if wet else None)
        film = self.shape.film1(*stream) if side == 1 else self.shape.film2(*stream)
        return np.asarray(1.0 / film / (self.correction or 1.0))

    def extrapolated(self, flow1: float, flow2: float, temperature: float, coolant: Coolant | None) -> list[str]:
        """One sentence for each number of its surfaces outside its source's range, at these flows [kg/s].

        A side at next to no flow is left out: its film stands on the floor that every film has.
        """
        found = []
        for side, flow in ((1, flow1), (2, flow2)):
            usual, gas = (self.flow1, self.temperature1) if side == 1 else (self.flow2, self.temperature2)
            if flow < TRICKLE[0] * usual:
                continue
            fluid = (coolant or self.bench_coolant) if self.liquid == side else None
            T = temperature if fluid is not None else gas
            Pr = air.prandtl(T) if fluid is None else fluid.viscosity(T) * fluid.cp(T) / fluid.conductivity(T)
            own, reynolds = self.shape.side1, self.shape.reynolds1
            if side == 2:
                own, reynolds = self.shape.side2, self.shape.reynolds2
            for sentence in own.surface.extrapolated(reynolds(flow, T, fluid), Pr):
                name, _, rest = sentence.partition(": ")
                found.append(f"{SURFACES.get(name, name)}, {rest}")
        return found


def rated_by_shape(blank: SizedRating, correction: float | None) -> SizedRating:
    """A sized rating with its films, wall, exponents, conductance and effectiveness filled in.

    `blank` has all but these; they are taken at its `flow1`, `flow2` and `bench_temperature`, the effectiveness
    left NaN where there was no bench.
    """
    shape, T = blank.shape, np.array(blank.bench_temperature)
    streams = [
        (flow, T, blank.bench_coolant) if blank.liquid == side else (flow, gas, None)
        for side, flow, gas in ((1, blank.flow1, blank.temperature1), (2, blank.flow2, blank.temperature2))
    ]
    wall = shape.wall + float(shape.fouling1(*streams[0])) + float(shape.fouling2(*streams[1]))
    made = replace(blank, correction=correction, wall=wall / (correction or 1.0))
    films = []
    for conductance, flow in ((made.conductance1, made.flow1), (made.conductance2, made.flow2)):
        at = [
            1.0 / (1.0 / float(conductance(np.array(flow * share), T, None)) - 0.5 * made.wall)
            for share in (1.0, 0.95, 1.05)
        ]
        films.append((1.0 / at[0], float(np.log(at[2] / at[1]) / np.log(1.05 / 0.95))))
    (film1, exponent1), (film2, exponent2) = films
    UA = 1.0 / (film1 + film2 + made.wall)
    return replace(made, film1=film1, film2=film2, exponent1=exponent1, exponent2=exponent2, UA=UA)


def conductance_of(effectiveness: float, C1: float, C2: float, passes: int = 1, arrangement: str = COUNTER) -> float:
    """Whole conductance, W/K, of an evenly fed core with this effectiveness of its smaller stream.

    Inverse of `Rating.heat` over 1/UA, by way of the effectiveness of one pass (heat note A1).
    Raises `BadInput` where crossflow cannot reach it.
    """
    low, high = min(C1, C2), max(C1, C2)
    if passes == 1:
        return float(transfer_units_crossflow(effectiveness, low / high)) * low
    if arrangement == BESIDE:
        kept = max(1.0 - effectiveness * low / C1, 0.0) ** (1.0 / passes)
        each_low, each_high = min(C1, C2 / passes), max(C1, C2 / passes)
        one = (1.0 - kept) * C1 / each_low
        return passes * float(transfer_units_crossflow(one, each_low / each_high)) * each_low
    ratio = low / high
    if 1.0 - ratio < 1e-9:
        one = effectiveness / (passes - (passes - 1) * effectiveness)
    else:
        X = ((1.0 - effectiveness * ratio) / (1.0 - effectiveness)) ** (1.0 / passes)
        one = (X - 1.0) / (X - ratio)
    return passes * float(transfer_units_crossflow(one, ratio)) * low


def doubt_beyond_bench(share: float) -> float:
    """Standard deviation of a conductance, as a share of it, at `share` of the bench flow, from that flow alone.

    0 within half to twice the bench flow; 10 % for every factor 2 beyond (heat note B4, own).
    """
    low, high = BENCH_RANGE
    beyond = max(np.log2(max(share, 1e-9) / high), np.log2(low / max(share, 1e-9)), 0.0)
    return DOUBT_PER_DOUBLING * float(beyond)


# --- wall cells ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class CellConductances:
    """What a grid of wall cells needs: conductances of the whole core, and what the grid misses.

    `side1`, `side2` [W/K]; `residual` = steady effectiveness of the grid over the exact one, minus 1.
    """

    side1: np.ndarray
    side2: np.ndarray
    residual: np.ndarray


def cell_conductances(
    rating: Rating,
    C1: np.ndarray,
    C2: np.ndarray,
    temperature: np.ndarray,
    cells: tuple[int, int],
    coolant: Coolant | None,
    cp: tuple[float, float],
) -> CellConductances:
    """Conductances that make an n1 x n2 grid of wall cells exact at steady state.

    Parameters: capacity rates `C1`, `C2` [W/K], coolant `temperature` [K] (arrays of one shape);
    `cells` along side 1 and along side 2; `coolant` of the loop (None for an air core); `cp` of both
    streams [J/(kg K)].  A gas side takes 1 - exp(-g/c) of the difference to its cell's wall; the
    liquid side is one mixed volume a cell.  Where one side is liquid only its film is strengthened
    (its mixed cells are what falls short), so that the first instants after a step, which the gas
    film alone decides, stay true: at 4 x 8 cells this is five times closer to a fine grid than
    strengthening both.  Between two gases both are, and with several passes, which a grid of one
    pass reaches only with stronger films all round.  Uneven flow, and passes side by side, may leave
    less than the bare grid gives: the same films are then weakened.
    Where a flow is a trickle almost all heat is exchanged whatever the film, and a film strong
    enough to make up the last of it would be absurd: the factor is held under MOST_STRENGTHENED
    and fades to 1 under TRICKLE.  What the grid then misses is told as `residual`.
    Source: heat note C1 (grid, exact closure); the one-sided correction and its limits are our own.
    """
    C1, C2 = np.maximum(C1, 1e-9), np.maximum(C2, 1e-9)
    h1 = rating.conductance1(C1 / cp[0], temperature, coolant)
    h2 = rating.conductance2(C2 / cp[1], temperature, coolant)
    exact = rating.heat(C1, C2, h1, h2)
    on_1, on_2 = rating.liquid != 2 or rating.passes > 1, rating.liquid != 1 or rating.passes > 1

    def grid(k: np.ndarray) -> np.ndarray:
        return _grid_heat(C1, C2, k * h1 if on_1 else h1, k * h2 if on_2 else h2, cells, rating.liquid)

    plain = rating.maldistribution == 0.0 and rating.passes == 1
    least = 1.0 if plain else MOST_WEAKENED
    if worth_compiling(exact.size):
        k = _matched((C1, C2, h1, h2), (on_1, on_2), cells, rating.liquid, exact, least)
    else:
        k = _match(grid, exact, least)
    knee, room = 0.5 * (1.0 + MOST_STRENGTHENED), 0.5 * (MOST_STRENGTHENED - 1.0)
    k = np.where(k > knee, knee - room * np.expm1(-(k - knee) / room), k)
    fade = _rise(C1 / (rating.flow1 * cp[0])) * _rise(C2 / (rating.flow2 * cp[1]))
    k = 1.0 + (k - 1.0) * fade
    return CellConductances(k * h1 if on_1 else h1, k * h2 if on_2 else h2, grid(k) / exact - 1.0)


def _rise(share: np.ndarray) -> np.ndarray:
    """0 under the first TRICKLE share of bench flow, 1 over the second, smooth between."""
    s = np.clip((share - TRICKLE[0]) / (TRICKLE[1] - TRICKLE[0]), 0.0, 1.0)
    return s * s * (3.0 - 2.0 * s)


def _match(heat: Callable[[np.ndarray], np.ndarray], target: np.ndarray, least: float) -> np.ndarray:
    """The factor, `least` to 20, at which the rising function `heat` meets `target`, by elements, else an end."""
    one = np.ones_like(target)
    low, high = np.full_like(target, np.log(least)), np.full_like(target, np.log(STRONGEST_TRIED))
    f_low, f_high = heat(least * one) - target, heat(STRONGEST_TRIED * one) - target
    never, at_once = f_high <= 0.0, f_low >= 0.0
    k = np.zeros_like(target)
    side = np.zeros(target.shape, dtype=int)
    for _ in range(30):
        # Illinois: regula falsi that halves a stale end, so it keeps a bracket and converges fast
        with np.errstate(divide="ignore", invalid="ignore"):
            k = np.clip((low * f_high - high * f_low) / (f_high - f_low), low, high)
        k = np.where(never | at_once | ~np.isfinite(k), high, k)
        f = heat(np.exp(k)) - target
        if np.all((np.abs(f) <= 1e-11 * target) | never | at_once):
            break
        up = f < 0.0
        f_high = np.where(up, np.where(side == 1, 0.5 * f_high, f_high), f)
        f_low = np.where(up, f, np.where(side == -1, 0.5 * f_low, f_low))
        low, high = np.where(up, k, low), np.where(up, high, k)
        side = np.where(up, 1, -1)
    return np.asarray(np.where(at_once, least, np.where(never, STRONGEST_TRIED, np.exp(k))))


def _matched(
    streams: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray],
    moved: tuple[bool, bool],
    cells: tuple[int, int],
    liquid: int,
    target: np.ndarray,
    least: float,
) -> np.ndarray:
    """`_match` of a grid by compiled code; `streams` are C1, C2, h1, h2, `moved` the films that the factor moves."""
    from coldside.parts.cell_grid import match  # Numba: only where a table is made

    C1, C2, h1, h2, aim = (_flat(v, target.shape) for v in (*streams, target))
    found = match((C1, C2, h1, h2), cells, liquid, moved, aim, (least, STRONGEST_TRIED))
    return np.asarray(found.reshape(target.shape))


def _grid_heat(
    C1: np.ndarray, C2: np.ndarray, h1: np.ndarray, h2: np.ndarray, cells: tuple[int, int], liquid: int
) -> np.ndarray:
    """Steady heat of the grid per kelvin of inlet difference, W/K (heat note C1, explicit march)."""
    n1, n2 = cells
    if worth_compiling(C1.size):
        from coldside.parts.cell_grid import grid_heat  # Numba: only where a table is made

        c1, c2, g1, g2 = (_flat(v, C1.shape) for v in (C1, C2, h1, h2))
        return np.asarray(grid_heat((c1, c2, g1, g2), cells, liquid).reshape(C1.shape))
    c1, c2 = C1 / n2, C2 / n1
    R = _cell_resistance(c1, h1 / (n1 * n2), liquid == 1) + _cell_resistance(c2, h2 / (n1 * n2), liquid == 2)
    # both streams are followed by what they lose or gain in units of the inlet difference
    T1 = [np.ones_like(C1) for _ in range(n2)]
    T2 = [np.zeros_like(C1) for _ in range(n1)]
    total = np.zeros_like(C1)
    for i in range(n1):
        for j in range(n2):
            q = (T1[j] - T2[i]) / R
            T1[j] = T1[j] - q / c1
            T2[i] = T2[i] + q / c2
            total = total + q
    return total


def _flat(values: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    return np.ascontiguousarray(np.broadcast_to(values, shape), dtype=float).ravel()


def _cell_resistance(c: np.ndarray, g: np.ndarray, is_liquid: bool) -> np.ndarray:
    """Resistance from a cell's inlet stream to its wall, K/W: mixed liquid, or gas along the wall."""
    return 1.0 / g + 1.0 / c if is_liquid else -1.0 / (c * np.expm1(-g / c))
