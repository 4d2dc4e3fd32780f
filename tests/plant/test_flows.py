"""Flows of ducts, loops and charge branches: check cases, covered strips, natural draught, equal loss, sensors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cases.record import failures, load
from coldside.build.model import Parallel
from coldside.errors import BadInput
from coldside.parts import airflow, lines
from coldside.parts.airflow import DuctSpec, FanSpec
from coldside.parts.core_losses import BENCH_AIR, charge_loss
from coldside.parts.lines import FilterSpec, PipeSpec, ThrottleSpec
from coldside.parts.sensor import SensorSpec
from coldside.plant.flows import BYPASS, Air, Reading, charge_split, duct_flows, without_sensors
from generators import AIR_CORE, EXCHANGER, TURBO, build_of

CASES = load("ducts")
GAPS = "beside faces of duct"
STANDARD = Air(298.15, 101325.0, 0.0)


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


# --- ducts --------------------------------------------------------------------------------------------------------


DUCT = DuctSpec(place="nose", inlet_area=0.08, exit_area=0.1)


def stack(covers: float, fan: FanSpec | None = None, spec: DuctSpec = DUCT):
    """A charge core in front of a share of a radiator, with or without a fan."""
    parts = {"turbo": TURBO, "core": replace(AIR_CORE, covers=covers), "radiator": EXCHANGER} | (
        {"fan": fan} if fan else {}
    )
    build = build_of(parts, ("turbo", "core"), duct=("core", "radiator", *(["fan"] if fan else [])), duct_spec=spec)
    return build, duct_flows(build, build.ducts["duct"])


def test_one_partial_cover_behind_another_is_refused():
    """It was passed over in silence: the radiator's own cover moved nothing."""
    parts = {
        "turbo": TURBO,
        "core": replace(AIR_CORE, covers=0.6),
        "radiator": replace(EXCHANGER, covers=0.5),
        "last": EXCHANGER,
    }
    build = build_of(parts, ("turbo", "core"), duct=("core", "radiator", "last"), duct_spec=DUCT)
    with pytest.raises(
        BadInput, match="radiator cannot cover 50 % of the next part's face: core covers a part"
    ) as caught:
        duct_flows(build, build.ducts["duct"])
    assert caught.value.key == "parts.radiator.covers"


def face_loss(spec, m: float, share: float = 1.0) -> float:
    """Loss of a share of a face at air of 25 degC."""
    return float(
        lines.bench_loss(
            spec.bench_cooling_loss,
            spec.bench_cooling_flow / BENCH_AIR * share,
            spec.cooling_loss_exponent,
            m / 1.1839,
            1.1839 / BENCH_AIR,
        )[0]
    )


@pytest.mark.parametrize("covers", [0.2, 0.6, 0.95])
def test_strips_of_a_covered_face_share_flow_so_that_both_ways_lose_the_same(covers):
    build, flows = stack(covers)
    speed = np.array([8.0, 25.0, 60.0])
    m = flows.flow(build, speed, np.full(3, 298.15), {}, STANDARD)
    names = flows.network.names
    front, beside, behind = (m[:, names.index(name)] for name in ("core", BYPASS + "core", "radiator"))
    np.testing.assert_allclose(front + beside, behind, rtol=1e-9)
    core, radiator = build.parts["core"], build.parts["radiator"]
    for a, b in zip(front, beside, strict=True):
        through = face_loss(core, a) + face_loss(radiator, a, covers)
        around = face_loss(radiator, b, 1.0 - covers)
        assert through == pytest.approx(around, rel=1e-4)  # densities typed to four digits
        assert b / (1.0 - covers) > a / covers  # the open strip is the faster one


def test_a_part_that_covers_the_whole_face_has_no_way_beside_it():
    build, flows = stack(1.0)
    assert flows.network.names == ("core", "radiator")
    whole = flows.flow(build, np.array([25.0]), np.array([298.15]), {}, STANDARD)[0]
    assert whole[0] == pytest.approx(whole[1], rel=1e-12)
    assert whole[0] < stack(0.6)[1].flow(stack(0.6)[0], np.array([25.0]), np.array([298.15]), {}, STANDARD)[0, -1]


