"""The transient kernel: the derivative of a plant and its march in time, compiled by Numba.

What is here: `derivative` (the right-hand side that outside solvers may integrate too) and `march`
(SSPRK(4,3), sub-stepped where a node is fast, with pump and fan control at sample times).  Sees
arrays only (`layout.py`).  The same physics in plain NumPy is `reference.py`; a test holds them
together.  Read `docs/decisions/0002` for why it looks like this: one function that runs straight
down, with every array taken out of the tuple once, because each access to an array inside a tuple
counts references and that costs more than the arithmetic.
"""

from __future__ import annotations

import numba as nb
import numpy as np

from coldside.plant.layout import (
    AMBIENT, BAY, CHARGE, DUCT_TIME, FEEDBACK_TIME, IN_BAY, IN_FLOW, IN_OUT, IN_SPEED, P_CELL_STEP, P_CELLS, P_COLUMN, P_IN, P_LANE_STEP,
    P_LANES, P_LIQUID, P_OUT, P_SIDE, P_SORT, P_TABLE, P_WALL, TOTAL_CHARGE,
)  # fmt: skip

_FAST = {"contract", "nsz", "arcp"}
_jit = nb.njit(cache=True, error_model="numpy", fastmath=_FAST)
_piece = nb.njit(cache=True, error_model="numpy", fastmath=_FAST)
TRICKLE = 1e-12  # kg/s that keeps the temperature of a node defined where nothing flows


@_piece
def _cubic(t):
    """Weights of four equally spaced nodes at share t between the middle two (Catmull-Rom: smooth, exact for parabolas)."""
    t2 = t * t
    t3 = t2 * t
    return (
        0.5 * (2.0 * t2 - t3 - t),
        0.5 * (3.0 * t3 - 5.0 * t2) + 1.0,
        0.5 * (4.0 * t2 - 3.0 * t3 + t),
        0.5 * (t3 - t2),
    )


@_piece
def _between(value, step, nodes):
    """Cell index and share for `value` (relative to the first node) on a uniform grid, held at its ends."""
    s = value / step
    if s <= 0.0:
        return 0, 0.0
    i = int(s)
    if i > nodes - 2:
        return nodes - 2, 1.0
    return i, s - i


@_piece
def _line(values, p, w0, w1, w2, w3):
    """Four neighbours from p on, weighted."""
    return w0 * values[p] + w1 * values[p + 1] + w2 * values[p + 2] + w3 * values[p + 3]


@_piece
def _plane(values, p, row, w0, w1, w2, w3, v0, v1, v2, v3):
    """Four rows of four neighbours from p on, weighted by rows (w) and along them (v)."""
    return (
        w0 * _line(values, p, v0, v1, v2, v3)
        + w1 * _line(values, p + row, v0, v1, v2, v3)
        + w2 * _line(values, p + 2 * row, v0, v1, v2, v3)
        + w3 * _line(values, p + 3 * row, v0, v1, v2, v3)
    )


@_piece
def _gas(x, E, lane, T_in, c, e, first, lanes, cells, lane_step, cell_step):
    """Gas along walls: each cell takes share `e` of the difference to its wall; returns outlet and heat to the wall."""
    for j in range(lanes):
        lane[j] = T_in
    ce = c * e
    total = 0.0
    for i in range(cells):
        w = first + i * cell_step
        for j in range(lanes):
            d = lane[j] - x[w]
            lane[j] -= e * d
            E[w] += ce * d
            total += d
            w += lane_step
    out = 0.0
    for j in range(lanes):
        out += lane[j]
    return out / lanes, total * ce


@_piece
def _liquid(x, E, T_in, c, g, wall, liquid, lanes, cells, lane_step, cell_step):
    """Liquid mixed cell by cell, lane capacity rate `c` (below zero it runs backwards), film `g` to its wall (none: wall < 0)."""
    carried = abs(c)
    step, begin = (cell_step, 0) if c >= 0.0 else (-cell_step, (cells - 1) * cell_step)
    for j in range(lanes):
        at = begin + j * lane_step
        T = T_in
        for _ in range(cells):
            here = x[liquid + at]
            q = carried * (T - here)
            if wall >= 0:
                film = g * (x[wall + at] - here)
                E[wall + at] -= film
                q += film
            E[liquid + at] += q
            T = here
            at += step


