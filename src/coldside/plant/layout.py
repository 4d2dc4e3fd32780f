"""The arrays that the kernel and its readable twin share: one named tuple, no units, no names, no objects.

A plant is a set of *fields* (blocks of equal temperature nodes: the metal of a core, the coolant in a
hose) and *passes* (one stream through one part: a gas sliding along wall nodes, or a liquid mixed
cell by cell).  A part is one or two passes over its fields: nothing else is special about its kind.
`plant/assemble.py` fills the arrays, `plant/kernel.py` and `plant/reference.py` read them.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

CHARGE, COOLANT, COOLING = 0, 1, 2  # sort of path a pass lies on
BAY, ENGINE, AMBIENT = 0, 1, 2  # what a field takes heat from
FEEDBACK_TIME = 0.1  # s, of `feedback_time` as a rule: about the charge tract's residence time
DUCT_TIME = 1.0  # s: how fast a duct's density follows its own air temperature
FACE_HOTTEST = 383.15  # K: a face with a heat of its own warms air at ambient no further (its coolant would boil)
TOTAL_CHARGE = -2  # in table_flow: the whole charge flow instead of one pass's
FEED_NODES = 9  # plenum temperatures, equally spaced, at which the charge side is tabulated; held beyond them
BETWEEN_NODES = 4  # temperatures between two compressors, equally spaced, for a two-stage charge side
SECOND_STAGE = -2  # in P_TABLE of a charge pass without a wall: the second compressor
INJECTION = -10  # in P_TABLE of a charge pass without a wall: injection i is INJECTION - i
# columns of `inputs`; what follows the ducts' air speeds begins at in_recirculation, in_pressure ... (COUNTS)
IN_FLOW, IN_OUT, IN_BAY = 0, FEED_NODES, 2 * FEED_NODES
IN_AMBIENT, IN_HUMIDITY, IN_SPEED = IN_BAY + 1, IN_BAY + 2, IN_BAY + 3
LIMIT_BLOCK = 2  # columns of one heat source: K of its field's middle node at which a spray takes nothing, J/(kg K)
STAGE_BLOCK = 3 * FEED_NODES  # columns of one node between the stages: flow x T_feed, first and second outlet
INJECTION_BLOCK = 5  # columns of one injection: two lines a + b T of what leaves, all evaporated and saturated; water

# columns of `passes`
P_SORT, P_PATH, P_WALL, P_LIQUID, P_LANES, P_CELLS, P_LANE_STEP, P_CELL_STEP, P_IN, P_OUT, P_TABLE, P_SIDE, P_COLUMN = (
    range(13)
)


class Arrays(NamedTuple):
    """A plant as arrays; SI, absolute pressure, kelvin.

    Sizes: F fields, P passes, L loops, D ducts, S sensors, K tables, n samples.
    """

    step: float  # s between samples
    feedback_time: float  # s: how fast the engine's flow answers plenum temperature
    # (n, columns): flow x T_feed and first compressor's outlet at the nodes, bay T, ambient T, its water in kg of
    # vapour per kg of dry air, duct air speeds; then per duct the share of its air's rise that comes back, charge
    # pressure behind and between compressors, 1 where the engine runs, heat sources, the two limits of each
    # (LIMIT_BLOCK), injections, and with two stages STAGE_BLOCK columns for each node between them
    inputs: np.ndarray
    feed: np.ndarray  # (FEED_NODES,) plenum temperatures of those nodes
    engine_metal: float
    cp_charge: float
    cp_air: float
    vapour_a: float  # saturation pressure over water exp(a - b/(T - c)), Pa
    vapour_b: float
    vapour_c: float
    enhancement: float  # what air makes of that: times enhancement + enhancement_rise p
    enhancement_rise: float
    vapour_ratio: float  # molar mass of water over that of dry air
    latent: float  # J/kg, heat of evaporation at 0 degC
    cp_vapour: float
    cp_water: float  # of condensate
    between: np.ndarray  # (BETWEEN_NODES,) temperatures between two compressors at the nodes, or zeros
    boost: np.ndarray  # (n,) bool as int8: where the peak is looked for
    # fields: blocks of equal nodes
    field_first: np.ndarray  # (F,) first state
    field_count: np.ndarray  # (F,)
    field_capacity: np.ndarray  # (F,) J/K of one node
    field_pickup: np.ndarray  # (F,) W/K of one node to its surroundings
    field_around: np.ndarray  # (F,) BAY, ENGINE or AMBIENT
    field_loop: np.ndarray  # (F,) loop whose pump heats this field, or -1
    field_column: np.ndarray  # (F,) its column in that loop's heat table
    # passes
    passes: np.ndarray  # (P, 13) int; charge passes first, then loop by loop, then duct by duct, each in walk order
    pass_bypass: np.ndarray  # (P,) share of a gas pass that slips past its walls
    pass_backmix: np.ndarray  # (P,) share of a liquid pass's flow that is carried back between neighbouring cells
    pass_wet: np.ndarray  # (P,) 0 dry, 1 or 2: water may condense, at the pressure behind or between the compressors
    loop_pass: np.ndarray  # (L + 1,) first pass of each loop; the last entry is where the ducts' passes begin
    duct_pass: np.ndarray  # (D + 1,) first pass of each duct; the last entry is P
    # tables of coefficients: two values against one or two flows and coolant temperature
    table_first: np.ndarray  # (K,) offset into values
    table_shape: np.ndarray  # (K, 3) nodes in T, flow 1 (padded), flow 2 (padded, or 1)
    table_flow: np.ndarray  # (K, 2) pass whose flow is the axis, TOTAL_CHARGE, or -1
    table_scale: np.ndarray  # (K, 2) flow at u = 1
    table_step: np.ndarray  # (K, 3) step in T, u1, u2
    table_origin: np.ndarray  # (K,) lowest T
    table_loop: np.ndarray  # (K,) loop whose temperature is the axis, or -1
    values_a: np.ndarray
    values_b: np.ndarray
    # charge side
    charge_nodes: int
    share: np.ndarray  # (nodes in u, P) share of the whole charge flow in each charge pass
    share_scale: float  # flow at u = 1
    share_step: float
    # loops
    loop_nodes: np.ndarray  # (L,)
    loop_capacity: np.ndarray  # (L,) rho cp, J/(m3 K)
    loop_density: np.ndarray  # (L,)
    loop_weight: np.ndarray  # (P,) share of the loop's coolant in this pass, for the loop's mean temperature
    loop_first: np.ndarray  # (L,) offset into loop_flow
    loop_shape: np.ndarray  # (L, 3) command combinations, temperatures, links
    loop_origin: np.ndarray  # (L,)
    loop_step: np.ndarray  # (L,)
    loop_flow: np.ndarray  # m3/s
    loop_heat: np.ndarray  # W put into each link by its pump
    # ducts
    duct_nodes: np.ndarray  # (D,)
    duct_first: np.ndarray  # (D,)
    air_low: float  # K, lowest ambient temperature at which duct flows are tabulated
    air_step: float  # K between those levels
    # (D, 5) command combinations, ambient temperatures, rises of the duct's air over them, speeds (padded), links
    duct_shape: np.ndarray
    duct_origin: np.ndarray  # (D, 1) lowest of those rises
    duct_step: np.ndarray  # (D, 2) step in T, step in sqrt(speed)
    duct_flow: np.ndarray  # kg/s
    duct_heat: (
        np.ndarray
    )  # (P,) W that a face without a loop gives the air while the engine runs (passes without fields)
    # heat sources: watts (or J per kg of charge) put into a field, or taken out of it by a spray
    source_field: np.ndarray  # (H,)
    source_scaled: np.ndarray  # (H,) 1: the column is J per kg of charge
    source_pass: np.ndarray  # (H,) air pass that carries a spray's vapour off, or -1: no limit
    # ice: nodes of liquid fields in which it floats; their state is the temperature that the node's heat, counted from
    # ice_reference, would give its first coolant alone, so that heat and mass stay linear in the states
    ice_node: np.ndarray  # (Z,) state
    ice_mass: np.ndarray  # (Z,) kg at the start
    ice_film: np.ndarray  # (Z,) W/K at the start
    ice_exponent: np.ndarray  # (Z,) film falls as the remaining share to this power
    ice_latent: np.ndarray  # (Z,) J/kg
    ice_cp: np.ndarray  # (Z,) J/(kg K) of what melts
    ice_capacity: np.ndarray  # (Z,) J/K of the node without what melts
    ice_melt: np.ndarray  # (Z, 3) melting point against the melted share m: a + b m + c m^2, K
    # sensors
    sensor_sort: np.ndarray  # (S,) CHARGE or COOLANT
    sensor_path: np.ndarray  # (S,) loop
    sensor_node: np.ndarray  # (S,) node whose mixed stream it reads, or -1
    sensor_pass: np.ndarray  # (S,) pass whose outlet it reads, where it reads no node
    sensor_table: np.ndarray  # (S,) a = weight of the boss, b = 1 / time constant
    sensor_around: np.ndarray  # (S,)
    sensor_boss_rate: np.ndarray  # (S,) 1/s
    # states: fields, then feed temperature, duct temperatures, bosses, readings, gas between two stages, ice left;
    # then the accumulators
    n_states: int
    i_feed: int
    i_duct: int
    i_boss: int
    i_reading: int
    i_between: int  # state of the gas between two compressors (valid with two stages)
    i_ice: int  # first state of ice left, kg
    stages: int  # compressors in a row: 1 or 2
    in_recirculation: int
    in_pressure: int
    in_running: int  # 1 where the engine runs
    in_source: int
    in_limit: int
    in_injection: int
    in_stage: int
    # devices (pumps and fans) and how they are commanded
    level: np.ndarray  # (n, devices) index into the device's command levels, -1 = its own control decides
    combo_loop: np.ndarray  # (devices,) loop it moves, or -1
    combo_duct: np.ndarray  # (devices,) duct it moves, or -1
    combo_stride: np.ndarray  # (devices,) weight of its level in the combination index
    control_state: np.ndarray  # (devices,) state that its control reads, or -1: the hottest of control_loops
    control_loops: np.ndarray  # (devices, L) int8
    control_on: np.ndarray  # (devices,)
    control_off: np.ndarray  # (devices,)
    level_on: np.ndarray  # (devices,) level index when its control says on
    level_off: np.ndarray  # (devices,)


# Numba counts references of every array that a function takes out of a tuple, which costs more than the
# arithmetic, so the kernel gets two packed arrays: integers and floats.  The integers begin with a header
# that says where each member starts.
# fmt: off
SCALARS = (  # first in the floats
    "step", "feedback_time", "engine_metal", "cp_charge", "cp_air", "air_low", "air_step",
    "vapour_a", "vapour_b", "vapour_c",
    "enhancement", "enhancement_rise", "vapour_ratio", "latent", "cp_vapour", "cp_water", "share_scale",
    "share_step",
)
COUNTS = (
    "charge_nodes", "n_states", "i_feed", "i_duct", "i_boss", "i_reading", "i_between", "i_ice", "stages",
    "in_recirculation", "in_pressure", "in_running", "in_source", "in_limit", "in_injection", "in_stage",
)
# fmt: on
LEFT_OUT = ("level",)  # the march takes it by itself: a step check replays recorded levels
MEMBERS = tuple(name for name in Arrays._fields if name not in SCALARS + COUNTS + LEFT_OUT)
# fmt: off
SIZES = (
    "samples", "width", "fields", "n_passes", "tables", "loops", "ducts", "sensors", "share_nodes", "devices",
    "sources", "iced",
)
# fmt: on
# fmt: off
SCRATCH = (
    "E", "flow", "pump", "a", "b", "loop_T", "gas", "now", "then", "T_in", "T_out", "heat", "wet_heat", "pickup",
    "own", "pull", "node_T", "node_m", "node_w", "lane", "lane_w", "duct_out", "sensor_gas", "charge", "rate", "state",
    "water",
)
# fmt: on
HEADER = MEMBERS + COUNTS + SIZES + SCRATCH


class Packed(NamedTuple):
    """A plant as the kernel takes it: `I` integers with the header in front, `F` floats with the scalars in front."""

    I: np.ndarray  # noqa: E741 - the field's own name for integers would be longer than its use
    F: np.ndarray


class Work(NamedTuple):
    """Scratch that one evaluation of the derivative leaves behind; views into `packed`, which the kernel takes."""

    packed: np.ndarray
    E: np.ndarray  # (states,) net heat into each node, W
    # from here to `gas`, side by side: what follows from flows and commands, and heat comes after
    flow: np.ndarray  # (P,) kg/s, signed
    pump: np.ndarray  # (F,) W of pumps and chillers
    a: np.ndarray  # (K,)
    b: np.ndarray  # (K,)
    loop_T: np.ndarray  # (L,)
    gas: np.ndarray  # (3,) charge flow, what leaves the first compressor and the second
    now: np.ndarray  # all of that at a step's begin, and at its end, for a march that moves it along a line
    then: np.ndarray
    T_in: np.ndarray  # (P,)
    T_out: np.ndarray  # (P,)
    heat: np.ndarray  # (P,) W into the wall (charge) or to the air (cooling)
    wet_heat: np.ndarray  # (P,) W of it that condensing vapour gave
    pickup: np.ndarray  # (F,)
    own: np.ndarray  # (F,) W of pumps, the engine, sprays and chillers
    pull: np.ndarray  # (F,) W/K that relaxes one node
    node_T: np.ndarray  # (most nodes of any path,)
    node_m: np.ndarray
    node_w: np.ndarray  # vapour carried, kg of vapour per kg of dry air times flow
    lane: np.ndarray  # (most lanes,)
    lane_w: np.ndarray  # vapour in each lane
    duct_out: np.ndarray  # (D,)
    sensor_gas: np.ndarray  # (S,)
    charge: np.ndarray  # (5,) flow, first compressor's outlet T, plenum gas T, second stage's inlet and outlet T
    rate: np.ndarray  # (1,) largest diagonal rate, 1/s
    state: np.ndarray  # (states,) temperatures with iced nodes put right; unused without ice
    water: np.ndarray  # (1,) kg/s that condenses from the charge


def accumulators(arrays: Arrays) -> int:
    """Integrals behind the states: heat, one a pass and two a field; condensed water; all heat handled."""
    return len(arrays.passes) + 2 * len(arrays.field_first) + 2


def _scratch_sizes(arrays: Arrays) -> list[int]:
    n_pass, n_field, n_table = len(arrays.passes), len(arrays.field_first), len(arrays.table_first)
    nodes = int(max([arrays.charge_nodes, *arrays.loop_nodes.tolist(), *arrays.duct_nodes.tolist()]))
    lanes = int(max(arrays.passes[:, P_LANES].max(initial=1), 1))
    held = [n_pass, n_field, n_table, n_table, len(arrays.loop_nodes), 3]
    return [
        arrays.n_states,
        *held,
        sum(held),
        sum(held),
        n_pass,
        n_pass,
        n_pass,
        n_pass,
        n_field,
        n_field,
        n_field,
        nodes,
        nodes,
        nodes,
        lanes,
        lanes,
        len(arrays.duct_nodes),
        len(arrays.sensor_sort),
        5,
        1,
        arrays.n_states,
        1,
    ]


def new_work(arrays: Arrays) -> Work:
    """Scratch for one thread."""
    sizes = _scratch_sizes(arrays)
    packed = np.zeros(sum(sizes))
    ends = np.cumsum(sizes)
    return Work(packed, *(packed[end - size : end] for size, end in zip(sizes, ends, strict=True)))


def pack(arrays: Arrays) -> Packed:
    """Put all arrays of a plant into one of integers and one of floats, with the header in front."""
    integers: list[np.ndarray] = [np.zeros(len(HEADER), dtype=np.int64)]
    floats: list[np.ndarray] = [np.array([float(getattr(arrays, name)) for name in SCALARS])]
    place = {"I": len(HEADER), "F": len(SCALARS)}
    header = integers[0]
    for i, name in enumerate(MEMBERS):
        values = np.asarray(getattr(arrays, name)).ravel()
        kind, pile = ("I", integers) if np.issubdtype(values.dtype, np.integer) else ("F", floats)
        header[i] = place[kind]
        place[kind] += values.size
        pile.append(values.astype(np.int64) if kind == "I" else values)
    sizes = (
        len(arrays.inputs),
        arrays.inputs.shape[1],
        len(arrays.field_first),
        len(arrays.passes),
        len(arrays.table_first),
        len(arrays.loop_nodes),
        len(arrays.duct_nodes),
        len(arrays.sensor_sort),
        len(arrays.share),
        arrays.level.shape[1],
        len(arrays.source_field),
        len(arrays.ice_node),
    )
    counts = [int(getattr(arrays, name)) for name in COUNTS]
    scratch = np.cumsum([0, *_scratch_sizes(arrays)])[:-1]
    header[len(MEMBERS) :] = [*counts, *sizes, *scratch]
    return Packed(np.concatenate(integers), np.concatenate(floats))