def test_a_cover_without_a_face_behind_it_is_refused():
    parts = {"turbo": TURBO, "core": replace(AIR_CORE, covers=0.5), "fan": FanSpec(curve=((0.0, 200.0), (0.5, 0.0)))}
    build = build_of(parts, ("turbo", "core"), duct=("core", "fan"))
    with pytest.raises(BadInput, match="core covers 50 % of the next part's face, but no core or exchanger follows"):
        duct_flows(build, build.ducts["duct"])


def test_faster_air_and_a_faster_fan_move_more_and_a_stopped_fan_hinders():
    fan = FanSpec(curve=((0.0, 220.0), (0.3, 140.0), (0.6, 0.0)))
    build, flows = stack(0.6, fan)
    V = np.linspace(0.0, 70.0, 36)
    by_command = [
        flows.flow(build, V, np.full(36, 298.15), {"fan": np.full(36, c)}, STANDARD)[:, -1] for c in (0.0, 0.5, 1.0)
    ]
    for m in by_command:
        assert np.all(np.diff(m) > 0.0)
    slow = V <= 8.0  # past free delivery a turning fan holds the air back too (loop note d4)
    assert np.all(by_command[0][slow] < by_command[1][slow])
    assert np.all(by_command[1][slow] < by_command[2][slow])
    without, bare = stack(0.6)
    open_duct = bare.flow(without, V[1:], np.full(35, 298.15), {}, STANDARD)[:, -1]
    assert np.all(by_command[0][1:] < open_duct)
    assert by_command[0][0] == pytest.approx(0.0, abs=1e-6)  # nothing blows, nothing is warm


def test_warm_faces_draw_air_at_a_standstill_and_hinder_it_at_speed():
    """Draught (loop note d6) helps at rest; at speed the thinner air's higher velocity costs mass flow."""
    build, flows = stack(0.6)
    V = np.array([0.0, 0.0, 30.0, 30.0])
    m = flows.flow(build, V, np.array([298.15, 348.15, 298.15, 348.15]), {}, STANDARD)[:, -1]
    assert m[0] == pytest.approx(0.0, abs=1e-6)
    assert 1e-3 < m[1] < 0.1
    assert 0.85 < m[3] / m[2] < 0.99


def test_wind_from_behind_runs_backwards():
    build, flows = stack(0.6)
    forward, back = flows.flow(build, np.array([20.0, -20.0]), np.full(2, 298.15), {}, STANDARD)[:, -1]
    assert back == pytest.approx(-forward, rel=1e-6)


def test_openings_that_lose_nothing_still_have_a_balance():
    """An inlet loss of 0 and no exit area: the faces alone hold the air back."""
    build, flows = stack(1.0, spec=DuctSpec(place="nose", inlet_area=0.08, inlet_loss=0.0))
    m = float(flows.flow(build, np.array([25.0]), np.array([298.15]), {}, STANDARD)[0, 0])
    ram = float(airflow.ram_pressure(build.ducts["duct"].spec, 25.0, 1.1839))
    assert face_loss(build.parts["core"], m) + face_loss(build.parts["radiator"], m) == pytest.approx(ram, rel=1e-3)


# --- leaks and bare faces


@pytest.mark.parametrize("speed", [0.0, 25.0])
def test_a_leak_takes_air_beside_every_face_and_a_fan_behind_draws_both(speed):
    fan = FanSpec(curve=((0.0, 220.0), (0.3, 140.0), (0.6, 0.0)))
    around = {"fan": np.ones(1)}
    build, flows = stack(0.6, fan, replace(DUCT, leak_area=0.01))
    names = flows.network.names
    assert names == ("core", BYPASS + "core", "radiator", GAPS, "fan")
    m = dict(zip(names, flows.flow(build, np.array([speed]), np.array([298.15]), around, STANDARD)[0], strict=True))
    assert m["radiator"] + m[GAPS] == pytest.approx(m["fan"], rel=1e-9)
    assert m["core"] + m[BYPASS + "core"] == pytest.approx(m["radiator"], rel=1e-9)
    sealed, bare = stack(0.6, fan)
    without = bare.flow(sealed, np.array([speed]), np.array([298.15]), around, STANDARD)[0]
    assert m["radiator"] < without[bare.network.names.index("radiator")]
    assert m["fan"] > without[-1]
    loss = face_loss(build.parts["core"], m["core"]) + face_loss(build.parts["radiator"], m["core"], 0.6)
    gap = float(airflow.leak_loss(DuctSpec(place="nose", inlet_area=1.0, leak_area=0.01), m[GAPS] / 1.1839, 1.1839)[0])
    assert loss == pytest.approx(gap, rel=1e-4)


