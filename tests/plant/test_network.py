"""Flow networks: check cases of the loop notes, closed forms of random series and parallel trees, stopped pumps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.loops import HYDRAULIC, LITRE_MIN, parabola
from cases.record import failures
from coldside.build.model import Parallel, Path, names_on
from coldside.errors import NoAnswer
from coldside.parts import lines
from coldside.parts.lines import HoseSpec, ValveSpec
from coldside.parts.pump import PumpSpec, pressure_rise, speed_of
from coldside.plant.flows import loop_flows
from coldside.plant.network import LinkLoss, Network, network_of, solve
from generators import AIR_CORE, HOSE, TANK, TURBO, build_of


@pytest.mark.parametrize("case", HYDRAULIC, ids=[case.name for case in HYDRAULIC])
def test_case(case):
    assert failures(case) == []


# --- nodes and links ----------------------------------------------------------------------------------------------


def test_each_list_level_is_a_splitter_and_a_mixer():
    path: Path = ("tank", Parallel((("a", Parallel((("b",), ("c", "d")))), ("e",))), "f")
    net = network_of(path, closed=True)
    assert net.names == ("tank", "a", "b", "c", "d", "e", "f")
    ends = {link.name: (link.start, link.end) for link in net.links}
    split, mix = ends["tank"][1], ends["f"][0]
    assert ends["a"][0] == ends["e"][0] == split
    assert ends["b"][1] == ends["d"][1] == ends["e"][1] == mix
    assert ends["c"][0] == ends["b"][0] == ends["a"][1]
    assert ends["f"][1] == 0 == net.outlet
    assert network_of(path, closed=False).outlet == net.nodes  # an open path ends at a node of its own


# --- random trees -------------------------------------------------------------------------------------------------


@st.composite
def trees(draw, depth: int = 2) -> Path:
    """A path of 1 to 3 items; an item is a part or, `depth` levels deep, a group of 2 or 3 branches."""
    items: list[str | Parallel] = []
    for _ in range(draw(st.integers(1, 3))):
        if depth > 0 and draw(st.booleans()):
            items.append(Parallel(tuple(draw(trees(depth=depth - 1)) for _ in range(draw(st.integers(2, 3))))))
        else:
            items.append("part")
    return tuple(items)


def numbered(path: Path, counter: list[int]) -> Path:
    """The same path with names that differ."""
    found: list[str | Parallel] = []
    for item in path:
        if isinstance(item, Parallel):
            found.append(Parallel(tuple(numbered(branch, counter) for branch in item.branches)))
        else:
            counter[0] += 1
            found.append(f"part{counter[0]}")
    return tuple(found)


def whole(path: Path, R: dict[str, float]) -> float:
    """Resistance of a tree of quadratic losses: series add, parallel 1/sqrt(R) add (loop note a6)."""
    return sum(
        R[item] if isinstance(item, str) else sum(whole(branch, R) ** -0.5 for branch in item.branches) ** -2.0
        for item in path
    )


def imbalance(net: Network, q: np.ndarray, through: float) -> float:
    """Largest sum of flows at any node."""
    sums = np.zeros(net.nodes)
    sums[0] += through
    sums[net.outlet] -= through
    for link, flow in zip(net.links, q, strict=True):
        sums[link.start] -= flow
        sums[link.end] += flow
    return float(np.abs(sums).max())


def spread_of_heads(net: Network, lost: dict[str, float]) -> float:
    """Largest difference of head found at one node over different ways, 0 when every branch loses the same."""
    heads = {0: 0.0}
    worst = 0.0
    for link in net.links:  # walk order: a link's start is known before the link
        head = heads[link.start] - lost[link.name]
        worst = max(worst, abs(head - heads.setdefault(link.end, head)))
    return worst


def quadratic(R: float) -> LinkLoss:
    """R q|q| with its own derivative, which is above zero everywhere but at rest."""
    return lambda q: (R * q * np.abs(q), 2.0 * R * np.maximum(np.abs(q), 1e-15))


@given(tree=trees(), seed=st.integers(0, 2**32 - 1))
@settings(max_examples=40, deadline=None)
def test_random_trees_of_quadratic_losses(tree, seed):
    path = numbered(tree, [0])
    random = np.random.default_rng(seed)
    R = {name: 10.0 ** random.uniform(10.0, 13.0) for name in names_on(path)}  # Pa s2/m6: 1 kPa to 10 bar at 20 L/min
    net, flow = network_of(path, closed=False), 20 * LITRE_MIN
    losses = [quadratic(R[name]) for name in net.names]
    q = solve(net, losses, 1, flow, through=np.array([flow]))[0]
    assert imbalance(net, q, flow) < 1e-12  # m3/s, the notes' own
    lost = {name: float(loss(q[k : k + 1])[0][0]) for k, (name, loss) in enumerate(zip(net.names, losses, strict=True))}
    expected = whole(path, R) * flow**2
    # flows settle to 1e-9 of the scale; a branch with a hundredth of the flow then loses the same to 1e-6
    assert spread_of_heads(net, lost) <= 2e-6 * expected
    one_way, here = 0.0, 0
    while here != net.outlet:
        link = next(link for link in net.links if link.start == here)
        one_way, here = one_way + lost[link.name], link.end
    assert one_way == pytest.approx(expected, rel=2e-6)
    # the answer is unique (loop note a6): no start, here two hundred times too small to too large, finds another
    for scale in flow * 10.0 ** random.uniform(-2.3, 2.3, 3):
        again = solve(net, losses, 1, scale, through=np.array([flow]))[0]
        np.testing.assert_allclose(again, q, rtol=0.0, atol=2e-9 * max(scale, flow))


def test_many_points_at_once_are_the_same_as_one_by_one():
    spec, path = PumpSpec(curve=parabola(8.0, 3.2e7, 4.9e-4)), ("pump", Parallel((("one",), ("two", "three"))))
    hose = HoseSpec(length=2.0, bore=0.016, losses=2.0)
    mu = np.geomspace(6e-4, 2.2e-2, 7)

    def answer(viscosity: np.ndarray) -> np.ndarray:
        def lift(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            rise, slope = pressure_rise(spec, q, speed_of(spec, 1.0), 1050.0)
            return -rise, -slope

        def line(q: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            return lines.hose_loss(hose, q, 1050.0, viscosity)

        return solve(network_of(path, closed=True), [lift, line, line, line], len(viscosity), 5e-4)

    together = answer(mu)
    assert together[-1, 0] < together[0, 0]  # thick coolant flows less
    for i in range(len(mu)):
        np.testing.assert_allclose(answer(mu[i : i + 1])[0], together[i], rtol=1e-7)


# --- at rest, stopped, shut ---------------------------------------------------------------------------------------


def test_zero_flow_is_finite_whatever_the_part():
    hose, valve = HoseSpec(length=2.0, bore=0.019, losses=3.0), ValveSpec(bore=0.015, losses=0.0)
    links = [
        lambda q: lines.hose_loss(hose, q, 1050.0, 2e-3),
        lambda q: lines.valve_loss(valve, q, 1050.0, 2e-3),
        lambda q: lines.bench_loss(9e3, 3e-4, 1.75, q),
        lambda q: lines.quadratic_loss(2e3, 0.3, 1.2, q, 1.2),
    ]
    path = (Parallel((("hose", "valve"), ("core", "filter"))),)
    q = solve(network_of(path, closed=False), links, 2, 3e-4, through=np.array([0.0, 3e-4]))
    assert np.all(np.abs(q[0]) < 1e-12)
    assert np.all(np.isfinite(q))


def loop_of(beside: Path, **parts: object):
    """A loop of a pump beside another branch, a hose and a tank, with its commands."""
    spec = PumpSpec(curve=parabola(8.0, 3.2e7, 4.9e-4))
    made = {"turbo": TURBO, "core": AIR_CORE, "tank": TANK, "pump": spec, "hose": replace(HOSE, losses=40.0), **parts}
    build = build_of(made, ("turbo", "core"), (Parallel((("pump",), beside)), "hose", "tank"), ("core",))
    return build, loop_flows(build, build.loops["loop"])


def test_a_stopped_pump_without_a_check_valve_is_a_leak():
    """The shape of loop-C12 in a whole loop: coolant runs back through it, only the running pump heats."""
    second = PumpSpec(curve=parabola(8.0, 3.2e7, 4.9e-4))
    build, flows = loop_of(("second",), second=second)
    q, heat = flows.flow(build, np.full(2, 313.15), {"pump": np.ones(2), "second": np.array([1.0, 0.0])})
    pump, spare, hose = (flows.network.names.index(name) for name in ("pump", "second", "hose"))
    assert q[1, spare] < -0.2 * q[1, pump]
    assert q[1, hose] < q[0, hose]
    assert q[1, pump] + q[1, spare] == pytest.approx(q[1, hose], abs=1e-12)
    assert heat[1, spare] == 0.0 < heat[1, pump]
    assert np.all(heat[:, [hose, flows.network.names.index("tank")]] == 0.0)


def test_a_check_valve_shuts_the_leak_and_costs_little_the_right_way():
    second, valve = PumpSpec(curve=parabola(8.0, 3.2e7, 4.9e-4)), ValveSpec(bore=0.04, losses=0.1, check=True)
    build, flows = loop_of(("second", "valve"), second=second, valve=valve)
    alone, single = loop_of(("second", "valve"), second=second, valve=replace(valve, losses=1e3))
    T, command = np.full(2, 313.15), {"pump": np.ones(2), "second": np.array([0.0, 1.0])}
    q, _ = flows.flow(build, T, command)
    hose, spare = flows.network.names.index("hose"), flows.network.names.index("second")
    assert -1e-8 < q[0, spare] <= 0.0  # 0.6 mL/min, the slope of a shut valve
    closed, _ = single.flow(alone, T, command)
    assert closed[0, hose] == pytest.approx(q[0, hose], rel=1e-4)  # shut is shut, whatever its loss when open
    free, _ = loop_of(("second",), second=second)[1].flow(build, T[1:], {"pump": np.ones(1), "second": np.ones(1)})
    assert q[1, hose] == pytest.approx(free[0, 2], rel=2e-3)


def test_all_pumps_off_is_no_flow_and_no_heat():
    build, flows = loop_of(("second",), second=PumpSpec())
    q, heat = flows.flow(build, np.array([263.15, 313.15]), {"pump": np.zeros(2), "second": np.zeros(2)})
    assert not q.any()
    assert not heat.any()


def test_what_cannot_settle_is_told_with_the_part():
    """A part whose loss jumps at rest by more than what drives it: no flow balances, whatever the steps."""
    with pytest.raises(NoAnswer, match="is the part that keeps changing"):
        solve(
            network_of(("driver", "jump"), closed=True),
            [
                lambda q: (1e6 * q - 5e4, np.full_like(q, 1e6)),
                lambda q: (np.where(q > 0.0, 1e5, -1e5), np.full_like(q, 1e6)),
            ],
            1,
            3e-4,
        )
