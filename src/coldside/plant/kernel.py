"""The transient kernel: the derivative of a plant and its march in time, compiled by Numba.

What is here: `derivative` (the right-hand side that outside solvers may integrate too) and `march`
(SSPRK(4,3), sub-stepped where a node is fast, with pump and fan control at sample times).  Sees
arrays only (`layout.py`).  The same physics in plain NumPy is `reference.py`; a test holds them
together.  Read `docs/decisions/0002` for why it looks like this.

Order of one evaluation: all flows, then the coefficients that depend on flows, then coolant passes
(their outlets are states), the charge chain and the duct chains (gas is algebraic), sensors.
"""

# The kernel is one straight-down function by design: its length is the order above.
from __future__ import annotations

import numba as nb
import numpy as np

from coldside.plant.layout import (
    AMBIENT, BAY, CHARGE, COOLANT, COOLING, DUCT_TIME, FEEDBACK_TIME, IN_BAY, IN_FLOW, IN_OUT, IN_SPEED, P_CELL_STEP, P_CELLS,
    P_COLUMN, P_IN, P_LANE_STEP, P_LANES, P_LIQUID, P_OUT, P_PATH, P_SIDE, P_SORT, P_TABLE, P_WALL, TOTAL_CHARGE, Arrays, Work,
)  # fmt: skip

_jit = nb.njit(cache=True, error_model="numpy", fastmath={"contract", "nsz", "arcp"})


@_jit
def _cubic(t):
    """Weights of four equally spaced nodes at share t between the middle two (Catmull-Rom: smooth, exact for parabolas)."""
    t2 = t * t
    t3 = t2 * t
    return 0.5 * (-t3 + 2.0 * t2 - t), 0.5 * (3.0 * t3 - 5.0 * t2 + 2.0), 0.5 * (-3.0 * t3 + 4.0 * t2 + t), 0.5 * (t3 - t2)


@_jit
def _between(value, step, nodes):
    """Cell index and share for `value` (already relative to the first node) on a uniform grid, held at its ends."""
    s = value / step
    if s <= 0.0:
        return 0, 0.0
    i = int(s)
    if i > nodes - 2:
        return nodes - 2, 1.0
    return i, s - i


@_jit
def _coefficients(A, W):
    """Interpolate every coefficient table at the flows in W.flow and the loop temperatures."""
    for k in range(A.table_first.size):
        first = A.table_first[k]
        n_T, n_1, n_2 = A.table_shape[k, 0], A.table_shape[k, 1], A.table_shape[k, 2]
        j_T, s_T = 0, 0.0
        if n_T > 1:
            j_T, s_T = _between(W.loop_T[A.table_loop[k]] - A.table_origin[k], A.table_step[k, 0], n_T)
        source = A.table_flow[k, 0]
        flow = W.charge[0] if source == TOTAL_CHARGE else abs(W.flow[source])
        i, t = _between(np.sqrt(flow / A.table_scale[k, 0]), A.table_step[k, 1], n_1 - 2)
        w0, w1, w2, w3 = _cubic(t)
        a = 0.0
        b = 0.0
        if n_2 == 1:
            for layer in range(min(n_T, 2)):
                weight = 1.0 - s_T if layer == 0 else s_T
                p = first + (j_T + layer) * n_1 + i
                a += weight * (w0 * A.values_a[p] + w1 * A.values_a[p + 1] + w2 * A.values_a[p + 2] + w3 * A.values_a[p + 3])
                b += weight * (w0 * A.values_b[p] + w1 * A.values_b[p + 1] + w2 * A.values_b[p + 2] + w3 * A.values_b[p + 3])
        else:
            flow = abs(W.flow[A.table_flow[k, 1]])
            j, t = _between(np.sqrt(flow / A.table_scale[k, 1]), A.table_step[k, 2], n_2 - 2)
            v0, v1, v2, v3 = _cubic(t)
            for layer in range(min(n_T, 2)):
                weight = 1.0 - s_T if layer == 0 else s_T
                p = first + ((j_T + layer) * n_1 + i) * n_2 + j
                for row in range(4):
                    u = weight * (w0 if row == 0 else w1 if row == 1 else w2 if row == 2 else w3)
                    a += u * (v0 * A.values_a[p] + v1 * A.values_a[p + 1] + v2 * A.values_a[p + 2] + v3 * A.values_a[p + 3])
                    b += u * (v0 * A.values_b[p] + v1 * A.values_b[p + 1] + v2 * A.values_b[p + 2] + v3 * A.values_b[p + 3])
                    p += n_2
        W.a[k] = a
        W.b[k] = b


