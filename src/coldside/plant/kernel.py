"""The transient kernel: the derivative of a plant and its march in time, compiled by Numba.

What is here: `derivative` (the right-hand side that outside solvers may integrate too) and `march`
(SSPRK(4,3), sub-stepped where a node is fast, with pump and fan control at sample times).  Sees
arrays only (`layout.py`): `I` and `F` are the packed plant, a name such as `field_first` is where that
member starts in one of them, and `w` is the scratch.  The same physics in plain NumPy is `reference.py`;
a test holds them together.  Why it looks like this: `docs/decisions/0002`.
"""

from __future__ import annotations

import numpy as np

from coldside.plant.compiling import compiled
from coldside.plant.layout import (
    AMBIENT,
    BAY,
    BETWEEN_NODES,
    CHARGE,
    DUCT_TIME,
    FACE_HOTTEST,
    FEED_NODES,
    HEADER,
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
    P_SIDE,
    P_TABLE,
    P_WALL,
    SCALARS,
    SECOND_STAGE,
    STAGE_BLOCK,
    TOTAL_CHARGE,
)

TRICKLE = 1e-12  # kg/s that keeps the temperature of a node defined where nothing flows
WIDTH = 13  # columns of `passes`
FEW_STAGES = 4  # up to which a quick march finds all conditions anew at every stage
WET_PULL = 2.0  # a condensing film takes up to about this much more heat a kelvin of wall than a dry one

# where the header of I says that each member starts, or how many there are
# fmt: off
(
    H_INPUTS, H_FEED, H_BETWEEN, H_BOOST, H_FIELD_FIRST, H_FIELD_COUNT, H_FIELD_CAPACITY, H_FIELD_PICKUP,
    H_FIELD_AROUND, H_FIELD_LOOP, H_FIELD_COLUMN, H_PASSES, H_PASS_BYPASS, H_PASS_BACKMIX, H_PASS_WET, H_LOOP_PASS,
    H_DUCT_PASS, H_TABLE_FIRST, H_TABLE_SHAPE, H_TABLE_FLOW, H_TABLE_SCALE, H_TABLE_STEP, H_TABLE_ORIGIN,
    H_TABLE_LOOP, H_VALUES_A, H_VALUES_B, H_SHARE, H_LOOP_NODES, H_LOOP_CAPACITY, H_LOOP_DENSITY, H_LOOP_WEIGHT,
    H_LOOP_FIRST, H_LOOP_SHAPE, H_LOOP_ORIGIN, H_LOOP_STEP, H_LOOP_FLOW, H_LOOP_HEAT, H_DUCT_NODES, H_DUCT_FIRST,
    H_DUCT_SHAPE, H_DUCT_ORIGIN, H_DUCT_STEP, H_DUCT_FLOW, H_DUCT_HEAT, H_SOURCE_FIELD, H_SOURCE_SCALED,
    H_SOURCE_PASS, H_ICE_NODE, H_ICE_MASS, H_ICE_FILM, H_ICE_EXPONENT,
    H_ICE_LATENT, H_ICE_CP, H_ICE_CAPACITY, H_ICE_MELT, H_SENSOR_SORT, H_SENSOR_PATH, H_SENSOR_NODE, H_SENSOR_PASS,
    H_SENSOR_TABLE, H_SENSOR_AROUND, H_SENSOR_BOSS_RATE, H_COMBO_LOOP, H_COMBO_DUCT, H_COMBO_STRIDE,
    H_CONTROL_STATE, H_CONTROL_LOOPS, H_CONTROL_ON, H_CONTROL_OFF, H_LEVEL_ON, H_LEVEL_OFF, H_CHARGE_NODES,
    H_N_STATES, H_I_FEED, H_I_DUCT, H_I_BOSS, H_I_READING, H_I_BETWEEN, H_I_ICE, H_STAGES, H_IN_RECIRCULATION,
    H_IN_PRESSURE, H_IN_RUNNING, H_IN_SOURCE, H_IN_LIMIT, H_IN_INJECTION, H_IN_STAGE, H_SAMPLES, H_WIDTH, H_FIELDS,
    H_N_PASSES, H_TABLES, H_LOOPS, H_DUCTS, H_SENSORS, H_SHARE_NODES, H_DEVICES, H_SOURCES, H_ICED, W_E, W_FLOW, W_PUMP,
    W_A, W_B, W_LOOP_T, W_GAS, W_NOW, W_THEN, W_T_IN, W_T_OUT, W_HEAT, W_WET_HEAT, W_PICKUP, W_OWN, W_PULL,
    W_NODE_T, W_NODE_M, W_NODE_W, W_LANE, W_LANE_W, W_DUCT_OUT, W_SENSOR_GAS, W_CHARGE, W_RATE, W_STATE, W_WATER,
) = range(len(HEADER))
(
    S_STEP, S_FEEDBACK_TIME, S_ENGINE_METAL, S_CP_CHARGE, S_CP_AIR, S_AIR_LOW, S_AIR_STEP,
    S_VAPOUR_A, S_VAPOUR_B, S_VAPOUR_C,
    S_ENHANCEMENT, S_ENHANCEMENT_RISE, S_VAPOUR_RATIO, S_LATENT, S_CP_VAPOUR, S_CP_WATER, S_SHARE_SCALE,
    S_SHARE_STEP,
) = range(len(SCALARS))
# fmt: on


@compiled
def _cubic(t):
    """Weights of four equally spaced nodes at share t between the middle two (Catmull-Rom, exact for parabolas)."""
    t2 = t * t
    t3 = t2 * t
    return (
        0.5 * (2.0 * t2 - t3 - t),
        0.5 * (3.0 * t3 - 5.0 * t2) + 1.0,
        0.5 * (4.0 * t2 - 3.0 * t3 + t),
        0.5 * (t3 - t2),
    )