@_jit
def derivative(A, W, k, s, x, combo, dx):
    """dx/dt of states and heat integrals at share s of the way from sample k to k + 1; fills the scratch W.

    `combo` holds the command combination of each loop, then of each duct, held over the interval.
    Order: all flows; the coefficients that depend on them; surroundings and pumps; coolant passes
    (outlets are states, so their order is free); the charge chain and the duct chains (gas is
    algebraic, walked in flow order); sensors; heat integrals.
    """
    passes, E, flow, T_in, T_out, heat = A.passes, W.E, W.flow, W.T_in, W.T_out, W.heat
    field_first, field_count, field_capacity, field_pickup = (
        A.field_first,
        A.field_count,
        A.field_capacity,
        A.field_pickup,
    )
    loop_pass, duct_pass, loop_T, node_T, node_m = A.loop_pass, A.duct_pass, W.loop_T, W.node_T, W.node_m
    a, b, inputs = W.a, W.b, A.inputs
    n_loops, n_ducts, n_fields, n_passes = A.loop_nodes.size, A.duct_nodes.size, field_first.size, passes.shape[0]
    n_charge = loop_pass[0]
    after = min(k + 1, inputs.shape[0] - 1)
    r = 1.0 - s
    bay = r * inputs[k, IN_BAY] + s * inputs[after, IN_BAY]
    handled = 0.0
    fastest = 1.0 / FEEDBACK_TIME

    # --- flows: coolant from command and the loop's mean temperature, with the heat its pumps put in
    loop_weight, loop_shape, loop_first, loop_flow, loop_heat = (
        A.loop_weight,
        A.loop_shape,
        A.loop_first,
        A.loop_flow,
        A.loop_heat,
    )
    loop_density, loop_capacity, loop_origin, loop_step = A.loop_density, A.loop_capacity, A.loop_origin, A.loop_step
    pump, field_loop, field_column = W.pump, A.field_loop, A.field_column
    for f in range(n_fields):
        pump[f] = 0.0
    for loop in range(n_loops):
        mean = 0.0
        for p in range(loop_pass[loop], loop_pass[loop + 1]):
            f = passes[p, P_LIQUID]
            # the middle of the field: unlike an outlet it does not jump when the flow turns round
            mean += loop_weight[p] * x[field_first[f] + field_count[f] // 2]
        loop_T[loop] = mean
        links = loop_shape[loop, 2]
        j, t = _between(mean - loop_origin[loop], loop_step[loop], loop_shape[loop, 1])
        row = loop_first[loop] + (combo[loop] * loop_shape[loop, 1] + j) * links
        for p in range(loop_pass[loop], loop_pass[loop + 1]):
            at = row + passes[p, P_COLUMN]
            flow[p] = loop_density[loop] * (loop_flow[at] + t * (loop_flow[at + links] - loop_flow[at]))
            f = passes[p, P_LIQUID]
            if field_loop[f] >= 0:
                at = row + field_column[f]
                pump[f] = loop_heat[at] + t * (loop_heat[at + links] - loop_heat[at])

    # --- flows: charge and compressor outlet at the fed-back plenum temperature, shared between branches
    T = x[A.i_feed]
    f0, f1, f2 = A.feed[0], A.feed[1], A.feed[2]
    w0 = (T - f1) * (T - f2) / ((f0 - f1) * (f0 - f2))
    w1 = (T - f0) * (T - f2) / ((f1 - f0) * (f1 - f2))
    w2 = 1.0 - w0 - w1
    charge = 0.0
    T_charge = 0.0
    for i in range(3):
        w = w0 if i == 0 else w1 if i == 1 else w2
        charge += w * (r * inputs[k, IN_FLOW + i] + s * inputs[after, IN_FLOW + i])
        T_charge += w * (r * inputs[k, IN_OUT + i] + s * inputs[after, IN_OUT + i])
    charge = max(charge / T, 0.0)
    share = A.share
    i, t = _between(np.sqrt(charge / A.share_scale), A.share_step, share.shape[0])
    for p in range(n_charge):
        flow[p] = charge * (share[i, p] + t * (share[i + 1, p] - share[i, p]))

    # --- flows: duct air from air speed, fan command and its own temperature
    duct_shape, duct_first, duct_step, duct_flow = A.duct_shape, A.duct_first, A.duct_step, A.duct_flow
    for d in range(n_ducts):
        n_T, n_V, links = duct_shape[d, 1], duct_shape[d, 2], duct_shape[d, 3]
        speed = max(r * inputs[k, IN_SPEED + d] + s * inputs[after, IN_SPEED + d], 0.0)
        j, t = _between(x[A.i_duct + d] - A.duct_origin[d, 0], duct_step[d, 0], n_T)
        i, u = _between(np.sqrt(speed), duct_step[d, 1], n_V - 2)
        w0, w1, w2, w3 = _cubic(u)
        row = duct_first[d] + ((combo[n_loops + d] * n_T + j) * n_V + i) * links
        for p in range(duct_pass[d], duct_pass[d + 1]):
            at = row + passes[p, P_COLUMN]
            up = at + n_V * links
            cold = (
                w0 * duct_flow[at]
                + w1 * duct_flow[at + links]
                + w2 * duct_flow[at + 2 * links]
                + w3 * duct_flow[at + 3 * links]
            )
            warm = (
                w0 * duct_flow[up]
                + w1 * duct_flow[up + links]
                + w2 * duct_flow[up + 2 * links]
                + w3 * duct_flow[up + 3 * links]
            )
            flow[p] = max(cold + t * (warm - cold), 0.0)

    # --- coefficients at these flows
    table_first, table_shape, table_flow, table_scale, table_step = (
        A.table_first,
        A.table_shape,
        A.table_flow,
        A.table_scale,
        A.table_step,
    )
    values_a, values_b = A.values_a, A.values_b
    for n in range(table_first.size):
        n_T, n_1, n_2 = table_shape[n, 0], table_shape[n, 1], table_shape[n, 2]
        p = table_first[n]
        source = table_flow[n, 0]
        i, u = _between(
            np.sqrt((charge if source == TOTAL_CHARGE else abs(flow[source])) / table_scale[n, 0]),
            table_step[n, 1],
            n_1 - 2,
        )
        w0, w1, w2, w3 = _cubic(u)
        t = 0.0
        if n_T > 1:
            j, t = _between(loop_T[A.table_loop[n]] - A.table_origin[n], table_step[n, 0], n_T)
            p += j * n_1 * n_2
        p += i * n_2
        layer = n_1 * n_2
        if n_2 == 1:
            a[n], b[n] = _line(values_a, p, w0, w1, w2, w3), _line(values_b, p, w0, w1, w2, w3)
            if n_T > 1:
                a[n] += t * (_line(values_a, p + layer, w0, w1, w2, w3) - a[n])
                b[n] += t * (_line(values_b, p + layer, w0, w1, w2, w3) - b[n])
        else:
            i, u = _between(np.sqrt(abs(flow[table_flow[n, 1]]) / table_scale[n, 1]), table_step[n, 2], n_2 - 2)
            v0, v1, v2, v3 = _cubic(u)
            p += i
            a[n] = _plane(values_a, p, n_2, w0, w1, w2, w3, v0, v1, v2, v3)
            b[n] = _plane(values_b, p, n_2, w0, w1, w2, w3, v0, v1, v2, v3)
            if n_T > 1:
                a[n] += t * (_plane(values_a, p + layer, n_2, w0, w1, w2, w3, v0, v1, v2, v3) - a[n])
                b[n] += t * (_plane(values_b, p + layer, n_2, w0, w1, w2, w3, v0, v1, v2, v3) - b[n])

    # --- heat from surroundings and pumps into every node; `pull` gathers what relaxes each field's nodes, W/K
    field_around, pickup, pull = A.field_around, W.pickup, W.pull
    for f in range(n_fields):
        around = bay if field_around[f] == BAY else A.ambient if field_around[f] == AMBIENT else A.engine_metal
        g = field_pickup[f]
        own = pump[f] / field_count[f]
        total = 0.0
        for i in range(field_first[f], field_first[f] + field_count[f]):
            q = g * (around - x[i])
            E[i] = q + own
            total += q
        pickup[f] = total
        pull[f] = g
        handled += abs(total) + abs(pump[f])

    # --- coolant: mix at the nodes of each loop, then every pass
    sensor_sort, sensor_path, sensor_node, sensor_pass = A.sensor_sort, A.sensor_path, A.sensor_node, A.sensor_pass
    reads = W.sensor_gas
    n_sensors = sensor_sort.size
    for loop in range(n_loops):
        for node in range(A.loop_nodes[loop]):
            node_T[node] = 0.0
            node_m[node] = 0.0
        for p in range(loop_pass[loop], loop_pass[loop + 1]):
            lanes, cells = passes[p, P_LANES], passes[p, P_CELLS]
            at = field_first[passes[p, P_LIQUID]]
            node = passes[p, P_IN]
            if flow[p] >= 0.0:
                at += (cells - 1) * passes[p, P_CELL_STEP]
                node = passes[p, P_OUT]
            out = 0.0
            for j in range(lanes):
                out += x[at]
                at += passes[p, P_LANE_STEP]
            T_out[p] = out / lanes
            m = abs(flow[p]) + TRICKLE
            node_m[node] += m
            node_T[node] += m * T_out[p]
        for node in range(A.loop_nodes[loop]):
            node_T[node] /= max(node_m[node], TRICKLE)
        cp = loop_capacity[loop] / loop_density[loop]
        for p in range(loop_pass[loop], loop_pass[loop + 1]):
            T_in[p] = node_T[passes[p, P_IN] if flow[p] >= 0.0 else passes[p, P_OUT]]
            lanes, cells = passes[p, P_LANES], passes[p, P_CELLS]
            liquid = passes[p, P_LIQUID]
            c = flow[p] * cp / lanes
            g, wall = 0.0, -1
            if passes[p, P_WALL] >= 0:
                wall = field_first[passes[p, P_WALL]]
                g = (a[passes[p, P_TABLE]] if passes[p, P_SIDE] == 0 else b[passes[p, P_TABLE]]) / (lanes * cells)
                pull[passes[p, P_WALL]] += g
            pull[liquid] += abs(c) + g
            _liquid(
                x,
                E,
                T_in[p],
                c,
                g,
                wall,
                field_first[liquid],
                lanes,
                cells,
                passes[p, P_LANE_STEP],
                passes[p, P_CELL_STEP],
            )
            heat[p] = 0.0
        for sensor in range(n_sensors):
            if sensor_sort[sensor] != CHARGE and sensor_path[sensor] == loop:
                reads[sensor] = node_T[sensor_node[sensor]] if sensor_node[sensor] >= 0 else T_out[sensor_pass[sensor]]

    # --- gas: the charge chain (chain 0), then every duct, each from its inlet in walk order, mixed at its nodes by flow
    for chain in range(n_ducts + 1):
        begin, end = (0, n_charge) if chain == 0 else (duct_pass[chain - 1], duct_pass[chain])
        cp = A.cp_charge if chain == 0 else A.cp_air
        for node in range(node_T.size):
            node_T[node] = 0.0
            node_m[node] = 0.0
        node_T[0] = T_charge if chain == 0 else A.ambient
        node_m[0] = 1.0
        last = 0
        for p in range(begin, end):
            node = passes[p, P_IN]
            T_in[p] = node_T[node] / node_m[node]
            lanes = passes[p, P_LANES]
            c = flow[p] * cp / lanes
            if passes[p, P_WALL] >= 0:
                wall = passes[p, P_WALL]
                e = a[passes[p, P_TABLE]] if passes[p, P_SIDE] == 0 else b[passes[p, P_TABLE]]
                T_out[p], q = _gas(
                    x,
                    E,
                    W.lane,
                    T_in[p],
                    c,
                    e,
                    field_first[wall],
                    lanes,
                    passes[p, P_CELLS],
                    passes[p, P_LANE_STEP],
                    passes[p, P_CELL_STEP],
                )
                heat[p] = q if chain == 0 else -q
                pull[wall] += c * e
            else:
                T_out[p] = T_in[p] + A.duct_heat[p] / max(c * lanes, 1.0)
                heat[p] = 0.0
            last = passes[p, P_OUT]
            m = flow[p] + TRICKLE
            node_T[last] += m * T_out[p]
            node_m[last] += m
        leaving = node_T[last] / node_m[last]
        if chain > 0:
            dx[A.i_duct + chain - 1] = (leaving - x[A.i_duct + chain - 1]) / DUCT_TIME
        else:
            dx[A.i_feed] = (leaving - x[A.i_feed]) / FEEDBACK_TIME
            W.charge[0], W.charge[1], W.charge[2] = charge, T_charge, leaving
            for sensor in range(n_sensors):
                if sensor_sort[sensor] == CHARGE:
                    node = sensor_node[sensor]
                    reads[sensor] = node_T[node] / node_m[node] if node >= 0 else T_out[sensor_pass[sensor]]

    # --- rates of change
    for f in range(n_fields):
        inverse = 1.0 / field_capacity[f]
        fastest = max(fastest, pull[f] * inverse)
        for i in range(field_first[f], field_first[f] + field_count[f]):
            dx[i] = E[i] * inverse
    for sensor in range(n_sensors):
        code = A.sensor_around[sensor]
        around = bay if code == BAY else A.ambient if code == AMBIENT else A.engine_metal
        boss, reading, table = A.i_boss + sensor, A.i_reading + sensor, A.sensor_table[sensor]
        dx[boss] = (around - x[boss]) * A.sensor_boss_rate[sensor]
        dx[reading] = (reads[sensor] + a[table] * (x[boss] - reads[sensor]) - x[reading]) * b[table]
        fastest = max(fastest, b[table])

    # --- heat integrals ride behind the states
    at = A.n_states
    for p in range(n_passes):
        dx[at + p] = heat[p]
        handled += abs(heat[p])
    at += n_passes
    for f in range(n_fields):
        dx[at + f] = pickup[f]
        dx[at + n_fields + f] = pump[f]
    dx[at + 2 * n_fields] = handled
    W.rate[0] = fastest


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
                        for p in range(A.loop_pass[loop], A.loop_pass[loop + 1]):
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
def _record(A, W, x, k, streams, scalars):
    for p in range(A.passes.shape[0]):
        streams[k, p, 0] = W.T_in[p]
        streams[k, p, 1] = W.T_out[p]
        streams[k, p, 2] = W.flow[p]
    scalars[k, 0] = W.charge[0]
    scalars[k, 1] = W.charge[1]
    scalars[k, 2] = W.charge[2]
    scalars[k, 3] = x[A.i_feed]
    at = 4
    for sensor in range(A.sensor_sort.size):
        scalars[k, at + sensor] = x[A.i_reading + sensor]
    at += A.sensor_sort.size
    for loop in range(A.loop_nodes.size):
        scalars[k, at + loop] = W.loop_T[loop]
    at += A.loop_nodes.size
    for d in range(A.duct_nodes.size):
        scalars[k, at + d] = x[A.i_duct + d]


@_jit
def march(A, W, x, parts, streams, scalars, levels, peak_x):
    """March x over every sample; returns (steps, most sub-steps, sample of the peak).

    `parts` multiplies the sub-steps (2 for the step check).  `streams` (n, P, 3), `scalars`
    (n, 4 + S + L + D) and `levels` (n, devices) are filled at sample times; `peak_x` gets the
    states at the highest plenum temperature under boost.
    Scheme: SSPRK(4,3), Spiteri and Ruuth 2002 (from memory), aligned with the samples: three
    half-steps, a blend with the step's start, one more half-step.
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
        levels[k] = level
        derivative(A, W, k, 0.0, x, combo, dx)
        _record(A, W, x, k, streams, scalars)
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
    k = min(max(int(t / A.step), 0), A.inputs.shape[0] - 2)
    derivative(A, W, k, t / A.step - k, x, combos[k], dx)
