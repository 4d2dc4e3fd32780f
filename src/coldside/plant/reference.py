"""The kernel's physics once more in plain NumPy: readable, slow, and linear in the states where it is.

What is here: `flows`, `coefficients` and `heats`, the three steps of one evaluation, and `derivative`,
which chains them and must agree with `kernel.derivative` (a test holds them together to 1e-10).  `heats`
takes any number of state vectors at once: at given flows it is linear in them, which is how `steady.py`
finds the settled state without marching.  Never imports `kernel`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coldside.plant.layout import (
    AMBIENT,
    BAY,
    BETWEEN_NODES,
    CHARGE,
    COOLANT,
    COOLING,
    DUCT_TIME,
    FACE_HOTTEST,
    FEED_NODES,
    IN_AMBIENT,
    IN_BAY,
    IN_FLOW,
    IN_HUMIDITY,
    IN_OUT,
    IN_SPEED,
    INJECTION,
    INJECTION_BLOCK,
    LIMIT_BLOCK,
    P_CELL_STEP,
    P_CELLS,
    P_COLUMN,
    P_IN,
    P_LANE_STEP,
    P_LANES,
    P_LIQUID,
    P_OUT,
    P_PATH,
    P_SIDE,
    P_SORT,
    P_TABLE,
    P_WALL,
    SECOND_STAGE,
    STAGE_BLOCK,
    TOTAL_CHARGE,
    Arrays,
)

TRICKLE = 1e-12  # kg/s, as in the kernel


@dataclass(frozen=True)
class Flows:
    """What moves at one instant."""

    flow: np.ndarray  # (P,) kg/s, signed
    charge: float  # kg/s
    T_charge: float  # K, compressor outlet
    loop_T: np.ndarray  # (L,) K
    pump: np.ndarray  # (F,) W into each field, from its pump, spray or engine
    T_second: float = 0.0  # K, outlet of a second compressor
    returned: np.ndarray | None = None  # (D,) share of each duct's rise that comes back to its inlet; None: none
    pressure: np.ndarray | None = None  # (2,) Pa, charge behind and between the compressors; None: nothing condenses
    running: float = 1.0  # 1 where the engine runs
    injected: np.ndarray | None = None  # (injections, 5): two lines a + b T of what leaves it, and its water
    humidity: float = 0.0  # kg of vapour per kg of dry air in the charge


@dataclass(frozen=True)
class Surroundings:
    """What fields take heat from, K."""

    bay: float
    ambient: float
    engine_metal: float

    def at(self, code: int) -> float:
        """Temperature by its code in the layout."""
        return self.bay if code == BAY else self.ambient if code == AMBIENT else self.engine_metal


def surroundings_at(A: Arrays, k: int, s: float = 0.0) -> Surroundings:
    """What fields take heat from at share s between samples k and k + 1."""
    u = (1.0 - s) * A.inputs[k] + s * A.inputs[min(k + 1, len(A.inputs) - 1)]
    return Surroundings(float(u[IN_BAY]), float(u[IN_AMBIENT]), A.engine_metal)


@dataclass(frozen=True)
class Heats:
    """Heat into every node [W] and every pass's inlet and outlet [K], for M state vectors side by side."""

    into: np.ndarray  # (field nodes, M)
    T_in: np.ndarray  # (P, M)
    T_out: np.ndarray  # (P, M)
    crossed: np.ndarray  # (P, M): charge gives to walls, cooling air takes from walls
    pickup: np.ndarray  # (F, M)
    plenum: np.ndarray  # (M,) gas leaving the charge path
    duct_out: np.ndarray  # (D, M)
    reads: np.ndarray  # (S, M) stream at each sensor
    water: np.ndarray  # (M,) kg/s condensed from the charge
    lanes: dict[int, np.ndarray]  # charge pass -> gas leaving each of its lanes, (lanes, M)


def nodes_of(A: Arrays, f: int) -> slice:
    """States of field f."""
    return slice(int(A.field_first[f]), int(A.field_first[f] + A.field_count[f]))


def temperatures(A: Arrays, x: np.ndarray) -> np.ndarray:
    """States with iced nodes at their true temperature, states first; what else stands beside them (M) is kept."""
    if not len(A.ice_node):
        return x
    y = x.copy()
    for z, at in enumerate(A.ice_node):
        melted = A.ice_mass[z] - x[A.i_ice + z]
        C, zero = A.ice_capacity[z], A.ice_melt[z, 0]
        y[at] = zero + (x[at] - zero) * C / (C + A.ice_cp[z] * melted)
    return y