@compiled
def _between(value, step, nodes):
    """Cell index and share for `value` (relative to the first node) on a uniform grid, held at its ends."""
    s = value / step
    if s <= 0.0:
        return 0, 0.0
    i = int(s)
    if i > nodes - 2:
        return nodes - 2, 1.0
    return i, s - i


@compiled
def _line(F, p, step, w0, w1, w2, w3):
    """Four neighbours `step` apart from p on, weighted."""
    return w0 * F[p] + w1 * F[p + step] + w2 * F[p + 2 * step] + w3 * F[p + 3 * step]


@compiled
def _plane(F, p, row, w0, w1, w2, w3, v0, v1, v2, v3):
    """Four rows of four neighbours from p on, weighted by rows (w) and along them (v)."""
    return (
        w0 * _line(F, p, 1, v0, v1, v2, v3)
        + w1 * _line(F, p + row, 1, v0, v1, v2, v3)
        + w2 * _line(F, p + 2 * row, 1, v0, v1, v2, v3)
        + w3 * _line(F, p + 3 * row, 1, v0, v1, v2, v3)
    )


@compiled
def _gas(x, w, E, lane, T_in, c, e, first, lanes, cells, lane_step, cell_step):
    """Gas along walls: each cell takes share `e` of the difference to its wall; returns outlet and heat to the wall."""
    for j in range(lanes):
        w[lane + j] = T_in
    ce = c * e
    total = 0.0
    for i in range(cells):
        at = first + i * cell_step
        for j in range(lanes):
            d = w[lane + j] - x[at]
            w[lane + j] -= e * d
            w[E + at] += ce * d
            total += d
            at += lane_step
    out = 0.0
    for j in range(lanes):
        out += w[lane + j]
    return out / lanes, total * ce


@compiled
def _saturated(F, T, p):
    """Vapour that air at pressure p holds over water of temperature T, kg per kg of dry air."""
    alone = np.exp(F[S_VAPOUR_A] - F[S_VAPOUR_B] / (T - F[S_VAPOUR_C]))
    vapour = (F[S_ENHANCEMENT] + F[S_ENHANCEMENT_RISE] * p) * alone
    return F[S_VAPOUR_RATIO] * vapour / max(p - vapour, 0.01 * p)


@compiled
def _wet_gas(F, x, w, E, lane, lane_w, T_in, W_in, c, dry, e, p, first, lanes, cells, lane_step, cell_step):
    """As `_gas`, with vapour that condenses where a wall is below the dew point (equal shares for heat and vapour).

    `dry` is the dry air of one lane, `p` its pressure; returns outlet T, heat to the wall, outlet vapour, the
    condensate and its heat.
    """
    for j in range(lanes):
        w[lane + j] = T_in
        w[lane_w + j] = W_in
    # the dew point of what enters: walls above it stay dry and cost no exponential
    vapour = W_in * p / ((F[S_VAPOUR_RATIO] + W_in) * (F[S_ENHANCEMENT] + F[S_ENHANCEMENT_RISE] * p))
    dew = F[S_VAPOUR_C] + F[S_VAPOUR_B] / (F[S_VAPOUR_A] - np.log(max(vapour, 1.0)))
    ce = c * e
    total = 0.0
    water = 0.0
    latent = 0.0
    for i in range(cells):
        at = first + i * cell_step
        for j in range(lanes):
            wall = x[at]
            T = w[lane + j]
            q = ce * (T - wall)
            if wall < dew:
                excess = w[lane_w + j] - _saturated(F, wall, p)
                if excess > 0.0:
                    w[lane_w + j] -= e * excess
                    falling = dry * e * excess
                    water += falling
                    q_wet = falling * (F[S_LATENT] + (F[S_CP_VAPOUR] - F[S_CP_WATER]) * (wall - 273.15))
                    latent += q_wet
                    q += q_wet
            w[lane + j] = T - e * (T - wall)
            w[E + at] += q
            total += q
            at += lane_step
    out = 0.0
    out_w = 0.0
    for j in range(lanes):
        out += w[lane + j]
        out_w += w[lane_w + j]
    return out / lanes, total, out_w / lanes, water, latent


@compiled
def _film(x, w, E, g, wall, liquid, count):
    """Film `g` between each wall node and the liquid node beside it; both fields have the same order."""
    for n in range(count):
        q = g * (x[wall + n] - x[liquid + n])
        w[E + wall + n] -= q
        w[E + liquid + n] += q


@compiled
def _carry(x, w, E, T_in, c, first, lanes, cells, lane_step, cell_step):
    """Liquid moving from cell to cell at lane capacity rate `c`; below zero it runs backwards.

    One of the two steps is 1, so the field is swept as one block whose neighbours lie `cell_step`
    apart (the loop that the compiler can widen); the cells where the stream enters are put right after.
    """
    carried = abs(c)
    count = lanes * cells
    if c >= 0.0:
        for n in range(first + cell_step, first + count):
            w[E + n] += carried * (x[n - cell_step] - x[n])
        for j in range(lanes):
            k = j * lane_step
            here = first + k
            w[E + here] += carried * (T_in - (x[here - cell_step] if k >= cell_step else x[here]))
    else:
        for n in range(first, first + count - cell_step):
            w[E + n] += carried * (x[n + cell_step] - x[n])
        for j in range(lanes):
            k = j * lane_step + (cells - 1) * cell_step
            here = first + k
            w[E + here] += carried * (T_in - (x[here + cell_step] if k + cell_step < count else x[here]))


@compiled
def _temperatures(I, F, w, x):  # noqa: E741
    """The states with iced nodes at their true temperature; x itself where there is no ice."""
    n_iced = I[H_ICED]
    if n_iced == 0:
        return x
    n = I[H_N_STATES]
    y = w[I[W_STATE] : I[W_STATE] + n]
    for i in range(n):
        y[i] = x[i]
    for z in range(n_iced):
        melted = F[I[H_ICE_MASS] + z] - x[I[H_I_ICE] + z]
        C = F[I[H_ICE_CAPACITY] + z]
        zero = F[I[H_ICE_MELT] + 3 * z]
        at = I[I[H_ICE_NODE] + z]
        y[at] = zero + (x[at] - zero) * C / (C + F[I[H_ICE_CP] + z] * melted)
    return y