def test_a_fan_before_the_faces_is_not_beside_the_leak():
    fan = FanSpec(curve=((0.0, 220.0), (0.3, 140.0), (0.6, 0.0)))
    build = build_of(
        {"fan": fan, "radiator": EXCHANGER}, (), duct=("fan", "radiator"), duct_spec=replace(DUCT, leak_area=0.01)
    )
    flows = duct_flows(build, build.ducts["duct"])
    assert flows.network.names == ("fan", "radiator", GAPS)
    m = flows.flow(build, np.zeros(1), np.array([298.15]), {"fan": np.ones(1)}, STANDARD)[0]
    assert m[0] == pytest.approx(m[1] + m[2], rel=1e-9)


def test_no_gap_and_a_gap_of_nothing_are_alike():
    """A sealed duct has no way beside its faces; flows are those of a duct that does not say."""
    V = np.array([3.0, 30.0])
    silent, sealed = stack(0.6), stack(0.6, spec=replace(DUCT, leak_area=0.0))
    for a, b in zip(silent[1].network.links, sealed[1].network.links, strict=True):
        assert a == b
    np.testing.assert_array_equal(
        silent[1].flow(silent[0], V, np.full(2, 310.0), {}, STANDARD),
        sealed[1].flow(sealed[0], V, np.full(2, 310.0), {}, STANDARD),
    )
    small = stack(0.6, spec=replace(DUCT, leak_area=1e-7))
    m = small[1].flow(small[0], V, np.full(2, 310.0), {}, STANDARD)
    assert small[1].network.names[-1] == GAPS
    np.testing.assert_allclose(m[:, :3], silent[1].flow(silent[0], V, np.full(2, 310.0), {}, STANDARD), rtol=1e-5)


def test_a_bare_stack_with_a_fan_draws_at_rest_and_is_overtaken_by_the_stream():
    """At rest the fan bears its faces and the momentum of what it draws: rise = loss + 2 rho u^2 (actuator disc)."""
    fan = FanSpec(curve=((0.0, 220.0), (0.3, 140.0), (0.6, 0.0)))
    spec = DuctSpec(place="nose", inlet="open", face_area=0.15)
    build, flows = stack(1.0, fan, spec)
    V = np.linspace(0.0, 60.0, 31)
    m = flows.flow(build, V, np.full(31, 298.15), {"fan": np.ones(31)}, STANDARD)[:, -1]
    assert np.all(np.diff(m) > 0.0)
    faces = face_loss(build.parts["core"], m[0]) + face_loss(build.parts["radiator"], m[0])
    rise = float(airflow.fan_rise(fan, m[0] / 1.1839, 1.0, 1.1839)[0])
    u = m[0] / 1.1839 / 0.15
    assert rise == pytest.approx(faces + 2.0 * 1.1839 * u * u, rel=2e-3)  # creep
    forward, back = flows.flow(build, np.array([20.0, -20.0]), np.full(2, 298.15), {"fan": np.zeros(2)}, STANDARD)[
        :, -1
    ]
    assert back == pytest.approx(-forward, rel=1e-6)


def test_any_duct_has_a_balance():
    """Ducts, leaks, bare faces, covers and fans at random, wind from both sides: finite, and continuous at nodes."""
    random = np.random.default_rng(3)
    for _ in range(60):
        bare = random.random() < 0.4
        if bare:
            spec = DuctSpec(place="nose", inlet="open", face_area=10 ** random.uniform(-2.5, 0.2))
        else:
            leak = 10 ** random.uniform(-7, -0.4)
            spec = DuctSpec(place="nose", inlet_area=10 ** random.uniform(-3.5, 0), leak_area=leak, exit_area=0.05)
        fan = FanSpec(curve=((0.0, random.uniform(20, 600)), (10 ** random.uniform(-2, 0.3), 0.0)))
        build, flows = stack(
            float(random.choice([0.05, 0.5, 1.0])), fan, replace(spec, recovery=random.uniform(0, 1.3))
        )
        V = np.concatenate([[0.0, 0.01, 1.0], random.uniform(-60, 80, 5)])
        m = flows.flow(build, V, random.uniform(260, 390, 8), {"fan": random.uniform(0, 1, 8)}, STANDARD)
        assert np.all(np.isfinite(m))
        into = sum(m[:, k] for k, link in enumerate(flows.network.links) if link.start == 0)
        np.testing.assert_allclose(into, m[:, flows.network.names.index("fan")], rtol=1e-6, atol=1e-7)


