"""What stands at a pump's inlet, faults of pumps, pumps that the engine turns, chillers in a loop."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.build.model import Parallel
from coldside.errors import BadInput
from coldside.parts.chiller import ChillerSpec
from coldside.parts.lines import HoseSpec, ThermostatSpec, ValveSpec, hose_loss
from coldside.parts.pump import GRAVITY, PumpSpec, engine_command, pressure_rise, speed_of, suction_share
from coldside.plant.flows import loop_flows
from generators import TANK, TURBO, build_of

CURVE = tuple((float(q), 8.0 - 3.2e7 * float(q) ** 2) for q in np.linspace(0.0, 4.9e-4, 25))
PUMP = PumpSpec(curve=CURVE, curve_voltage=13.8, voltage=13.8, height=0.30)
FEED = HoseSpec(length=1.0, bore=0.016, losses=2.0)
REST = HoseSpec(length=4.0, bore=0.019, losses=4.0)
ON = {"pump": np.array([1.0])}


def loop(pump: PumpSpec = PUMP, pressure: float = 101325.0, **parts: object):
    """Tank, feed hose, pump, return hose; `parts` replace or join them."""
    found = {"turbo": TURBO, "tank": replace(TANK, height=0.5), "feed": FEED, "pump": pump, "rest": REST, **parts}
    path = ("tank", "feed", "pump", *(name for name in parts if name not in ("tank", "feed", "rest")), "rest")
    build = build_of(found, ("turbo",), loop=path)
    return build, loop_flows(build, build.loops["loop"], pressure)


def test_suction_head_by_hand():
    """(p - p_v)/(rho g) + z - h_f: the feed hose's own loss, taken from its function at the flow found."""
    build, flows = loop()
    T = np.array([353.15])
    q, _ = flows.flow(build, T, ON)
    rho = float(flows.coolant.density(353.15))
    lost = float(hose_loss(FEED, q[0, 0], rho, float(flows.coolant.viscosity(353.15)))[0])
    head, over = flows.suction(build, T, ON)
    assert over["pump"][0] == pytest.approx(rho * GRAVITY * 0.2 - lost, rel=1e-6)
    vapour = float(flows.coolant.vapour_pressure(353.15))
    assert head["pump"][0] == pytest.approx((101325.0 - vapour - lost) / (rho * GRAVITY) + 0.2, rel=1e-6)


def test_a_pump_that_is_short_of_suction_loses_head_at_the_flow_it_still_makes():
    T = np.linspace(300.0, 367.0, 13)
    command = {"pump": np.ones(13)}
    full, _ = loop()[1].flow(loop()[0], T, command)
    build, flows = loop(replace(PUMP, npsh_required=6.0))
    q, _ = flows.flow(build, T, command)
    head, _ = flows.suction(build, T, command)
    safe = head["pump"] >= 6.0
    assert 2 <= safe.sum() <= 11
    np.testing.assert_allclose(q[safe], full[safe], rtol=1e-6)
    assert np.all(q[~safe, 2] < full[~safe, 2])
    assert np.all(np.diff(q[~safe, 2]) < 0.0)
    # what the pump still lifts is what the loop loses: the share of its head belongs to the suction at that flow
    kept = suction_share(build.parts["pump"], head["pump"], 1.0)
    lifted = pressure_rise(build.parts["pump"], q[:, 2], 1.0, flows.coolant.density(T), kept)[0]
    rho, mu = flows.coolant.density(T), flows.coolant.viscosity(T)
    lost = hose_loss(FEED, q[:, 1], rho, mu)[0] + hose_loss(REST, q[:, 3], rho, mu)[0]
    np.testing.assert_allclose(lifted, lost, rtol=1e-3)  # the tank's trace of a loss


def test_thinner_air_and_a_cap_move_the_suction_head():
    build, low = loop(pressure=81000.0)
    _, sea = loop()
    assert low.suction(build, np.array([353.15]), ON)[0]["pump"] < sea.suction(build, np.array([353.15]), ON)[0]["pump"]
    capped = replace(build, loops={"loop": replace(build.loops["loop"], cap_pressure=90e3)})
    assert loop_flows(capped, capped.loops["loop"]).surface_pressure == pytest.approx(101325.0 + 90e3)