@compiled
def _melt(I, F, w, E, x, y, dx):  # noqa: E741
    """Heat that ice takes out of its node, and how fast it melts; `y` holds true temperatures."""
    for z in range(I[H_ICED]):
        left = x[I[H_I_ICE] + z]
        full = F[I[H_ICE_MASS] + z]
        dx[I[H_I_ICE] + z] = 0.0
        if left > 0.0:
            at = I[I[H_ICE_NODE] + z]
            share = left / full
            gone = 1.0 - share
            melt = I[H_ICE_MELT] + 3 * z
            T_melt = F[melt] + gone * (F[melt + 1] + gone * F[melt + 2])
            q = F[I[H_ICE_FILM] + z] * share ** F[I[H_ICE_EXPONENT] + z] * max(y[at] - T_melt, 0.0)
            risen = F[I[H_ICE_CP] + z] * (T_melt - F[melt])
            rate = q / (F[I[H_ICE_LATENT] + z] + risen)
            dx[I[H_I_ICE] + z] = -rate
            w[E + at] -= q - rate * risen


@compiled
def _cubic_at(value, first, last, nodes):
    """First of the four equally spaced nodes around `value`, held at the ends, and the weights of their cubic."""
    t = min(max((value - first) / (last - first), 0.0), 1.0) * (nodes - 1)
    j = min(max(int(t) - 1, 0), nodes - 4)
    t -= j
    return (
        j,
        -(t - 1.0) * (t - 2.0) * (t - 3.0) / 6.0,
        t * (t - 2.0) * (t - 3.0) / 2.0,
        -t * (t - 1.0) * (t - 3.0) / 2.0,
        t * (t - 1.0) * (t - 2.0) / 6.0,
    )


@compiled
def _charge(I, F, x, now, then, s):  # noqa: E741
    """Whole charge flow, and outlet of the first and of a second compressor, at the fed-back temperatures."""
    r = 1.0 - s
    T = x[I[H_I_FEED]]
    feed = I[H_FEED]
    j, w0, w1, w2, w3 = _cubic_at(T, F[feed], F[feed + FEED_NODES - 1], FEED_NODES)
    if I[H_STAGES] == 1:
        at = now + IN_FLOW + j
        to = then + IN_FLOW + j
        flow = r * _line(F, at, 1, w0, w1, w2, w3) + s * _line(F, to, 1, w0, w1, w2, w3)
        at += IN_OUT - IN_FLOW
        to += IN_OUT - IN_FLOW
        T_charge = r * _line(F, at, 1, w0, w1, w2, w3) + s * _line(F, to, 1, w0, w1, w2, w3)
        return max(flow / T, 0.0), T_charge, 0.0
    between = I[H_BETWEEN]
    n, v0, v1, v2, v3 = _cubic_at(x[I[H_I_BETWEEN]], F[between], F[between + BETWEEN_NODES - 1], BETWEEN_NODES)
    at = now + I[H_IN_STAGE] + n * STAGE_BLOCK + j
    to = then + I[H_IN_STAGE] + n * STAGE_BLOCK + j
    flow = r * _plane(F, at, STAGE_BLOCK, v0, v1, v2, v3, w0, w1, w2, w3)
    flow += s * _plane(F, to, STAGE_BLOCK, v0, v1, v2, v3, w0, w1, w2, w3)
    at += FEED_NODES
    to += FEED_NODES
    T_charge = r * _plane(F, at, STAGE_BLOCK, v0, v1, v2, v3, w0, w1, w2, w3)
    T_charge += s * _plane(F, to, STAGE_BLOCK, v0, v1, v2, v3, w0, w1, w2, w3)
    at += FEED_NODES
    to += FEED_NODES
    T_second = r * _plane(F, at, STAGE_BLOCK, v0, v1, v2, v3, w0, w1, w2, w3)
    T_second += s * _plane(F, to, STAGE_BLOCK, v0, v1, v2, v3, w0, w1, w2, w3)
    return max(flow / T, 0.0), T_charge, T_second


@compiled
def _two_lines(F, p, across, step, t, w0, w1, w2, w3):
    """Four neighbours `step` apart from p on, weighted, and share t of the way to those `across`."""
    low = _line(F, p, step, w0, w1, w2, w3)
    return low + t * (_line(F, p + across, step, w0, w1, w2, w3) - low)