@_jit
def _gas(x, E, lane, T_in, c, e, first, lanes, cells, lane_step, cell_step):
    """Gas along walls: each cell takes share `e` of the difference to its wall; returns outlet and heat to the wall."""
    for j in range(lanes):
        lane[j] = T_in
    total = 0.0
    ce = c * e
    for i in range(cells):
        w = first + i * cell_step
        for j in range(lanes):
            d = lane[j] - x[w]
            q = ce * d
            lane[j] -= e * d
            E[w] += q
            total += q
            w += lane_step
    out = 0.0
    for j in range(lanes):
        out += lane[j]
    return out / lanes, total


@_jit
def _liquid(x, E, T_in, c, g, wall, liquid, lanes, cells, lane_step, cell_step):
    """Liquid mixed cell by cell, lane capacity rate `c` (signed: below zero it runs backwards), film `g` to its wall."""
    for j in range(lanes):
        T = T_in
        for i in range(cells):
            at = (i if c >= 0.0 else cells - 1 - i) * cell_step + j * lane_step
            k = liquid + at
            q = abs(c) * (T - x[k])
            if wall >= 0:
                film = g * (x[wall + at] - x[k])
                E[wall + at] -= film
                q += film
            E[k] += q
            T = x[k]


@_jit
def _loop_flows(A, W, x, combo):
    """Mean temperature of every loop and the flow in each of its passes; pump heat into its fields."""
    for loop in range(A.loop_nodes.size):
        W.loop_T[loop] = 0.0
    for p in range(A.passes.shape[0]):
        if A.passes[p, P_SORT] == COOLANT:
            # the outlet of either end would do; the middle of the field does not jump when the flow turns
            f = A.passes[p, P_LIQUID]
            W.loop_T[A.passes[p, P_PATH]] += A.loop_weight[p] * x[A.field_first[f] + A.field_count[f] // 2]
    for p in range(A.passes.shape[0]):
        if A.passes[p, P_SORT] == COOLANT:
            loop = A.passes[p, P_PATH]
            n_T, links = A.loop_shape[loop, 1], A.loop_shape[loop, 2]
            j, s = _between(W.loop_T[loop] - A.loop_origin[loop], A.loop_step[loop], n_T)
            at = A.loop_first[loop] + (combo[loop] * n_T + j) * links + A.passes[p, P_COLUMN]
            q = A.loop_flow[at] + s * (A.loop_flow[at + links] - A.loop_flow[at])
            W.flow[p] = q * A.loop_density[loop]
    for f in range(A.field_first.size):
        loop = A.field_loop[f]
        W.pump[f] = 0.0
        if loop >= 0:
            n_T, links = A.loop_shape[loop, 1], A.loop_shape[loop, 2]
            j, s = _between(W.loop_T[loop] - A.loop_origin[loop], A.loop_step[loop], n_T)
            at = A.loop_first[loop] + (combo[loop] * n_T + j) * links + A.field_column[f]
            W.pump[f] = A.loop_heat[at] + s * (A.loop_heat[at + links] - A.loop_heat[at])


@_jit
def _other_flows(A, W, x, k, s, combo):
    """Charge flow and compressor outlet from the inputs at the fed-back plenum temperature; duct air."""
    T = x[A.i_feed]
    f0, f1, f2 = A.feed[0], A.feed[1], A.feed[2]
    w0 = (T - f1) * (T - f2) / ((f0 - f1) * (f0 - f2))
    w1 = (T - f0) * (T - f2) / ((f1 - f0) * (f1 - f2))
    w2 = 1.0 - w0 - w1
    u = A.inputs[k]
    v = A.inputs[k + 1] if k + 1 < A.inputs.shape[0] else u
    r = 1.0 - s
    flow = (
        w0 * (r * u[IN_FLOW] + s * v[IN_FLOW]) + w1 * (r * u[IN_FLOW + 1] + s * v[IN_FLOW + 1]) + w2 * (r * u[IN_FLOW + 2] + s * v[IN_FLOW + 2])
    ) / T
    W.charge[0] = max(flow, 0.0)
    W.charge[1] = (
        w0 * (r * u[IN_OUT] + s * v[IN_OUT]) + w1 * (r * u[IN_OUT + 1] + s * v[IN_OUT + 1]) + w2 * (r * u[IN_OUT + 2] + s * v[IN_OUT + 2])
    )
    i, t = _between(np.sqrt(W.charge[0] / A.share_scale), A.share_step, A.share.shape[0])
    n_loops = A.loop_nodes.size
    for p in range(A.passes.shape[0]):
        if A.passes[p, P_SORT] == CHARGE:
            W.flow[p] = W.charge[0] * (A.share[i, p] + t * (A.share[i + 1, p] - A.share[i, p]))
        elif A.passes[p, P_SORT] == COOLING:
            d = A.passes[p, P_PATH]
            n_T, n_V, links = A.duct_shape[d, 1], A.duct_shape[d, 2], A.duct_shape[d, 3]
            speed = max(r * u[IN_SPEED + d] + s * v[IN_SPEED + d], 0.0)
            j, t_T = _between(x[A.i_duct + d] - A.duct_origin[d, 0], A.duct_step[d, 0], n_T)
            i_V, t_V = _between(np.sqrt(speed), A.duct_step[d, 1], n_V - 2)
            w0, w1, w2, w3 = _cubic(t_V)
            flow = 0.0
            for layer in range(2):
                at = A.duct_first[d] + ((combo[n_loops + d] * n_T + j + layer) * n_V + i_V) * links + A.passes[p, P_COLUMN]
                weight = 1.0 - t_T if layer == 0 else t_T
                flow += weight * (
                    w0 * A.duct_flow[at] + w1 * A.duct_flow[at + links] + w2 * A.duct_flow[at + 2 * links] + w3 * A.duct_flow[at + 3 * links]
                )
            W.flow[p] = max(flow, 0.0)


@_jit
def _coolant_chain(A, W, x):
    """Mix at the nodes of every loop (outlets are states, so order does not matter), then all coolant passes."""
    n_loops, n_nodes = A.loop_nodes.size, W.node_T.size
    for loop in range(n_loops):
        for node in range(A.loop_nodes[loop]):
            W.node_loop[loop, node] = 0.0
    # node_m carries the flow into each node, loop after loop
    for loop in range(n_loops):
        for node in range(n_nodes):
            W.node_m[node] = 0.0
        for p in range(A.passes.shape[0]):
            if A.passes[p, P_SORT] == COOLANT and A.passes[p, P_PATH] == loop:
                m = W.flow[p]
                first = A.field_first[A.passes[p, P_LIQUID]]
                lanes, cells = A.passes[p, P_LANES], A.passes[p, P_CELLS]
                at = first + (cells - 1) * A.passes[p, P_CELL_STEP] if m >= 0.0 else first
                T = 0.0
                for j in range(lanes):
                    T += x[at + j * A.passes[p, P_LANE_STEP]]
                W.T_out[p] = T / lanes
                node = A.passes[p, P_OUT] if m >= 0.0 else A.passes[p, P_IN]
                # a trickle keeps a node's temperature defined in a stopped loop
                weight = abs(m) + 1e-12
                W.node_m[node] += weight
                W.node_loop[loop, node] += weight * W.T_out[p]
        for node in range(A.loop_nodes[loop]):
            if W.node_m[node] > 0.0:
                W.node_loop[loop, node] /= W.node_m[node]
    for p in range(A.passes.shape[0]):
        if A.passes[p, P_SORT] == COOLANT:
            loop = A.passes[p, P_PATH]
            m = W.flow[p]
            W.T_in[p] = W.node_loop[loop, A.passes[p, P_IN] if m >= 0.0 else A.passes[p, P_OUT]]
            lanes, cells = A.passes[p, P_LANES], A.passes[p, P_CELLS]
            c = m * A.loop_capacity[loop] / A.loop_density[loop] / lanes
            g, wall = 0.0, -1
            if A.passes[p, P_WALL] >= 0:
                wall = A.field_first[A.passes[p, P_WALL]]
                table = A.passes[p, P_TABLE]
                g = (W.a[table] if A.passes[p, P_SIDE] == 0 else W.b[table]) / (lanes * cells)
            liquid = A.passes[p, P_LIQUID]
            _liquid(x, W.E, W.T_in[p], c, g, wall, A.field_first[liquid], lanes, cells, A.passes[p, P_LANE_STEP], A.passes[p, P_CELL_STEP])
            rate = (abs(c) + g + A.field_pickup[liquid]) / A.field_capacity[liquid]
            W.rate[0] = max(W.rate[0], rate)


@_jit
def _gas_chain(A, W, x, sort, path, T_start):
    """One gas path in walk order from its inlet at T_start; mixes at its nodes by flow; returns its outlet temperature."""
    for node in range(W.node_T.size):
        W.node_T[node] = 0.0
        W.node_m[node] = 0.0
    W.node_T[0] = T_start
    W.node_m[0] = 1.0
    last = 0
    for p in range(A.passes.shape[0]):
        if A.passes[p, P_SORT] != sort or A.passes[p, P_PATH] != path:
            continue
        node = A.passes[p, P_IN]
        T_in = W.node_T[node] / W.node_m[node]
        W.T_in[p] = T_in
        lanes = A.passes[p, P_LANES]
        c = W.flow[p] * (A.cp_charge if sort == CHARGE else A.cp_air) / lanes
        if A.passes[p, P_WALL] >= 0:
            table = A.passes[p, P_TABLE]
            e = W.a[table] if A.passes[p, P_SIDE] == 0 else W.b[table]
            first = A.field_first[A.passes[p, P_WALL]]
            out, heat = _gas(
                x, W.E, W.lane, T_in, c, e, first, lanes, A.passes[p, P_CELLS], A.passes[p, P_LANE_STEP], A.passes[p, P_CELL_STEP]
            )
            W.heat[p] = heat if sort == CHARGE else -heat
        else:
            out = T_in + A.duct_heat[p] / max(c * lanes, 1.0)
            W.heat[p] = 0.0
        W.T_out[p] = out
        last = A.passes[p, P_OUT]
        weight = W.flow[p] + 1e-12
        W.node_T[last] += weight * out
        W.node_m[last] += weight
    return W.node_T[last] / W.node_m[last]


@_jit
def _wall_rates(A, W):
    """Largest diagonal rate of the walls: every pass over a wall adds its pull."""
    for f in range(A.field_first.size):
        pull = A.field_pickup[f]
        touched = False
        for p in range(A.passes.shape[0]):
            if A.passes[p, P_WALL] != f:
                continue
            touched = True
            lanes, cells = A.passes[p, P_LANES], A.passes[p, P_CELLS]
            table = A.passes[p, P_TABLE]
            value = W.a[table] if A.passes[p, P_SIDE] == 0 else W.b[table]
            if A.passes[p, P_LIQUID] >= 0:
                pull += value / (lanes * cells)
            else:
                pull += value * W.flow[p] * (A.cp_charge if A.passes[p, P_SORT] == CHARGE else A.cp_air) / lanes
        if touched:
            W.rate[0] = max(W.rate[0], pull / A.field_capacity[f])


@_jit
def derivative(A, W, k, s, x, combo, dx):
    """dx/dt of states and heat integrals at share s of the way from sample k to k + 1; fills the scratch W.

    `combo` holds the command combination of each loop, then of each duct, held over the interval.
    """
    W.rate[0] = 1.0 / FEEDBACK_TIME
    bay = A.inputs[k, IN_BAY]
    if k + 1 < A.inputs.shape[0]:
        bay += s * (A.inputs[k + 1, IN_BAY] - bay)
    _loop_flows(A, W, x, combo)
    _other_flows(A, W, x, k, s, combo)
    _coefficients(A, W)
    handled = 0.0
    for f in range(A.field_first.size):
        around = bay if A.field_around[f] == BAY else A.ambient if A.field_around[f] == AMBIENT else A.engine_metal
        g = A.field_pickup[f]
        pump = W.pump[f] / A.field_count[f]
        total = 0.0
        for i in range(A.field_first[f], A.field_first[f] + A.field_count[f]):
            q = g * (around - x[i])
            W.E[i] = q + pump
            total += q
        W.pickup[f] = total
        handled += abs(total) + abs(W.pump[f])
    _coolant_chain(A, W, x)
    W.charge[2] = _gas_chain(A, W, x, CHARGE, 0, W.charge[1])
    for sensor in range(A.sensor_sort.size):
        node = A.sensor_node[sensor]
        if node < 0:
            W.sensor_gas[sensor] = W.T_out[A.sensor_pass[sensor]]
        elif A.sensor_sort[sensor] == CHARGE:
            W.sensor_gas[sensor] = W.node_T[node] / W.node_m[node]
        else:
            W.sensor_gas[sensor] = W.node_loop[A.sensor_path[sensor], node]
    for d in range(A.duct_nodes.size):
        W.duct_out[d] = _gas_chain(A, W, x, COOLING, d, A.ambient)
    _wall_rates(A, W)
    for f in range(A.field_first.size):
        inverse = 1.0 / A.field_capacity[f]
        for i in range(A.field_first[f], A.field_first[f] + A.field_count[f]):
            dx[i] = W.E[i] * inverse
    dx[A.i_feed] = (W.charge[2] - x[A.i_feed]) / FEEDBACK_TIME
    for d in range(A.duct_nodes.size):
        dx[A.i_duct + d] = (W.duct_out[d] - x[A.i_duct + d]) / DUCT_TIME
    for sensor in range(A.sensor_sort.size):
        around = bay if A.sensor_around[sensor] == BAY else A.ambient if A.sensor_around[sensor] == AMBIENT else A.engine_metal
        boss = A.i_boss + sensor
        dx[boss] = (around - x[boss]) * A.sensor_boss_rate[sensor]
        table = A.sensor_table[sensor]
        settled = W.sensor_gas[sensor] + W.a[table] * (x[boss] - W.sensor_gas[sensor])
        reading = A.i_reading + sensor
        dx[reading] = (settled - x[reading]) * W.b[table]
        W.rate[0] = max(W.rate[0], W.b[table])
    at = A.n_states
    for p in range(A.passes.shape[0]):
        q = 0.0 if A.passes[p, P_LIQUID] >= 0 else W.heat[p]
        dx[at + p] = q
        handled += abs(q)
    at += A.passes.shape[0]
    n_fields = A.field_first.size
    for f in range(n_fields):
        dx[at + f] = W.pickup[f]
        dx[at + n_fields + f] = W.pump[f]
    dx[at + 2 * n_fields] = handled


@_jit
def _command(A, x, k, level, combo):
    """Decide every device's level at sample k (hysteresis on states) and form the command combinations."""
    n_loops = A.loop_nodes.size
    for i in range(combo.size):
        combo[i] = 0
    for device in range(level.size):
        if A.level[k, device] >= 0:
            level[device] = A.level[k, device]
        else:
            T = -1.0e9
            if A.control_state[device] >= 0:
                T = x[A.control_state[device]]
            else:
                for loop in range(n_loops):
                    if A.control_loops[device, loop]:
                        mean = 0.0
                        for p in range(A.passes.shape[0]):
                            if A.passes[p, P_SORT] == COOLANT and A.passes[p, P_PATH] == loop:
                                f = A.passes[p, P_LIQUID]
                                mean += A.loop_weight[p] * x[A.field_first[f] + A.field_count[f] // 2]
                        T = max(T, mean)
            if T > A.control_on[device]:
                level[device] = A.level_on[device]
            elif T < A.control_off[device] or k == 0:
                level[device] = A.level_off[device]
        if A.combo_loop[device] >= 0:
            combo[A.combo_loop[device]] += level[device] * A.combo_stride[device]
        else:
            combo[n_loops + A.combo_duct[device]] += level[device] * A.combo_stride[device]


@_jit
def _record(A, W, x, k, level, streams, scalars, levels):
    for p in range(A.passes.shape[0]):
        streams[k, p, 0] = W.T_in[p]
        streams[k, p, 1] = W.T_out[p]
        streams[k, p, 2] = W.flow[p]
    scalars[k, 0] = W.charge[0]
    scalars[k, 1] = W.charge[1]
    scalars[k, 2] = W.charge[2]
    scalars[k, 3] = x[A.i_feed]
    n_sensors = A.sensor_sort.size
    for sensor in range(n_sensors):
        scalars[k, 4 + sensor] = x[A.i_reading + sensor]
    for loop in range(A.loop_nodes.size):
        scalars[k, 4 + n_sensors + loop] = W.loop_T[loop]
    for d in range(A.duct_nodes.size):
        scalars[k, 4 + n_sensors + A.loop_nodes.size + d] = x[A.i_duct + d]
    for device in range(level.size):
        levels[k, device] = level[device]


@_jit
def march(A, W, x, parts, streams, scalars, levels, peak_x):
    """March x over every sample; returns (steps, most sub-steps, sample of the peak).

    `parts` multiplies the sub-steps (2 for the step check).  `streams` (n, P, 3), `scalars`
    (n, 4 + S + L + D) and `levels` (n, devices) are filled at sample times; `peak_x` gets the
    states at the highest plenum temperature under boost.
    Scheme: SSPRK(4,3), Spiteri and Ruuth 2002 (from memory), aligned with the samples.
    """
    n = A.inputs.shape[0]
    size = x.size
    dx = np.empty(size)
    y = np.empty(size)
    combo = np.zeros(A.loop_nodes.size + A.duct_nodes.size, np.int64)
    level = np.zeros(A.level.shape[1], np.int64)
    steps, most, peak, peak_T = 0, 1, 0, -1.0
    any_boost = A.boost.any()
    for k in range(n):
        _command(A, x, k, level, combo)
        derivative(A, W, k, 0.0, x, combo, dx)
        _record(A, W, x, k, level, streams, scalars, levels)
        if (A.boost[k] or not any_boost) and W.charge[2] > peak_T:
            peak_T = W.charge[2]
            peak = k
            peak_x[:] = x
        if k == n - 1:
            break
        m = max(1, int(np.ceil(A.step * W.rate[0] / 2.0))) * parts
        most = max(most, m)
        half = 0.5 * A.step / m
        for sub in range(m):
            s = sub / m
            if sub > 0:
                derivative(A, W, k, s, x, combo, dx)
            for i in range(size):
                y[i] = x[i] + half * dx[i]
            derivative(A, W, k, s + 0.5 / m, y, combo, dx)
            for i in range(size):
                y[i] += half * dx[i]
            derivative(A, W, k, s + 1.0 / m, y, combo, dx)
            for i in range(size):
                y[i] = (2.0 * x[i] + y[i] + half * dx[i]) / 3.0
            derivative(A, W, k, s + 0.5 / m, y, combo, dx)
            for i in range(size):
                x[i] = y[i] + half * dx[i]
            steps += 1
    return steps, most, peak


@_jit
def rhs(A, W, t, x, combos, dx):
    """The derivative as a function of time for outside solvers; `combos` (n, L + D) as the march recorded them."""
    n = A.inputs.shape[0]
    k = min(max(int(t / A.step), 0), n - 2)
    derivative(A, W, k, t / A.step - k, x, combos[k], dx)