def test_without_a_reservoir_nothing_is_known():
    build = build_of({"turbo": TURBO, "pump": PUMP, "rest": REST}, ("turbo",), loop=("pump", "rest"))
    assert loop_flows(build, build.loops["loop"]).suction(build, np.array([300.0]), ON) == ({}, {})


@pytest.mark.parametrize("fault", ["dead", "airlock"])
def test_a_faulty_pump_alone_moves_nothing_and_beside_another_it_leaks(fault):
    build, flows = loop(replace(PUMP, fault=fault))
    q, heat = flows.flow(build, np.array([310.0]), ON)
    assert not q.any()
    assert not heat.any()
    parts = {"turbo": TURBO, "tank": TANK, "pump": PUMP, "second": replace(PUMP, fault=fault), "rest": REST}
    path = ("tank", Parallel((("pump",), ("second",))), "rest")
    build = build_of(parts, ("turbo",), loop=path)
    flows = loop_flows(build, build.loops["loop"])
    q, heat = flows.flow(build, np.array([310.0]), {"pump": np.ones(1), "second": np.ones(1)})
    back = flows.network.names.index("second")
    assert q[0, back] < 0.0  # no check valve: coolant returns through it (loop-C12)
    assert heat[0, back] == 0.0
    sound = replace(build, parts=build.parts | {"second": PUMP})
    assert (
        loop_flows(sound, sound.loops["loop"]).flow(
            sound, np.array([310.0]), {"pump": np.ones(1), "second": np.ones(1)}
        )[0][0, -1]
        > q[0, -1]
    )


def test_an_engine_driven_pump_follows_the_engine_in_steps():
    spec = PumpSpec(curve=CURVE, drive="engine", drive_top=50.0)
    n = np.linspace(0.0, 125.0, 500)
    command = engine_command(spec, n, 125.0)
    assert len(np.unique(command)) == 17
    assert command[0] == 0.0
    assert command[1] > 0.0  # a turning engine turns it
    assert command[-1] == pytest.approx(2.5)
    assert np.abs(command - n / 50.0).max() <= 0.5 / 16 * 2.5 + 0.5 / 16 * 2.5
    assert np.all(np.diff(command) >= 0.0)
    assert speed_of(spec, 2.5) == 2.5
    with pytest.raises(BadInput, match="command"):
        speed_of(PumpSpec(), 2.5)


def test_a_chiller_is_a_device_that_takes_heat():
    chiller = ChillerSpec(capacity=((273.15, 1000.0), (303.15, 2000.0)))
    build, flows = loop(chiller=chiller)
    assert flows.pumps == ("pump", "chiller")
    T = np.array([303.15, 303.15, 303.15])
    q, heat = flows.flow(build, T, {"pump": np.array([1.0, 1.0, 0.0]), "chiller": np.array([1.0, 0.0, 1.0])})
    at = flows.network.names.index("chiller")
    assert heat[:, at] == pytest.approx([-2000.0, 0.0, 0.0])
    assert q[0, 0] == pytest.approx(q[1, 0])
    assert not q[2].any()


def test_a_thermostat_sends_coolant_round_the_other_branch_until_it_opens():
    parts = {
        "turbo": TURBO,
        "tank": TANK,
        "pump": PUMP,
        "stat": ThermostatSpec(bore=0.03, opens_at=355.15),
        "bypass": ValveSpec(bore=0.008),
        "rest": REST,
    }
    build = build_of(parts, ("turbo",), loop=("tank", "pump", Parallel((("stat",), ("bypass",))), "rest"))
    flows = loop_flows(build, build.loops["loop"])
    T = np.linspace(340.0, 375.0, 30)
    q, _ = flows.flow(build, T, {"pump": np.ones(30)})
    share = q[:, flows.network.names.index("stat")] / q[:, 0]
    assert share[0] < 0.1
    assert share[-1] > 0.7
    assert np.all(np.diff(share) > -1e-4)  # thinner coolant alone moves it by 1e-5