def test_stacked_faces_lose_in_series():
    """Loop note d3: what drives a stack is the sum of its faces' losses and its openings'."""
    build, flows = stack(1.0)
    m = float(flows.flow(build, np.array([25.0]), np.array([298.15]), {}, STANDARD)[0, 0])
    opening = float(airflow.opening_loss(DUCT, m / 1.1839, 1.1839)[0])
    faces = face_loss(build.parts["core"], m) + face_loss(build.parts["radiator"], m)
    assert faces + opening == pytest.approx(float(airflow.ram_pressure(DUCT, 25.0, 1.1839)), rel=1e-3)


def test_the_bench_of_a_face_is_the_density_that_its_loss_is_stated_at():
    assert pytest.approx(1.184, abs=5e-4) == BENCH_AIR  # loop-C22


# --- charge branches ----------------------------------------------------------------------------------------------


def test_unequal_parallel_cores_lose_the_same_down_to_a_trickle():
    big, small = (
        replace(AIR_CORE, bench_charge_flow=0.5),
        replace(AIR_CORE, bench_charge_flow=0.1, charge_loss_exponent=1.9),
    )
    build = build_of(
        {"turbo": TURBO, "big": big, "small": small}, ("turbo", Parallel((("big",), ("small",)))), duct=("big", "small")
    )
    flow = 0.6 * np.linspace(0.0, 1.0, 160) ** 2
    net, m, total = charge_split(build, build.charge[1:], flow, 0.3)
    np.testing.assert_allclose(m.sum(axis=1), flow, atol=1e-12)
    lost = [charge_loss(spec)(m[:, net.names.index(name)])[0] for name, spec in (("big", big), ("small", small))]
    some = flow > 1e-3
    np.testing.assert_allclose(lost[0][some], lost[1][some], rtol=2e-4, atol=0.05)  # 0.5 Pa s/m3 of slope each on top
    np.testing.assert_allclose(total[some], lost[0][some], rtol=2e-4, atol=0.2)
    assert not m[0].any()
    assert np.all(np.isfinite(m))


def test_charge_parts_that_lose_nothing_still_have_a_balance():
    parts = {
        "turbo": TURBO,
        "filter": FilterSpec(loss=0.0),
        "throttle": ThrottleSpec(loss=0.0),
        "core": replace(AIR_CORE, bench_charge_loss=0.0),
        "pipe": PipeSpec(length=1.0, bore=0.06),
    }
    build = build_of(parts, ("filter", "turbo", "core", Parallel((("throttle",), ("pipe",)))), duct=("core",))
    _, m, total = charge_split(
        build, ("filter", "core", Parallel((("throttle",), ("pipe",)))), np.array([0.0, 0.3]), 0.3
    )
    assert m[1, :2] == pytest.approx([0.3, 0.3])
    assert m[1, 2] > 0.25  # the throttle that loses nothing takes nearly all
    assert 0.0 < total[1] < 1.0  # Pa kg/m3: a trace


# --- sensors ------------------------------------------------------------------------------------------------------


def test_sensors_leave_the_path_and_keep_their_place():
    parts = {name: SensorSpec() for name in ("s1", "s2", "s3", "s4")} | dict.fromkeys("abcd", TURBO)
    path = ("s1", "a", "s2", Parallel((("b", "s3"), ("c",))), "s4", "d")
    kept, found = without_sensors(path, parts)
    assert kept == ("a", Parallel((("b",), ("c",))), "d")
    assert found == [
        Reading("s1", None, False),
        Reading("s2", "a", False),
        Reading("s3", "b", False),
        Reading("s4", "b", True),
    ]