def loop_temperatures(A: Arrays, x: np.ndarray) -> np.ndarray:
    """Mean coolant temperature of every loop."""
    x = temperatures(A, x)
    T = np.zeros(len(A.loop_nodes))
    for p in np.flatnonzero(A.passes[:, P_SORT] == COOLANT):
        f = A.passes[p, P_LIQUID]
        T[A.passes[p, P_PATH]] += A.loop_weight[p] * x[A.field_first[f] + A.field_count[f] // 2]
    return T


def flows(A: Arrays, k: int, s: float, x: np.ndarray, combo: np.ndarray) -> Flows:
    """Flows from the tables at share s between samples k and k + 1, states x, command combinations `combo`."""
    u = (1.0 - s) * A.inputs[k] + s * A.inputs[min(k + 1, len(A.inputs) - 1)]
    flow, pump = np.zeros(len(A.passes)), np.zeros(len(A.field_first))
    loop_T = loop_temperatures(A, x)
    for loop, T in enumerate(loop_T):
        combos, n_T, links = A.loop_shape[loop]
        here = slice(A.loop_first[loop], A.loop_first[loop] + combos * n_T * links)
        grid = A.loop_origin[loop] + A.loop_step[loop] * np.arange(n_T)
        q, w = (values[here].reshape(combos, n_T, links)[combo[loop]] for values in (A.loop_flow, A.loop_heat))
        for p in np.flatnonzero((A.passes[:, P_SORT] == COOLANT) & (A.passes[:, P_PATH] == loop)):
            flow[p] = A.loop_density[loop] * np.interp(T, grid, q[:, A.passes[p, P_COLUMN]])
            f = A.passes[p, P_LIQUID]
            if A.field_loop[f] >= 0:
                pump[f] = np.interp(T, grid, w[:, A.field_column[f]])
    T = x[A.i_feed]
    weights = _cubic_weights(A.feed, T)
    T_second = 0.0
    if A.stages == 1:
        flow_T, T_charge = (float(weights @ u[i : i + FEED_NODES]) for i in (IN_FLOW, IN_OUT))
    else:
        block = u[A.in_stage : A.in_stage + BETWEEN_NODES * STAGE_BLOCK].reshape(BETWEEN_NODES, 3, FEED_NODES)
        between = _cubic_weights(A.between, x[A.i_between])
        flow_T, T_charge, T_second = np.einsum("m,mvf,f->v", between, block, weights)
    charge = max(float(flow_T) / T, 0.0)
    at = np.sqrt(charge / A.share_scale) / A.share_step
    for p in np.flatnonzero(A.passes[:, P_SORT] == CHARGE):
        flow[p] = charge * np.interp(at, np.arange(len(A.share)), A.share[:, p])
    for d in range(len(A.duct_nodes)):
        _duct(A, d, (max(u[IN_SPEED + d], 0.0), u[IN_AMBIENT]), x[A.i_duct + d], combo[len(loop_T) + d], flow)
    add_sources(A, u, charge, flow, temperatures(A, x), pump)
    injections = (A.in_stage - A.in_injection) // INJECTION_BLOCK
    return Flows(
        flow,
        charge,
        float(T_charge),
        loop_T,
        pump,
        float(T_second),
        u[A.in_recirculation : A.in_recirculation + len(A.duct_nodes)],
        u[A.in_pressure : A.in_pressure + 2],
        float(u[A.in_running]),
        u[A.in_injection : A.in_stage].reshape(injections, INJECTION_BLOCK),
        float(u[IN_HUMIDITY]),
    )


def _cubic_weights(nodes: np.ndarray, value: float) -> np.ndarray:
    """Weights of the cubic through the four equally spaced nodes around `value`, held at the ends; of all nodes."""
    t = float(np.clip((value - nodes[0]) / (nodes[-1] - nodes[0]), 0.0, 1.0)) * (len(nodes) - 1)
    first = min(max(int(t) - 1, 0), len(nodes) - 4)
    four = np.arange(first, first + 4)
    weights = np.zeros(len(nodes))
    for k in four:
        others = four[four != k]
        weights[k] = np.prod((t - others) / (k - others))
    return weights


def add_sources(A: Arrays, u: np.ndarray, charge: float, flow: np.ndarray, T: np.ndarray, pump: np.ndarray) -> None:
    """Heat of sprays and of the engine, by the row `u` of the inputs, added to each field's own heat."""
    for n, f in enumerate(A.source_field):
        q = u[A.in_source + n] * (charge if A.source_scaled[n] else 1.0)
        if A.source_pass[n] >= 0:
            zero, per_air = u[A.in_limit + LIMIT_BLOCK * n : A.in_limit + LIMIT_BLOCK * (n + 1)]
            over = max(T[A.field_first[f] + A.field_count[f] // 2] - zero, 0.0)
            q = -min(q, per_air * flow[A.source_pass[n]] * over)
        pump[f] += q


def _duct(A: Arrays, d: int, air: tuple[float, float], T: float, combo: int, flow: np.ndarray) -> None:
    """Flows of one duct's passes at air of (speed, ambient temperature) and its own air at `T`."""
    speed, ambient = air
    combos, levels, n_T, n_V, links = A.duct_shape[d]
    here = slice(A.duct_first[d], A.duct_first[d] + combos * levels * n_T * n_V * links)
    block = A.duct_flow[here].reshape(combos, levels, n_T, n_V, links)[combo]
    level, v = _place(ambient - A.air_low, A.air_step, levels) if levels > 1 else (0, 0.0)
    block = block[level] + v * (block[level + 1] - block[level]) if levels > 1 else block[0]
    j, t = _place(T - ambient - A.duct_origin[d, 0], A.duct_step[d, 0], n_T)
    i, u = _place(np.sqrt(speed), A.duct_step[d, 1], n_V - 2)
    along = np.tensordot(_cubic(u), block[:, i : i + 4], axes=(0, 1))  # (n_T, links)
    for p in np.flatnonzero((A.passes[:, P_SORT] == COOLING) & (A.passes[:, P_PATH] == d)):
        column = A.passes[p, P_COLUMN]
        flow[p] = max(along[j, column] + t * (along[j + 1, column] - along[j, column]), 0.0)


def _place(value: float, step: float, nodes: int) -> tuple[int, float]:
    s = value / step
    if s <= 0.0:
        return 0, 0.0
    return (int(s), s - int(s)) if int(s) <= nodes - 2 else (nodes - 2, 1.0)


def _cubic(t: float) -> np.ndarray:
    return 0.5 * np.array([-(t**3) + 2 * t**2 - t, 3 * t**3 - 5 * t**2 + 2, -3 * t**3 + 4 * t**2 + t, t**3 - t**2])


def coefficients(A: Arrays, found: Flows) -> tuple[np.ndarray, np.ndarray]:
    """Both values of every coefficient table at these flows."""
    a, b = np.zeros(len(A.table_first)), np.zeros(len(A.table_first))
    for k in range(len(a)):
        n_T, n_1, n_2 = A.table_shape[k]
        here = slice(A.table_first[k], A.table_first[k] + n_T * n_1 * n_2)
        source = A.table_flow[k, 0]
        first = found.charge if source == TOTAL_CHARGE else abs(found.flow[source])
        i, u = _place(np.sqrt(first / A.table_scale[k, 0]), A.table_step[k, 0 + 1], n_1 - 2)
        j, t = (
            _place(found.loop_T[A.table_loop[k]] - A.table_origin[k], A.table_step[k, 0], n_T) if n_T > 1 else (0, 0.0)
        )
        for values, out in ((A.values_a, a), (A.values_b, b)):
            block = values[here].reshape(n_T, n_1, n_2)[j : j + 2]
            block = block[0] + t * (block[1] - block[0]) if n_T > 1 else block[0]
            line = _cubic(u) @ block[i : i + 4]
            if n_2 > 1:
                m, v = _place(
                    np.sqrt(abs(found.flow[A.table_flow[k, 1]]) / A.table_scale[k, 1]), A.table_step[k, 2], n_2 - 2
                )
                out[k] = _cubic(v) @ line[m : m + 4]
            else:
                out[k] = line[0]
    return a, b


def heats(A: Arrays, found: Flows, a: np.ndarray, b: np.ndarray, around: Surroundings, x: np.ndarray) -> Heats:
    """Heat into every node at given flows and coefficients; `x` (states, M) holds M state vectors."""
    x = temperatures(A, x)
    M = x.shape[1]
    size, n_pass = A.i_feed, len(A.passes)
    water = np.zeros(M)
    lanes: dict[int, np.ndarray] = {}
    into = np.zeros((size, M))
    pickup = np.zeros((len(A.field_first), M))
    for f in range(len(A.field_first)):
        here = nodes_of(A, f)
        q = A.field_pickup[f] * (around.at(A.field_around[f]) - x[here])
        pickup[f] = q.sum(axis=0)
        into[here] = q + found.pump[f] / A.field_count[f]
    T_in, T_out, crossed = np.zeros((n_pass, M)), np.zeros((n_pass, M)), np.zeros((n_pass, M))
    reads = np.zeros((len(A.sensor_sort), M))
    for loop in range(len(A.loop_nodes)):
        _coolant(A, loop, found, a, b, x, into, T_in, T_out, reads)
    node = _gas_path(A, CHARGE, 0, found.T_charge, found, a, b, x, into, T_in, T_out, crossed, water, lanes)
    plenum = node[-1]
    for s in range(len(A.sensor_sort)):
        if A.sensor_sort[s] == CHARGE:
            reads[s] = node[A.sensor_node[s]] if A.sensor_node[s] >= 0 else T_out[A.sensor_pass[s]]
    duct_out = np.zeros((len(A.duct_nodes), M))
    for d in range(len(A.duct_nodes)):
        back = 0.0 if found.returned is None else found.returned[d]
        start = around.ambient + back * (x[A.i_duct + d] - around.ambient)
        duct_out[d] = _gas_path(A, COOLING, d, start, found, a, b, x, into, T_in, T_out, crossed, water, lanes)[-1]
    return Heats(into, T_in, T_out, crossed, pickup, plenum, duct_out, reads, water, lanes)


def _value(A: Arrays, p: np.intp | int, a: np.ndarray, b: np.ndarray) -> float:
    return float((a if A.passes[p, P_SIDE] == 0 else b)[A.passes[p, P_TABLE]])


def _cells(A: Arrays, p: np.intp | int, field: np.intp | int) -> np.ndarray:
    """States of a pass over a field, (lanes, cells)."""
    row = A.passes[p]
    return (
        A.field_first[field]
        + np.arange(row[P_LANES])[:, None] * row[P_LANE_STEP]
        + np.arange(row[P_CELLS])[None, :] * row[P_CELL_STEP]
    )


def _coolant(
    A: Arrays,
    loop: int,
    found: Flows,
    a: np.ndarray,
    b: np.ndarray,
    x: np.ndarray,
    into: np.ndarray,
    T_in: np.ndarray,
    T_out: np.ndarray,
    reads: np.ndarray,
) -> None:
    mine = np.flatnonzero((A.passes[:, P_SORT] == COOLANT) & (A.passes[:, P_PATH] == loop))
    node_T, node_m = np.zeros((A.loop_nodes[loop], x.shape[1])), np.zeros(A.loop_nodes[loop])
    for p in mine:
        cells = _cells(A, p, A.passes[p, P_LIQUID])
        forward = found.flow[p] >= 0.0
        T_out[p] = x[cells[:, -1 if forward else 0]].mean(axis=0)
        m = abs(found.flow[p]) + TRICKLE
        node = A.passes[p, P_OUT if forward else P_IN]
        node_m[node] += m
        node_T[node] += m * T_out[p]
    node_T /= np.maximum(node_m, TRICKLE)[:, None]
    cp = A.loop_capacity[loop] / A.loop_density[loop]
    for p in mine:
        forward = found.flow[p] >= 0.0
        T_in[p] = node_T[A.passes[p, P_IN if forward else P_OUT]]
        liquid = _cells(A, p, A.passes[p, P_LIQUID])
        lanes, count = liquid.shape
        c = abs(found.flow[p]) * cp / lanes
        upstream = np.broadcast_to(T_in[p], (lanes, x.shape[1]))
        for i in range(count) if forward else reversed(range(count)):
            here = liquid[:, i]
            into[here] += c * (upstream - x[here])
            if A.passes[p, P_WALL] >= 0:
                wall = _cells(A, p, A.passes[p, P_WALL])[:, i]
                film = _value(A, p, a, b) / (lanes * count) * (x[wall] - x[here])
                into[here] += film
                into[wall] -= film
            upstream = x[here]
        back = A.pass_backmix[p] * c
        for i in range(count - 1):
            mixed = back * (x[liquid[:, i + 1]] - x[liquid[:, i]])
            into[liquid[:, i]] += mixed
            into[liquid[:, i + 1]] -= mixed
    for s in range(len(A.sensor_sort)):
        if A.sensor_sort[s] == COOLANT and A.sensor_path[s] == loop:
            reads[s] = node_T[A.sensor_node[s]] if A.sensor_node[s] >= 0 else T_out[A.sensor_pass[s]]


@dataclass(frozen=True)
class _Leaving:
    """What leaves a gas pass: temperature by lanes, vapour, heat given to the walls, water left on them."""

    T: np.ndarray  # (lanes, M)
    vapour: np.ndarray
    heat: np.ndarray
    water: np.ndarray


def saturated(A: Arrays, T: np.ndarray, pressure: float) -> np.ndarray:
    """Vapour that air at `pressure` holds over water of temperature T, kg per kg of dry air."""
    alone = np.exp(A.vapour_a - A.vapour_b / (T - A.vapour_c))
    vapour = (A.enhancement + A.enhancement_rise * pressure) * alone
    return A.vapour_ratio * vapour / np.maximum(pressure - vapour, 0.01 * pressure)


def _along_walls(
    A: Arrays,
    p: np.intp | int,
    stream: tuple[float, float, float, float, float],
    T_in: np.ndarray,
    vapour: np.ndarray,
    x: np.ndarray,
    into: np.ndarray,
) -> _Leaving:
    """Gas along walls, cell by cell; vapour settles where a wall is below its dew point (pressure 0: nowhere).

    `stream` is the flow through one lane, its cp, the share of the difference to its wall that a cell takes,
    the pressure, and the vapour in ambient air.
    """
    m, cp, share, pressure, humidity = stream
    wall = _cells(A, p, A.passes[p, P_WALL])
    T = np.broadcast_to(T_in, (len(wall), x.shape[1]))
    W = np.broadcast_to(vapour, T.shape)
    heat, water = np.zeros(x.shape[1]), np.zeros(x.shape[1])
    for i in range(wall.shape[1]):
        T_wall = x[wall[:, i]]
        q = m * cp * share * (T - T_wall)
        if pressure > 0.0:
            falling = share * np.maximum(W - saturated(A, T_wall, pressure), 0.0)
            W = W - falling
            falling = falling * m / (1.0 + humidity)
            # at the wall's temperature: the vapour's own cooling is in the stream's capacity rate
            q = q + falling * (A.latent + (A.cp_vapour - A.cp_water) * (T_wall - 273.15))
            water += falling.sum(axis=0)
        into[wall[:, i]] += q
        heat += q.sum(axis=0)
        T = T - share * (T - T_wall)
    return _Leaving(np.asarray(T), W.mean(axis=0), heat, water)


def _gas_path(
    A: Arrays,
    sort: int,
    path: int,
    T_start: float | np.ndarray,
    found: Flows,
    a: np.ndarray,
    b: np.ndarray,
    x: np.ndarray,
    into: np.ndarray,
    T_in: np.ndarray,
    T_out: np.ndarray,
    crossed: np.ndarray,
    water: np.ndarray,
    lanes_out: dict[int, np.ndarray],
) -> np.ndarray:
    """Walk one gas path; returns the temperature of its nodes, the outlet last."""
    mine = np.flatnonzero((A.passes[:, P_SORT] == sort) & (A.passes[:, P_PATH] == path))
    nodes = int(A.charge_nodes if sort == CHARGE else A.duct_nodes[path])
    node_T, node_m, node_w = (np.zeros((nodes, x.shape[1])) for _ in range(3))
    node_T[0], node_m[0], node_w[0] = T_start, 1.0, found.humidity
    cp = A.cp_charge if sort == CHARGE else A.cp_air
    last = 0
    for p in mine:
        T_in[p] = node_T[A.passes[p, P_IN]] / node_m[A.passes[p, P_IN]]
        vapour = node_w[A.passes[p, P_IN]] / node_m[A.passes[p, P_IN]]
        row, c = A.passes[p], found.flow[p] * cp
        if row[P_WALL] >= 0:
            past, share = A.pass_bypass[p], min(_value(A, p, a, b), 1.0)
            m = (1.0 - past) * found.flow[p] / int(row[P_LANES])  # through one lane
            pressure = found.pressure[A.pass_wet[p] - 1] if A.pass_wet[p] and found.pressure is not None else 0.0
            leaving = _along_walls(A, p, (m, cp, share, pressure, found.humidity), T_in[p], vapour, x, into)
            crossed[p] = leaving.heat * (1.0 if sort == CHARGE else -1.0)
            water += leaving.water
            lanes_out[int(p)] = leaving.T
            T_out[p] = (1.0 - past) * leaving.T.mean(axis=0) + past * T_in[p]
            vapour = (1.0 - past) * leaving.vapour + past * vapour
        elif row[P_TABLE] == SECOND_STAGE:
            T_out[p] = found.T_second
        elif row[P_TABLE] <= INJECTION:
            assert found.injected is not None
            a0, a1, b0, b1, most = found.injected[INJECTION - row[P_TABLE]]
            T_out[p] = np.minimum(T_in[p], np.maximum(a0 + a1 * T_in[p], b0 + b1 * T_in[p]))
            room = T_in[p] - (a0 + a1 * T_in[p])
            vapour = vapour + most * np.where(room > 0.0, (T_in[p] - T_out[p]) / np.where(room > 0.0, room, 1.0), 0.0)
        else:
            rise = A.duct_heat[p] * found.running / max(c, 1.0)
            T_out[p] = T_in[p] + np.minimum(rise, np.maximum(FACE_HOTTEST - T_start, 0.0))
        last = row[P_OUT]
        node_T[last] += (found.flow[p] + TRICKLE) * T_out[p]
        node_m[last] += found.flow[p] + TRICKLE
        node_w[last] += (found.flow[p] + TRICKLE) * vapour
    mixed = node_T / np.maximum(node_m, TRICKLE)
    return np.concatenate([mixed, mixed[last][None]])


def derivative(A: Arrays, k: int, s: float, x: np.ndarray, combo: np.ndarray) -> np.ndarray:
    """dx/dt of states and heat integrals, as the kernel gives it."""
    found = flows(A, k, s, x, combo)
    a, b = coefficients(A, found)
    around = surroundings_at(A, k, s)
    h = heats(A, found, a, b, around, x[: A.n_states, None])
    dx = np.zeros_like(x)
    _melt(A, x, h.into[:, 0], dx)
    for f in range(len(A.field_first)):
        dx[nodes_of(A, f)] = h.into[nodes_of(A, f), 0] / A.field_capacity[f]
    dx[A.i_feed] = (h.plenum[0] - x[A.i_feed]) / A.feedback_time
    if A.stages == 2:
        second = int(np.flatnonzero((A.passes[:, P_WALL] < 0) & (A.passes[:, P_TABLE] == SECOND_STAGE))[0])
        dx[A.i_between] = (h.T_in[second, 0] - x[A.i_between]) / A.feedback_time
    for d in range(len(A.duct_nodes)):
        dx[A.i_duct + d] = (h.duct_out[d, 0] - x[A.i_duct + d]) / DUCT_TIME
    for sensor in range(len(A.sensor_sort)):
        boss, reading, table = A.i_boss + sensor, A.i_reading + sensor, A.sensor_table[sensor]
        dx[boss] = (around.at(A.sensor_around[sensor]) - x[boss]) * A.sensor_boss_rate[sensor]
        settled = h.reads[sensor, 0] + a[table] * (x[boss] - h.reads[sensor, 0])
        dx[reading] = (settled - x[reading]) * b[table]
    n_pass, n_field = len(A.passes), len(A.field_first)
    at = A.n_states
    dx[at : at + n_pass] = h.crossed[:, 0]
    dx[at + n_pass : at + n_pass + n_field] = h.pickup[:, 0]
    dx[at + n_pass + n_field : at + n_pass + 2 * n_field] = found.pump
    dx[-2] = h.water[0]
    dx[-1] = np.abs(h.crossed).sum() + np.abs(h.pickup).sum() + np.abs(found.pump).sum()
    return dx


def _melt(A: Arrays, x: np.ndarray, into: np.ndarray, dx: np.ndarray) -> None:
    """Heat that ice takes out of its nodes, and how fast it goes (heat note D3)."""
    T = temperatures(A, x)
    for z, at in enumerate(A.ice_node):
        left = x[A.i_ice + z]
        if left <= 0.0:
            continue
        share = left / A.ice_mass[z]
        a, b, c = A.ice_melt[z]
        T_melt = a + b * (1.0 - share) + c * (1.0 - share) ** 2
        q = A.ice_film[z] * share ** A.ice_exponent[z] * max(T[at] - T_melt, 0.0)
        risen = A.ice_cp[z] * (T_melt - a)
        rate = q / (A.ice_latent[z] + risen)
        dx[A.i_ice + z] = -rate
        into[at] -= q - rate * risen