@compiled
def _sources(I, F, w, x, now, then, s, charge):  # noqa: E741
    """Heat of sprays, and of the engine into its coolant and oil; it rides with the pumps' heat."""
    r = 1.0 - s
    for n in range(I[H_SOURCES]):
        f = I[I[H_SOURCE_FIELD] + n]
        at = I[H_IN_SOURCE] + n
        q = r * F[now + at] + s * F[then + at]
        if I[I[H_SOURCE_SCALED] + n]:
            q *= charge
        p = I[I[H_SOURCE_PASS] + n]
        if p >= 0:  # a spray: as much as evaporates, or as the air can carry off
            at = I[H_IN_LIMIT] + LIMIT_BLOCK * n
            zero = r * F[now + at] + s * F[then + at]
            per_air = r * F[now + at + 1] + s * F[then + at + 1]
            over = max(x[I[I[H_FIELD_FIRST] + f] + I[I[H_FIELD_COUNT] + f] // 2] - zero, 0.0)
            q = -min(q, per_air * w[I[W_FLOW] + p] * over)
        w[I[W_OWN] + f] += q


@compiled
def _injected(I, F, number, T, now, then, s):  # noqa: E741
    """What leaves an injection that gas enters at T, and the water it took up, kg per kg of dry air."""
    r = 1.0 - s
    at = I[H_IN_INJECTION] + INJECTION_BLOCK * number
    all_gone = r * F[now + at] + s * F[then + at]
    all_gone += T * (r * F[now + at + 1] + s * F[then + at + 1])
    saturated = r * F[now + at + 2] + s * F[then + at + 2]
    saturated += T * (r * F[now + at + 3] + s * F[then + at + 3])
    out = min(T, max(all_gone, saturated))
    if T <= all_gone:
        return out, 0.0
    return out, (r * F[now + at + 4] + s * F[then + at + 4]) * (T - out) / (T - all_gone)


@compiled
def _integrals(I, w, dx, water, handled):  # noqa: E741
    """Heat integrals ride behind the states: by pass, pick-up and own heat by field, condensed water, all handled."""
    n_passes, n_fields, at = I[H_N_PASSES], I[H_FIELDS], I[H_N_STATES]
    for p in range(n_passes):
        dx[at + p] = w[I[W_HEAT] + p]
        handled += abs(w[I[W_HEAT] + p])
    at += n_passes
    for f in range(n_fields):
        dx[at + f] = w[I[W_PICKUP] + f]
        dx[at + n_fields + f] = w[I[W_OWN] + f]
    dx[at + 2 * n_fields] = water
    dx[at + 2 * n_fields + 1] = handled
    w[I[W_WATER]] = water


@compiled
def _charge_flows(I, F, w, k, s, x):  # noqa: E741
    """Charge and compressor outlets at the fed-back plenum temperature, the flow shared between branches; the flow."""
    now = I[H_INPUTS] + k * I[H_WIDTH]
    then = now + I[H_WIDTH] if k + 1 < I[H_SAMPLES] else now
    charge, T_charge, T_second = _charge(I, F, x, now, then, s)
    gas, n_passes = I[W_GAS], I[H_N_PASSES]
    w[gas], w[gas + 1], w[gas + 2] = charge, T_charge, T_second
    i, t = _between(np.sqrt(charge / F[S_SHARE_SCALE]), F[S_SHARE_STEP], I[H_SHARE_NODES])
    at = I[H_SHARE] + i * n_passes
    for p in range(I[I[H_LOOP_PASS]]):
        w[I[W_FLOW] + p] = charge * (F[at + p] + t * (F[at + n_passes + p] - F[at + p]))
    return charge


@compiled
def _duct_flows(I, F, w, k, s, x, combo):  # noqa: E741
    """Air in ducts from ambient temperature, air speed, fan command and its own rise."""
    passes, duct_pass, n_loops = I[H_PASSES], I[H_DUCT_PASS], I[H_LOOPS]
    now = I[H_INPUTS] + k * I[H_WIDTH]
    then = now + I[H_WIDTH] if k + 1 < I[H_SAMPLES] else now
    r = 1.0 - s
    ambient = r * F[now + IN_AMBIENT] + s * F[then + IN_AMBIENT]
    for d in range(I[H_DUCTS]):
        shape = I[H_DUCT_SHAPE] + 5 * d
        levels, n_T, n_V, links = I[shape + 1], I[shape + 2], I[shape + 3], I[shape + 4]
        speed = max(r * F[now + IN_SPEED + d] + s * F[then + IN_SPEED + d], 0.0)
        j, t = _between(x[I[H_I_DUCT] + d] - ambient - F[I[H_DUCT_ORIGIN] + d], F[I[H_DUCT_STEP] + 2 * d], n_T)
        i, u = _between(np.sqrt(speed), F[I[H_DUCT_STEP] + 2 * d + 1], n_V - 2)
        w0, w1, w2, w3 = _cubic(u)
        level, v = 0, 0.0
        if levels > 1:
            level, v = _between(ambient - F[S_AIR_LOW], F[S_AIR_STEP], levels)
        row = I[H_DUCT_FLOW] + I[I[H_DUCT_FIRST] + d]
        row += (((combo[n_loops + d] * levels + level) * n_T + j) * n_V + i) * links
        layer = n_T * n_V * links
        for p in range(I[duct_pass + d], I[duct_pass + d + 1]):
            at = row + I[passes + p * WIDTH + P_COLUMN]
            m = _two_lines(F, at, n_V * links, links, t, w0, w1, w2, w3)
            if levels > 1:
                m += v * (_two_lines(F, at + layer, n_V * links, links, t, w0, w1, w2, w3) - m)
            w[I[W_FLOW] + p] = max(m, 0.0)


@compiled
def _conditions(I, F, w, k, s, x, combo):  # noqa: E741
    """Flows at share s of the way from sample k to k + 1, and the coefficients that depend on them; fills w's first.

    `x` are true temperatures; what is filled lies side by side, from `flow` to `gas`.
    """
    flow, pump, a, b, loop_T = I[W_FLOW], I[W_PUMP], I[W_A], I[W_B], I[W_LOOP_T]
    n_fields, n_loops = I[H_FIELDS], I[H_LOOPS]
    field_first, field_count, passes = I[H_FIELD_FIRST], I[H_FIELD_COUNT], I[H_PASSES]
    loop_pass = I[H_LOOP_PASS]

    # --- flows: coolant from command and the loop's mean temperature, with the heat its pumps put in
    for f in range(n_fields):
        w[pump + f] = 0.0
    for loop in range(n_loops):
        density = F[I[H_LOOP_DENSITY] + loop]
        mean = 0.0
        for p in range(I[loop_pass + loop], I[loop_pass + loop + 1]):
            f = I[passes + p * WIDTH + P_LIQUID]
            # the middle of the field: unlike an outlet it does not jump when the flow turns round
            mean += F[I[H_LOOP_WEIGHT] + p] * x[I[field_first + f] + I[field_count + f] // 2]
        w[loop_T + loop] = mean
        shape = I[H_LOOP_SHAPE] + 3 * loop
        n_T, links = I[shape + 1], I[shape + 2]
        j, t = _between(mean - F[I[H_LOOP_ORIGIN] + loop], F[I[H_LOOP_STEP] + loop], n_T)
        row = I[I[H_LOOP_FIRST] + loop] + (combo[loop] * n_T + j) * links
        for p in range(I[loop_pass + loop], I[loop_pass + loop + 1]):
            at = I[H_LOOP_FLOW] + row + I[passes + p * WIDTH + P_COLUMN]
            w[flow + p] = density * (F[at] + t * (F[at + links] - F[at]))
            f = I[passes + p * WIDTH + P_LIQUID]
            if I[I[H_FIELD_LOOP] + f] >= 0:
                at = I[H_LOOP_HEAT] + row + I[I[H_FIELD_COLUMN] + f]
                w[pump + f] = F[at] + t * (F[at + links] - F[at])

    charge = _charge_flows(I, F, w, k, s, x)

    _duct_flows(I, F, w, k, s, x, combo)

    # --- coefficients at these flows
    for n in range(I[H_TABLES]):
        shape = I[H_TABLE_SHAPE] + 3 * n
        n_T, n_1, n_2 = I[shape], I[shape + 1], I[shape + 2]
        step = I[H_TABLE_STEP] + 3 * n
        scale = I[H_TABLE_SCALE] + 2 * n
        source = I[I[H_TABLE_FLOW] + 2 * n]
        first = charge if source == TOTAL_CHARGE else abs(w[flow + source])
        i, u = _between(np.sqrt(first / F[scale]), F[step + 1], n_1 - 2)
        w0, w1, w2, w3 = _cubic(u)
        layer = n_1 * n_2
        at = I[I[H_TABLE_FIRST] + n] + i * n_2
        t = 0.0
        if n_T > 1:
            j, t = _between(w[loop_T + I[I[H_TABLE_LOOP] + n]] - F[I[H_TABLE_ORIGIN] + n], F[step], n_T)
            at += j * layer
        at_a, at_b = I[H_VALUES_A] + at, I[H_VALUES_B] + at
        if n_2 == 1:
            value_a = _line(F, at_a, 1, w0, w1, w2, w3)
            value_b = _line(F, at_b, 1, w0, w1, w2, w3)
            if n_T > 1:
                value_a += t * (_line(F, at_a + layer, 1, w0, w1, w2, w3) - value_a)
                value_b += t * (_line(F, at_b + layer, 1, w0, w1, w2, w3) - value_b)
        else:
            second = abs(w[flow + I[I[H_TABLE_FLOW] + 2 * n + 1]])
            i, u = _between(np.sqrt(second / F[scale + 1]), F[step + 2], n_2 - 2)
            v0, v1, v2, v3 = _cubic(u)
            value_a = _plane(F, at_a + i, n_2, w0, w1, w2, w3, v0, v1, v2, v3)
            value_b = _plane(F, at_b + i, n_2, w0, w1, w2, w3, v0, v1, v2, v3)
            if n_T > 1:
                value_a += t * (_plane(F, at_a + i + layer, n_2, w0, w1, w2, w3, v0, v1, v2, v3) - value_a)
                value_b += t * (_plane(F, at_b + i + layer, n_2, w0, w1, w2, w3, v0, v1, v2, v3) - value_b)
        w[a + n] = value_a
        w[b + n] = value_b


@compiled
def _rates(I, F, w, k, s, state, x, dx):  # noqa: E741
    """dx/dt of states and heat integrals under the conditions in w; `x` are the true temperatures of `state`."""
    E, flow, T_in, T_out, heat = I[W_E], I[W_FLOW], I[W_T_IN], I[W_T_OUT], I[W_HEAT]
    pickup, heated, pull = I[W_PICKUP], I[W_OWN], I[W_PULL]
    a, b, node_T, node_m, reads = I[W_A], I[W_B], I[W_NODE_T], I[W_NODE_M], I[W_SENSOR_GAS]
    node_w = I[W_NODE_W]
    n_fields, n_loops, n_ducts, n_sensors = I[H_FIELDS], I[H_LOOPS], I[H_DUCTS], I[H_SENSORS]
    field_first, field_count, passes = I[H_FIELD_FIRST], I[H_FIELD_COUNT], I[H_PASSES]
    loop_pass, duct_pass = I[H_LOOP_PASS], I[H_DUCT_PASS]
    n_charge = I[loop_pass]
    engine_metal = F[S_ENGINE_METAL]
    now = I[H_INPUTS] + k * I[H_WIDTH]
    then = now + I[H_WIDTH] if k + 1 < I[H_SAMPLES] else now
    r = 1.0 - s
    bay = r * F[now + IN_BAY] + s * F[then + IN_BAY]
    ambient = r * F[now + IN_AMBIENT] + s * F[then + IN_AMBIENT]
    humidity = r * F[now + IN_HUMIDITY] + s * F[then + IN_HUMIDITY]
    running = r * F[now + I[H_IN_RUNNING]] + s * F[then + I[H_IN_RUNNING]]
    gas = I[W_GAS]
    charge, T_charge, T_second = w[gas], w[gas + 1], w[gas + 2]
    handled = 0.0
    fastest = 1.0 / F[S_FEEDBACK_TIME]

    # what sources add is kept apart: conditions that are held from stage to stage must not gather it
    for f in range(n_fields):
        w[heated + f] = w[I[W_PUMP] + f]
    _sources(I, F, w, x, now, then, s, charge)

    # --- heat from surroundings and pumps into every node; `pull` gathers what relaxes each field's nodes, W/K
    for f in range(n_fields):
        code = I[I[H_FIELD_AROUND] + f]
        around = bay if code == BAY else ambient if code == AMBIENT else engine_metal
        g = F[I[H_FIELD_PICKUP] + f]
        own = w[heated + f] / I[field_count + f]
        total = 0.0
        for i in range(I[field_first + f], I[field_first + f] + I[field_count + f]):
            q = g * (around - x[i])
            w[E + i] = q + own
            total += q
        w[pickup + f] = total
        w[pull + f] = g
        handled += abs(total) + abs(w[heated + f])

    # --- coolant: mix at the nodes of each loop, then every pass
    for loop in range(n_loops):
        nodes = I[I[H_LOOP_NODES] + loop]
        for node in range(nodes):
            w[node_T + node] = 0.0
            w[node_m + node] = 0.0
        for p in range(I[loop_pass + loop], I[loop_pass + loop + 1]):
            row = passes + p * WIDTH
            lanes = I[row + P_LANES]
            at = I[field_first + I[row + P_LIQUID]]
            node = I[row + P_IN]
            if w[flow + p] >= 0.0:
                at += (I[row + P_CELLS] - 1) * I[row + P_CELL_STEP]
                node = I[row + P_OUT]
            out = 0.0
            for j in range(lanes):
                out += x[at + j * I[row + P_LANE_STEP]]
            out /= lanes
            w[T_out + p] = out
            m = abs(w[flow + p]) + TRICKLE
            w[node_m + node] += m
            w[node_T + node] += m * out
        for node in range(nodes):
            w[node_T + node] /= max(w[node_m + node], TRICKLE)
        cp = F[I[H_LOOP_CAPACITY] + loop] / F[I[H_LOOP_DENSITY] + loop]
        for p in range(I[loop_pass + loop], I[loop_pass + loop + 1]):
            row = passes + p * WIDTH
            T = w[node_T + (I[row + P_IN] if w[flow + p] >= 0.0 else I[row + P_OUT])]
            lanes, cells, liquid, wall = I[row + P_LANES], I[row + P_CELLS], I[row + P_LIQUID], I[row + P_WALL]
            c = w[flow + p] * cp / lanes
            g = 0.0
            if wall >= 0:
                g = w[(a if I[row + P_SIDE] == 0 else b) + I[row + P_TABLE]] / (lanes * cells)
                w[pull + wall] += g
                _film(x, w, E, g, I[field_first + wall], I[field_first + liquid], lanes * cells)
            back = F[I[H_PASS_BACKMIX] + p] * abs(c)
            w[pull + liquid] += abs(c) + g + 2.0 * back
            if back > 0.0:
                origin = I[field_first + liquid]
                for n in range(origin, origin + cells - 1):
                    q = back * (x[n + 1] - x[n])
                    w[E + n] += q
                    w[E + n + 1] -= q
            _carry(x, w, E, T, c, I[field_first + liquid], lanes, cells, I[row + P_LANE_STEP], I[row + P_CELL_STEP])
            w[T_in + p] = T
            w[heat + p] = 0.0
        for sensor in range(n_sensors):
            if I[I[H_SENSOR_SORT] + sensor] != CHARGE and I[I[H_SENSOR_PATH] + sensor] == loop:
                node = I[I[H_SENSOR_NODE] + sensor]
                w[reads + sensor] = w[node_T + node] if node >= 0 else w[T_out + I[I[H_SENSOR_PASS] + sensor]]

    water = 0.0
    # --- gas: the charge chain (chain 0), then every duct, each in walk order and mixed at its nodes by flow
    for chain in range(n_ducts + 1):
        is_charge = chain == 0
        begin, end = (0, n_charge) if is_charge else (I[duct_pass + chain - 1], I[duct_pass + chain])
        nodes = I[H_CHARGE_NODES] if is_charge else I[I[H_DUCT_NODES] + chain - 1]
        cp = F[S_CP_CHARGE] if is_charge else F[S_CP_AIR]
        for node in range(nodes):
            w[node_T + node] = 0.0
            w[node_m + node] = 0.0
            w[node_w + node] = 0.0
        start = T_charge
        if not is_charge:
            at = I[H_IN_RECIRCULATION] + chain - 1
            start = ambient + (r * F[now + at] + s * F[then + at]) * (x[I[H_I_DUCT] + chain - 1] - ambient)
        w[node_T] = start
        w[node_m] = 1.0
        w[node_w] = humidity
        last = 0
        for p in range(begin, end):
            row = passes + p * WIDTH
            node = I[row + P_IN]
            T = w[node_T + node] / w[node_m + node]
            lanes, wall = I[row + P_LANES], I[row + P_WALL]
            m = w[flow + p]
            c = m * cp / lanes
            q = 0.0
            latent = 0.0
            vapour = w[node_w + node] / w[node_m + node]
            if wall >= 0:
                # near rest the cubic swings a little over 1, which would carry gas past its wall's temperature
                e = min(w[(a if I[row + P_SIDE] == 0 else b) + I[row + P_TABLE]], 1.0)
                past = F[I[H_PASS_BYPASS] + p]
                c *= 1.0 - past
                origin, cells, lane_step, cell_step = (
                    I[field_first + wall],
                    I[row + P_CELLS],
                    I[row + P_LANE_STEP],
                    I[row + P_CELL_STEP],
                )
                wet = I[I[H_PASS_WET] + p]
                if wet > 0:
                    at = I[H_IN_PRESSURE] + wet - 1
                    pressure = r * F[now + at] + s * F[then + at]
                    dry = m * (1.0 - past) / (lanes * (1.0 + humidity))
                    out, q, left, fallen, latent = _wet_gas(
                        F,
                        x,
                        w,
                        E,
                        I[W_LANE],
                        I[W_LANE_W],
                        T,
                        vapour,
                        c,
                        dry,
                        e,
                        pressure,
                        origin,
                        lanes,
                        cells,
                        lane_step,
                        cell_step,
                    )
                    vapour = (1.0 - past) * left + past * vapour
                    if fallen > 0.0:
                        water += fallen
                        w[pull + wall] += WET_PULL * c * e
                else:
                    out, q = _gas(x, w, E, I[W_LANE], T, c, e, origin, lanes, cells, lane_step, cell_step)
                out = (1.0 - past) * out + past * T
                w[pull + wall] += c * e
            elif I[row + P_TABLE] == SECOND_STAGE:
                out = T_second
                dx[I[H_I_BETWEEN]] = (T - x[I[H_I_BETWEEN]]) / F[S_FEEDBACK_TIME]
                w[I[W_CHARGE] + 3] = T
                w[I[W_CHARGE] + 4] = out
            elif I[row + P_TABLE] <= INJECTION:
                out, evaporated = _injected(I, F, INJECTION - I[row + P_TABLE], T, now, then, s)
                vapour += evaporated
            else:
                own = running * F[I[H_DUCT_HEAT] + p]
                out = T + min(own / max(c * lanes, 1.0), max(FACE_HOTTEST - start, 0.0))
            w[T_in + p] = T
            w[T_out + p] = out
            w[heat + p] = q if is_charge else -q
            w[I[W_WET_HEAT] + p] = latent
            last = I[row + P_OUT]
            m += TRICKLE
            w[node_T + last] += m * out
            w[node_m + last] += m
            w[node_w + last] += m * vapour
        leaving = w[node_T + last] / w[node_m + last]
        if is_charge:
            dx[I[H_I_FEED]] = (leaving - x[I[H_I_FEED]]) / F[S_FEEDBACK_TIME]
            w[I[W_CHARGE]], w[I[W_CHARGE] + 1], w[I[W_CHARGE] + 2] = charge, T_charge, leaving
            for sensor in range(n_sensors):
                if I[I[H_SENSOR_SORT] + sensor] == CHARGE:
                    node = I[I[H_SENSOR_NODE] + sensor]
                    gas = w[T_out + I[I[H_SENSOR_PASS] + sensor]]
                    w[reads + sensor] = w[node_T + node] / w[node_m + node] if node >= 0 else gas
        else:
            at = I[H_I_DUCT] + chain - 1
            dx[at] = (leaving - x[at]) / DUCT_TIME
            w[I[W_DUCT_OUT] + chain - 1] = leaving

    # --- rates of change
    _melt(I, F, w, E, state, x, dx)
    for f in range(n_fields):
        inverse = 1.0 / F[I[H_FIELD_CAPACITY] + f]
        fastest = max(fastest, w[pull + f] * inverse)
        for i in range(I[field_first + f], I[field_first + f] + I[field_count + f]):
            dx[i] = w[E + i] * inverse
    for sensor in range(n_sensors):
        code = I[I[H_SENSOR_AROUND] + sensor]
        around = bay if code == BAY else ambient if code == AMBIENT else engine_metal
        boss, reading, table = I[H_I_BOSS] + sensor, I[H_I_READING] + sensor, I[I[H_SENSOR_TABLE] + sensor]
        gas = w[reads + sensor]
        dx[boss] = (around - x[boss]) * F[I[H_SENSOR_BOSS_RATE] + sensor]
        dx[reading] = (gas + w[a + table] * (x[boss] - gas) - x[reading]) * w[b + table]
        fastest = max(fastest, w[b + table])

    _integrals(I, w, dx, water, handled)
    w[I[W_RATE]] = fastest


@compiled
def derivative(I, F, w, k, s, x, combo, dx):  # noqa: E741 - I for integers, as F for floats
    """dx/dt of states and heat integrals at share s of the way from sample k to k + 1; fills the scratch w.

    `combo` holds the command combination of each loop, then of each duct, held over the interval.
    Order: all flows; the coefficients that depend on them; surroundings and pumps; coolant passes
    (outlets are states, so their order is free); the charge chain and the duct chains (gas is
    algebraic, walked in flow order); sensors; heat integrals.
    """
    y = _temperatures(I, F, w, x)
    _conditions(I, F, w, k, s, y, combo)
    _rates(I, F, w, k, s, x, y, dx)


@compiled
def _ends(I, F, w, k, x, combo):  # noqa: E741
    """Conditions at a step's begin, as w holds them, and at its end with the states of the begin, put by in w."""
    first, now, then = I[W_FLOW], I[W_NOW], I[W_THEN]
    for i in range(then - now):
        w[now + i] = w[first + i]
    _conditions(I, F, w, k, 1.0, _temperatures(I, F, w, x), combo)
    for i in range(then - now):
        w[then + i] = w[first + i]


@compiled
def _along(I, w, s):  # noqa: E741
    """Conditions at share s of the way from those of a step's begin to those of its end."""
    first, now, then = I[W_FLOW], I[W_NOW], I[W_THEN]
    r = 1.0 - s
    for i in range(then - now):
        w[first + i] = r * w[now + i] + s * w[then + i]


@compiled
def _command(I, F, w, x, wanted, level, combo):  # noqa: E741
    """Decide every device's level (hysteresis on states; `wanted` below 0) and form the command combinations."""
    n_loops = I[H_LOOPS]
    combo[:] = 0
    x = _temperatures(I, F, w, x)
    for device in range(level.size):
        if wanted[device] >= 0:
            level[device] = wanted[device]
        else:
            T = -1.0e9
            if I[I[H_CONTROL_STATE] + device] >= 0:
                T = x[I[I[H_CONTROL_STATE] + device]]
            else:
                for loop in range(n_loops):
                    if I[I[H_CONTROL_LOOPS] + device * max(n_loops, 1) + loop]:
                        mean = 0.0
                        for p in range(I[I[H_LOOP_PASS] + loop], I[I[H_LOOP_PASS] + loop + 1]):
                            f = I[I[H_PASSES] + p * WIDTH + P_LIQUID]
                            mean += F[I[H_LOOP_WEIGHT] + p] * x[I[I[H_FIELD_FIRST] + f] + I[I[H_FIELD_COUNT] + f] // 2]
                        T = max(T, mean)
            if F[I[H_CONTROL_ON] + device] < T:
                level[device] = I[I[H_LEVEL_ON] + device]
            elif F[I[H_CONTROL_OFF] + device] > T or level[device] < 0:
                level[device] = I[I[H_LEVEL_OFF] + device]
        if I[I[H_COMBO_LOOP] + device] >= 0:
            combo[I[I[H_COMBO_LOOP] + device]] += level[device] * I[I[H_COMBO_STRIDE] + device]
        else:
            combo[n_loops + I[I[H_COMBO_DUCT] + device]] += level[device] * I[I[H_COMBO_STRIDE] + device]


@compiled
def _record(I, w, x, stream, scalar):  # noqa: E741
    """Copy what one evaluation found into the rows of the traces."""
    for p in range(I[H_N_PASSES]):
        stream[p, 0] = w[I[W_T_IN] + p]
        stream[p, 1] = w[I[W_T_OUT] + p]
        stream[p, 2] = w[I[W_FLOW] + p]
        stream[p, 3] = w[I[W_WET_HEAT] + p]
    for i in range(3):
        scalar[i] = w[I[W_CHARGE] + i]
    scalar[3] = x[I[H_I_FEED]]
    at = 4
    for sensor in range(I[H_SENSORS]):
        scalar[at + sensor] = x[I[H_I_READING] + sensor]
    at += I[H_SENSORS]
    for loop in range(I[H_LOOPS]):
        scalar[at + loop] = w[I[W_LOOP_T] + loop]
    at += I[H_LOOPS]
    for d in range(I[H_DUCTS]):
        scalar[at + d] = x[I[H_I_DUCT] + d]
    at += I[H_DUCTS]
    scalar[at] = w[I[W_WATER]]
    scalar[at + 1] = x[I[H_I_BETWEEN]] if I[H_STAGES] > 1 else 0.0
    scalar[at + 2] = w[I[W_CHARGE] + 4]
    for z in range(I[H_ICED]):
        scalar[at + 3 + z] = x[I[H_I_ICE] + z]


@compiled
def march(I, F, w, x, wanted, spacing, quick, parts, streams, scalars, levels, peak_x):  # noqa: E741
    """March x over every sample; returns (steps, most sub-steps, sample of the peak).

    `wanted` (n, devices) command levels, below 0 where a device's own control decides; `spacing` (n - 1,) steps of
    the plant from each sample to the next; `quick` for a scheme of second order; `parts`
    multiplies the sub-steps (2 for the step check).  `streams` (n, P, 4), `scalars`
    (n, 7 + S + L + D + Z) and `levels` (n, devices) are filled at sample times; `peak_x` gets the
    states at the highest plenum temperature under boost.
    Scheme: SSPRK(4,3), Spiteri and Ruuth 2002 (from memory), aligned with the samples: three
    half-steps, a blend with the step's start, one more half-step.  The quick one is SSPRK(s,2) (same source): s
    stages that pass a step of s - 1 where a sub-step of the other, of four, passes 2; no sub-steps then.  In a step
    of more than `FEW_STAGES` coolant flows and the coefficients are taken along a line between its ends.
    """
    n = I[H_SAMPLES]
    size = x.size
    dx = np.empty(size)
    y = np.empty(size)
    combo = np.zeros(I[H_LOOPS] + I[H_DUCTS], np.int64)
    level = np.full(I[H_DEVICES], -1, np.int64)
    steps, most, peak, peak_T = 0, 1, 0, -1.0
    any_boost = False
    for k in range(n):
        any_boost |= I[I[H_BOOST] + k] != 0
    for k in range(n):
        _command(I, F, w, x, wanted[k], level, combo)
        levels[k] = level
        derivative(I, F, w, k, 0.0, x, combo, dx)
        _record(I, w, x, streams[k], scalars[k])
        plenum = w[I[W_CHARGE] + 2]
        if (I[I[H_BOOST] + k] or not any_boost) and plenum > peak_T:
            peak_T = plenum
            peak = k
            peak_x[:] = x
        if k == n - 1:
            break
        step = F[S_STEP] * spacing[k]
        if quick:
            stages = max(1, int(np.ceil(step * w[I[W_RATE]])))
            held = stages > FEW_STAGES
            last = stages * parts
            most = max(most, last)
            part = step / last
            y[:] = x
            if held:
                _ends(I, F, w, k, x, combo)
            for stage in range(last):
                for i in range(size):
                    y[i] += part * dx[i]
                s = (stage + 1.0) / last
                if held:
                    true_y = _temperatures(I, F, w, y)
                    _along(I, w, s)
                    _charge_flows(I, F, w, k, s, true_y)
                    _duct_flows(I, F, w, k, s, true_y, combo)
                    _rates(I, F, w, k, s, y, true_y, dx)
                else:
                    derivative(I, F, w, k, s, y, combo, dx)
            for i in range(size):
                x[i] = (x[i] + last * (y[i] + part * dx[i])) / (last + 1.0)
            steps += 1
            continue
        m = max(1, int(np.ceil(step * w[I[W_RATE]] / 2.0))) * parts
        most = max(most, m)
        half = 0.5 * step / m
        for sub in range(m):
            s = sub / m
            if sub > 0:
                derivative(I, F, w, k, s, x, combo, dx)
            for i in range(size):
                y[i] = x[i] + half * dx[i]
            derivative(I, F, w, k, s + 0.5 / m, y, combo, dx)
            for i in range(size):
                y[i] += half * dx[i]
            derivative(I, F, w, k, s + 1.0 / m, y, combo, dx)
            steps += 1
            for i in range(size):
                y[i] = (2.0 * x[i] + y[i] + half * dx[i]) / 3.0
            derivative(I, F, w, k, s + 0.5 / m, y, combo, dx)
            for i in range(size):
                x[i] = y[i] + half * dx[i]
    return steps, most, peak
