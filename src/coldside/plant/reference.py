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
    CHARGE,
    COOLANT,
    COOLING,
    DUCT_TIME,
    FACE_HOTTEST,
    FEED_NODES,
    FEEDBACK_TIME,
    IN_BAY,
    IN_FLOW,
    IN_OUT,
    IN_SPEED,
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
    pump: np.ndarray  # (F,) W into each field


@dataclass(frozen=True)
class Surroundings:
    """What fields take heat from, K."""

    bay: float
    ambient: float
    engine_metal: float

    def at(self, code: int) -> float:
        """Temperature by its code in the layout."""
        return self.bay if code == BAY else self.ambient if code == AMBIENT else self.engine_metal


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


def nodes_of(A: Arrays, f: int) -> slice:
    """States of field f."""
    return slice(int(A.field_first[f]), int(A.field_first[f] + A.field_count[f]))


def loop_temperatures(A: Arrays, x: np.ndarray) -> np.ndarray:
    """Mean coolant temperature of every loop."""
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
    held = float(np.clip(T, A.feed[0], A.feed[-1]))
    others = [np.delete(A.feed, i) for i in range(FEED_NODES)]
    weights = np.array([np.prod((held - others[i]) / (A.feed[i] - others[i])) for i in range(FEED_NODES)])
    charge = max(float(weights @ u[IN_FLOW : IN_FLOW + FEED_NODES]) / T, 0.0)
    T_charge = float(weights @ u[IN_OUT : IN_OUT + FEED_NODES])
    at = np.sqrt(charge / A.share_scale) / A.share_step
    for p in np.flatnonzero(A.passes[:, P_SORT] == CHARGE):
        flow[p] = charge * np.interp(at, np.arange(len(A.share)), A.share[:, p])
    for d in range(len(A.duct_nodes)):
        _duct(A, d, max(u[IN_SPEED + d], 0.0), x[A.i_duct + d], combo[len(loop_T) + d], flow)
    return Flows(flow, charge, T_charge, loop_T, pump)


def _duct(A: Arrays, d: int, speed: float, T: float, combo: int, flow: np.ndarray) -> None:
    combos, n_T, n_V, links = A.duct_shape[d]
    block = A.duct_flow[A.duct_first[d] : A.duct_first[d] + combos * n_T * n_V * links].reshape(
        combos, n_T, n_V, links
    )[combo]
    j, t = _place(T - A.duct_origin[d, 0], A.duct_step[d, 0], n_T)
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
    M = x.shape[1]
    size, n_pass = A.i_feed, len(A.passes)
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
    node = _gas_path(A, CHARGE, 0, found.T_charge, found, a, b, x, into, T_in, T_out, crossed)
    plenum = node[-1]
    for s in range(len(A.sensor_sort)):
        if A.sensor_sort[s] == CHARGE:
            reads[s] = node[A.sensor_node[s]] if A.sensor_node[s] >= 0 else T_out[A.sensor_pass[s]]
    duct_out = np.zeros((len(A.duct_nodes), M))
    for d in range(len(A.duct_nodes)):
        duct_out[d] = _gas_path(A, COOLING, d, around.ambient, found, a, b, x, into, T_in, T_out, crossed)[-1]
    return Heats(into, T_in, T_out, crossed, pickup, plenum, duct_out, reads)


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
    for s in range(len(A.sensor_sort)):
        if A.sensor_sort[s] == COOLANT and A.sensor_path[s] == loop:
            reads[s] = node_T[A.sensor_node[s]] if A.sensor_node[s] >= 0 else T_out[A.sensor_pass[s]]


def _gas_path(
    A: Arrays,
    sort: int,
    path: int,
    T_start: float,
    found: Flows,
    a: np.ndarray,
    b: np.ndarray,
    x: np.ndarray,
    into: np.ndarray,
    T_in: np.ndarray,
    T_out: np.ndarray,
    crossed: np.ndarray,
) -> np.ndarray:
    """Walk one gas path; returns the temperature of its nodes, the outlet last."""
    mine = np.flatnonzero((A.passes[:, P_SORT] == sort) & (A.passes[:, P_PATH] == path))
    nodes = int(A.charge_nodes if sort == CHARGE else A.duct_nodes[path])
    node_T, node_m = np.zeros((nodes, x.shape[1])), np.zeros(nodes)
    node_T[0], node_m[0] = T_start, 1.0
    cp = A.cp_charge if sort == CHARGE else A.cp_air
    last = 0
    for p in mine:
        T_in[p] = node_T[A.passes[p, P_IN]] / node_m[A.passes[p, P_IN]]
        lanes, count = int(A.passes[p, P_LANES]), int(A.passes[p, P_CELLS])
        c = found.flow[p] * cp / lanes
        if A.passes[p, P_WALL] >= 0:
            wall, share = _cells(A, p, A.passes[p, P_WALL]), min(_value(A, p, a, b), 1.0)
            T = np.broadcast_to(T_in[p], (lanes, x.shape[1]))
            for i in range(count):
                q = c * share * (T - x[wall[:, i]])
                into[wall[:, i]] += q
                crossed[p] += q.sum(axis=0) * (1.0 if sort == CHARGE else -1.0)
                T = T - share * (T - x[wall[:, i]])
            T_out[p] = T.mean(axis=0)
        else:
            T_out[p] = T_in[p] + min(A.duct_heat[p] / max(c * lanes, 1.0), FACE_HOTTEST - A.ambient)
        last = A.passes[p, P_OUT]
        node_T[last] += (found.flow[p] + TRICKLE) * T_out[p]
        node_m[last] += found.flow[p] + TRICKLE
    mixed = node_T / np.maximum(node_m, TRICKLE)[:, None]
    return np.concatenate([mixed, mixed[last][None]])


def derivative(A: Arrays, k: int, s: float, x: np.ndarray, combo: np.ndarray) -> np.ndarray:
    """dx/dt of states and heat integrals, as the kernel gives it."""
    found = flows(A, k, s, x, combo)
    a, b = coefficients(A, found)
    bay = (1.0 - s) * A.inputs[k, IN_BAY] + s * A.inputs[min(k + 1, len(A.inputs) - 1), IN_BAY]
    around = Surroundings(float(bay), A.ambient, A.engine_metal)
    h = heats(A, found, a, b, around, x[: A.n_states, None])
    dx = np.zeros_like(x)
    for f in range(len(A.field_first)):
        dx[nodes_of(A, f)] = h.into[nodes_of(A, f), 0] / A.field_capacity[f]
    dx[A.i_feed] = (h.plenum[0] - x[A.i_feed]) / FEEDBACK_TIME
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
    dx[-1] = np.abs(h.crossed).sum() + np.abs(h.pickup).sum() + np.abs(found.pump).sum()
    return dx
