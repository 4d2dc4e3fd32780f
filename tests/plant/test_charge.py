"""The charge side's balance: check cases, where boost is sensed, part load, losses, twins, what is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cases.record import failures, load
from coldside.build.files import load_build
from coldside.errors import BadInput, NoAnswer
from coldside.media import air
from coldside.parts import charge_tract, engine, turbine
from coldside.parts.compressor import CompressorSpec
from coldside.parts.lines import FilterSpec, PipeSpec, PlenumSpec, ThrottleSpec
from coldside.parts.supercharger import SuperchargerSpec
from coldside.plant.charge import ChargeSide
from coldside.plant.flows import Air
from coldside.units import Pressure
from generators import AIR_CORE, ENGINE, TURBO, build_of

CASES = load("charge_side")
AROUND = Air(303.15, 98.0e3, 0.012)


@pytest.mark.parametrize("case", CASES, ids=[case.name for case in CASES])
def test_case(case):
    assert failures(case) == []


@cache
def side(reference: str = "plenum", count: int = 1, around: Air = AROUND) -> ChargeSide:
    """Filter, compressor of constant efficiency, core, throttle."""
    parts = {
        "filter": FilterSpec(loss=2e3, bench_flow=0.3, bay_share=0.4),
        "turbo": replace(TURBO, count=count),
        "pipe": PipeSpec(length=1.0, bore=0.057),
        "core": AIR_CORE,
        "throttle": ThrottleSpec(loss=1.5e3, bench_flow=0.3),
    }
    spec = replace(ENGINE, boost_reference=reference)
    return ChargeSide(
        build_of(parts, ("filter", "turbo", "pipe", "core", "throttle"), duct=("core",), engine=spec), around, ""
    )


def balance(of: ChargeSide, speed, target, plenum=318.15, inlet=303.15):
    """The balance with scalars spread to one shape."""
    return of.balance(
        *np.broadcast_arrays(*(np.atleast_1d(np.asarray(v, dtype=float)) for v in (speed, target, plenum, inlet)))
    )


# --- where boost is sensed ----------------------------------------------------------------------------------------


def test_boost_sensed_at_the_plenum_is_the_plenum_pressure():
    state = balance(side(), [40.0, 80.0, 120.0], 2.2e5)
    np.testing.assert_allclose(state.plenum_pressure, 2.2e5, rtol=1e-12)
    loss = state.compressor_out_pressure - state.plenum_pressure
    assert np.all(np.diff(loss) > 0.0)  # grows with flow
    assert 5e3 < loss[-1] < 5e4


def test_boost_sensed_at_the_compressor_outlet_leaves_the_losses_to_the_plenum():
    """The outlet holds the target to the balance's own stopping rule; the plenum gets less, and less air flows."""
    speeds = np.array([40.0, 80.0, 120.0])
    state, other = balance(side("compressor_out"), speeds, 2.2e5), balance(side(), speeds, 2.2e5)
    np.testing.assert_allclose(state.compressor_out_pressure, 2.2e5, rtol=1e-6)
    assert np.all(state.plenum_pressure < other.plenum_pressure)
    assert np.all(state.flow < other.flow)
    # asked for the plenum that it found, the other sense finds the same state
    again = balance(side(), speeds, state.plenum_pressure)
    np.testing.assert_allclose(again.compressor_out_pressure, 2.2e5, rtol=1e-6)
    np.testing.assert_allclose(again.compressor_out, state.compressor_out, rtol=1e-6)


def test_below_ambient_both_senses_are_the_same():
    """The throttle sets part load at the plenum, wherever boost is sensed."""
    for target in (4e4, 9e4):
        one, other = balance(side("compressor_out"), 60.0, target), balance(side(), 60.0, target)
        assert one.plenum_pressure[0] == other.plenum_pressure[0] == target
        assert one.compressor_out[0] == other.compressor_out[0]


# --- part load ----------------------------------------------------------------------------------------------------


def test_at_part_load_the_throttle_takes_the_rest():
    state = balance(side(), [20.0, 60.0, 100.0], 4.5e4)
    assert np.all(state.pressure_ratio == 1.0)
    np.testing.assert_allclose(state.compressor_out, state.compressor_in, rtol=1e-12)  # no work, no rise
    np.testing.assert_allclose(state.compressor_out_pressure, state.compressor_in_pressure, rtol=1e-12)
    assert np.all(state.compressor_out_pressure - state.plenum_pressure > 4e4)  # far more than wide open


@given(
    speed=st.floats(10.0, 125.0),
    target=st.floats(2.5e4, 3.2e5),
    plenum=st.floats(260.0, 400.0),
    inlet=st.floats(250.0, 330.0),
    reference=st.sampled_from(["plenum", "compressor_out"]),
)
@settings(max_examples=150, deadline=None)
def test_the_balance_keeps_its_promises(speed, target, plenum, inlet, reference):
    """Ratio at least 1; the compressor never cools; flow is what the engine takes at the plenum found."""
    of = side(reference)
    state = balance(of, speed, target, plenum, inlet)
    assert state.pressure_ratio[0] >= 1.0
    assert state.compressor_out[0] >= state.compressor_in[0] == inlet
    assert state.compressor_in_pressure[0] < AROUND.pressure
    expected = engine.air_flow(of.build.engine, speed, state.plenum_pressure[0], plenum, AROUND.humidity_ratio)
    assert state.flow[0] == pytest.approx(float(expected), rel=1e-9)
    rise = air.compressed_temperature(inlet, state.pressure_ratio[0], 0.74, AROUND.humidity_ratio)
    assert state.compressor_out[0] == pytest.approx(float(rise), rel=1e-6)


def test_the_balance_closes_on_the_sum_of_all_losses():
    """From plenum to outlet and from ambient to inlet every part's dp rho_m is that of its own function."""
    of = side()
    state = balance(of, 100.0, 2.2e5)
    m, R = state.flow, float(air.gas_constant(AROUND.humidity_ratio))
    p = float(state.plenum_pressure[0])
    T_out, T_pl = float(state.compressor_out[0]), 318.15
    from coldside.plant.flows import charge_part_loss

    for name, T in (("throttle", T_pl), ("core", 0.5 * (T_out + T_pl)), ("pipe", T_out)):
        p = float(np.sqrt(p * p + 2.0 * charge_part_loss(of.build.parts[name], of.peak_flow)(m)[0][0] * R * T))
    assert float(state.compressor_out_pressure[0]) == pytest.approx(p, rel=2e-5)  # losses between 160 nodes
    loss = float(charge_part_loss(of.build.parts["filter"], of.peak_flow)(m)[0][0])
    p_in = float(np.sqrt(AROUND.pressure**2 - 2.0 * loss * R * 303.15))
    assert float(state.compressor_in_pressure[0]) == pytest.approx(p_in, rel=2e-5)


def test_many_points_at_once_are_the_same_as_one_by_one():
    random = np.random.default_rng(4)
    speed, target = random.uniform(15.0, 120.0, 40), random.uniform(3e4, 2.6e5, 40)
    for reference in ("plenum", "compressor_out"):
        together = balance(side(reference), speed, target)
        alone = [balance(side(reference), n, p) for n, p in zip(speed, target, strict=True)]
        # the stopping rule looks at the slowest point, 1e-9 of the pressure ratio
        np.testing.assert_allclose(together.flow, [s.flow[0] for s in alone], rtol=2e-7)
        np.testing.assert_allclose(together.compressor_out, [s.compressor_out[0] for s in alone], rtol=2e-7)


# --- twins, inlet, limits -----------------------------------------------------------------------------------------


def test_twins_see_half_the_flow_at_the_same_ratio():
    one, two = balance(side(), 100.0, 2.2e5), balance(side(count=2), 100.0, 2.2e5)
    assert two.corrected_flow[0] == pytest.approx(0.5 * one.corrected_flow[0], rel=1e-12)
    assert two.flow[0] == pytest.approx(one.flow[0], rel=1e-12)
    assert two.compressor_out[0] == pytest.approx(one.compressor_out[0], rel=1e-12)


def test_a_filter_that_breathes_bay_air_passes_its_share_on():
    assert side().inlet_temperature(np.array([303.15, 333.15])) == pytest.approx([303.15, 315.15])


def test_higher_up_the_same_plenum_takes_more_work():
    """charge-C19 against C18: thin air raises ratio and outlet temperature."""
    low, high = balance(side(), 80.0, 2e5), balance(side(around=replace(AROUND, pressure=79.5e3)), 80.0, 2e5)
    assert high.pressure_ratio[0] > 1.2 * low.pressure_ratio[0]
    assert high.compressor_out[0] > low.compressor_out[0] + 10.0


def test_a_filter_that_cannot_pass_the_flow_is_named():
    parts = {"filter": FilterSpec(loss=3e4, bench_flow=0.02), "turbo": TURBO, "core": AIR_CORE}
    of = ChargeSide(build_of(parts, ("filter", "turbo", "core"), duct=("core",)), AROUND, "")
    with pytest.raises(BadInput, match=r"filter cannot pass .* kg/s"):
        balance(of, 100.0, 2e5)


def test_an_absurd_pipe_is_named():
    parts = {"turbo": TURBO, "straw": PipeSpec(length=3.0, bore=0.010), "core": AIR_CORE}
    of = ChargeSide(build_of(parts, ("turbo", "straw", "core"), duct=("core",)), AROUND, "")
    with pytest.raises(NoAnswer, match=r"turbo would need a pressure ratio of \d+; straw loses the most"):
        balance(of, 100.0, 2e5)


# --- bundled ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["tern/water", "plover/build", "dunlin/build"])
def test_bundled_charge_sides_rise_with_speed_and_settle(examples, name):
    """Full load over the speed range: flow rises with speed, the ratio meets the losses it was found with."""
    build = load_build(examples / f"{name}.toml")
    of = ChargeSide(build, AROUND, str(examples / name.split("/")[0]))
    n = np.linspace(0.4, 1.0, 25) * build.engine.top_speed
    target = engine.boost_target(build.engine, n, AROUND.pressure)
    state = of.balance(n, target, np.full(25, 320.0), np.full(25, AROUND.temperature))
    sensed = state.plenum_pressure if build.engine.boost_reference == "plenum" else state.compressor_out_pressure
    np.testing.assert_allclose(sensed, target, rtol=1e-6)
    assert np.all(np.diff(state.flow) > 0.0)
    assert np.all(state.compressor_out_pressure > state.plenum_pressure)


# --- two stages ---------------------------------------------------------------------------------------------------


def two_stages(share: float | None = None, first: CompressorSpec = TURBO, **losses: float) -> ChargeSide:
    """Filter, first compressor, pipe and a core, second compressor, a core, throttle."""
    parts = {
        "filter": FilterSpec(loss=losses.get("filter", 2e3), bench_flow=0.3),
        "low": replace(first, ratio_share=share),
        "between": AIR_CORE if losses.get("between", 6e3) else replace(AIR_CORE, bench_charge_loss=0.0),
        "high": replace(TURBO, efficiency=0.70),
        "core": AIR_CORE,
        "throttle": ThrottleSpec(loss=1.5e3, bench_flow=0.3),
    }
    path = ("filter", "low", "between", "high", "core", "throttle")
    return ChargeSide(build_of(parts, path, duct=("between", "core")), AROUND, "")


def of_two(side: ChargeSide, target: float = 3.2e5, between: float = 318.15, speed: float = 100.0):
    one = np.ones(1)
    return side.balance(speed * one, target * one, 323.15 * one, 303.15 * one, between * one)


@pytest.mark.parametrize("share", [None, 0.3, 0.65])
def test_two_stages_share_the_logarithm_of_the_ratio(share):
    state = of_two(two_stages(share))
    low, high = state.stages
    whole = np.log(low.pressure_ratio) + np.log(high.pressure_ratio)
    assert np.log(low.pressure_ratio) == pytest.approx((share or 0.5) * whole, rel=1e-9)
    assert (low.name, high.name) == ("low", "high")


def test_two_stages_close_on_every_loss_and_every_stage():
    """Forward from ambient: each stage's rise is that of its ratio, each part loses at the density around it."""
    from coldside.plant.flows import charge_part_loss

    of = two_stages()
    state = of_two(of)
    low, high = state.stages
    m, R = state.flow, float(air.gas_constant(AROUND.humidity_ratio))

    def loss(name: str) -> float:
        return float(charge_part_loss(of.build.parts[name], of.peak_flow)(m)[0][0])

    assert low.inlet_pressure[0] == pytest.approx(
        np.sqrt(AROUND.pressure**2 - 2.0 * loss("filter") * R * 303.15), rel=2e-5
    )
    assert low.outlet_pressure[0] == pytest.approx(low.inlet_pressure[0] * low.pressure_ratio[0], rel=1e-12)
    assert low.outlet[0] == pytest.approx(
        float(air.compressed_temperature(303.15, low.pressure_ratio[0], 0.74, AROUND.humidity_ratio)), rel=1e-9
    )
    midway = 0.5 * (low.outlet[0] + 318.15)  # in the core between, from hot outlet to the second inlet
    assert high.inlet_pressure[0] == pytest.approx(
        np.sqrt(low.outlet_pressure[0] ** 2 - 2.0 * loss("between") * R * midway), rel=2e-5
    )
    assert high.inlet[0] == 318.15
    p = 3.2e5
    for name, T in (("throttle", 323.15), ("core", 0.5 * (high.outlet[0] + 323.15))):
        p = float(np.sqrt(p * p + 2.0 * loss(name) * R * T))
    assert high.outlet_pressure[0] == pytest.approx(p, rel=2e-5)
    assert state.compressor_out[0] == high.outlet[0]
    assert state.compressor_in[0] == low.inlet[0]
    assert state.pressure_ratio[0] == pytest.approx(high.outlet_pressure[0] / low.inlet_pressure[0], rel=1e-12)
    for stage in state.stages:  # first law
        work = m[0] * (
            air.enthalpy(stage.outlet, AROUND.humidity_ratio) - air.enthalpy(stage.inlet, AROUND.humidity_ratio)
        )
        assert stage.shaft_power[0] == pytest.approx(float(work[0]), rel=1e-12)


def test_two_stages_cooled_back_between_take_the_least_work_at_equal_ratios():
    """Ideal gas, no losses, cooled back to the inlet temperature: equal ratios are the optimum (derived)."""
    power = []
    for share in (0.4, 0.5, 0.6):
        of = two_stages(share, replace(TURBO, efficiency=0.70), between=0.0, filter=1e-3)
        power.append(sum(stage.shaft_power[0] for stage in of_two(of, between=303.15).stages))
    assert power[1] < power[0]
    assert power[1] < power[2]
    one = ChargeSide(
        build_of({"low": replace(TURBO, efficiency=0.70), "core": AIR_CORE}, ("low", "core"), duct=("core",)),
        AROUND,
        "",
    )
    single = balance(one, 100.0, 3.2e5, plenum=323.15)
    assert power[1] < 0.92 * single.stages[0].shaft_power[0]


def test_the_stage_with_the_least_room_speaks_for_both():
    small = CompressorSpec(design_flow=0.12, design_pressure_ratio=2.0)
    state = of_two(two_stages(first=small))
    low, _ = state.stages
    assert state.operating.beyond_choke[0] or state.operating.above_speed[0]
    assert state.operating.choke_margin[0] == low.operating.choke_margin[0]
    assert state.corrected_flow[0] == low.corrected_flow[0]


@given(
    speed=st.floats(15.0, 125.0),
    target=st.floats(3e4, 3.7e5),  # at most twice the flow of its own boost
    between=st.floats(280.0, 380.0),
    share=st.sampled_from([None, 0.35, 0.6]),
)
@settings(max_examples=60, deadline=None)
def test_two_stages_keep_their_promises(speed, target, between, share):
    """No stage expands or cools; what one leaves the next one gets, less the loss between; the target is met."""
    state = of_two(_two(share), target, between, speed)
    low, high = state.stages
    for stage in state.stages:
        assert stage.pressure_ratio[0] >= 1.0
        assert stage.outlet[0] >= stage.inlet[0]
    assert high.inlet_pressure[0] < low.outlet_pressure[0]
    assert high.inlet[0] == between
    assert state.plenum_pressure[0] == pytest.approx(target, rel=1e-12)
    assert state.compressor_out_pressure[0] > target
    if target < 8e4:
        assert low.pressure_ratio[0] == high.pressure_ratio[0] == 1.0


@cache
def _two(share: float | None) -> ChargeSide:
    return two_stages(share)


def test_two_stages_need_the_temperature_between_them():
    with pytest.raises(ValueError, match="between"):
        balance(two_stages(), 100.0, 3e5)


def test_one_stage_is_what_the_state_says_of_it():
    state = balance(side(), 100.0, 2.2e5)
    (stage,) = state.stages
    for name in ("pressure_ratio", "efficiency", "corrected_flow"):
        assert getattr(state, name) is getattr(stage, name)
    assert stage.name == "turbo"


# --- superchargers ------------------------------------------------------------------------------------------------

BLOWER = SuperchargerSpec(drive_ratio=2.0, displacement=1.0e-3, volumetric_efficiency=0.9)
WHEEL = SuperchargerSpec(drive_ratio=9.0, design_flow=0.25, design_pressure_ratio=2.0, design_speed=1000.0)


@cache
def blown(spec: SuperchargerSpec = BLOWER, reference: str = "plenum") -> ChargeSide:
    parts = {
        "filter": FilterSpec(loss=2e3, bench_flow=0.3, bay_share=0.4),
        "blower": spec,
        "core": AIR_CORE,
        "throttle": ThrottleSpec(loss=1.5e3, bench_flow=0.3),
    }
    engine_spec = replace(ENGINE, boost_reference=reference)
    path = ("filter", "blower", "core", "throttle")
    return ChargeSide(build_of(parts, path, duct=("core",), engine=engine_spec), AROUND, "")


SPEEDS = np.linspace(20.0, 125.0, 12)


@pytest.mark.parametrize("reference", ["plenum", "compressor_out"])
@pytest.mark.parametrize("spec", [BLOWER, WHEEL])
def test_the_belt_limits_the_plenum(spec, reference):
    """A target out of reach: the engine takes exactly what the machine moves at the ratio that this makes."""
    of = blown(spec, reference)
    state = balance(of, SPEEDS, 2.9e5)
    (stage,) = state.stages
    assert np.all(state.plenum_pressure < 2.8e5)
    inlet = (stage.inlet, stage.inlet_pressure)
    moved = of.drive.drawn(SPEEDS, *inlet, stage.pressure_ratio, AROUND.humidity_ratio)
    np.testing.assert_allclose(stage.flow, moved, rtol=1e-6)
    np.testing.assert_allclose(state.flow, moved, rtol=1e-6)
    lower = balance(of, SPEEDS, state.plenum_pressure - 500.0)  # just below is within the drive
    assert np.all(lower.plenum_pressure < state.plenum_pressure)
    if reference == "plenum":
        np.testing.assert_allclose(lower.plenum_pressure, state.plenum_pressure - 500.0, rtol=1e-9)


def test_a_blower_gives_its_displacement_to_the_engine():
    """Derived: with equal volumetric flow the pressure ratio of densities is displacement over swept volume."""
    state = balance(blown(), SPEEDS, 2.9e5)
    swept = engine.swept_per_rev(ENGINE) * 0.95 * (318.15 / 313.15) ** 0.3  # the charge stands 5 K over 40 degC
    R = float(air.gas_constant(AROUND.humidity_ratio))
    inlet = state.compressor_in_pressure / (R * 303.15)
    np.testing.assert_allclose(state.plenum_pressure / (R * 318.15), inlet * 0.9 * 1.0e-3 * 2.0 / swept, rtol=1e-6)


def test_within_the_drive_the_target_is_met_and_surplus_costs_power():
    of = blown()
    state = balance(of, SPEEDS, 1.4e5)
    (stage,) = state.stages
    np.testing.assert_allclose(state.plenum_pressure, 1.4e5, rtol=1e-12)
    assert np.all(stage.flow > 1.2 * state.flow)
    W = AROUND.humidity_ratio
    work = stage.flow * (air.enthalpy(stage.outlet, W) - air.enthalpy(stage.inlet, W))
    np.testing.assert_allclose(state.belt_power, work / BLOWER.mechanical_efficiency, rtol=1e-12)
    assert np.isnan(state.exhaust_pressure).all()


def test_below_ambient_the_bypass_stands_open():
    for spec in (BLOWER, WHEEL):
        state = balance(blown(spec), SPEEDS, 5e4)
        assert np.all(state.belt_power == 0.0)
        np.testing.assert_allclose(state.compressor_out, 303.15, rtol=1e-12)
        assert not state.operating.off_map.any()


def test_a_turbo_takes_nothing_off_the_crank():
    assert np.all(balance(side(), SPEEDS, 2.2e5).belt_power == 0.0)


# --- exhaust ------------------------------------------------------------------------------------------------------


def test_exhaust_pressure_is_that_of_the_turbines_balance():
    """charge-C30's formula on the state found: compressor power, burnt gas, back pressure by the square of flow."""
    of = side()
    state = balance(of, [60.0, 110.0], 2.2e5)
    spec, turbo = of.build.engine, of.build.parts["turbo"]
    fuel = engine.fuel_flow(spec, state.flow, AROUND.humidity_ratio)
    behind = AROUND.pressure + turbo.turbine_back_pressure * (state.flow / of.peak_flow) ** 2
    bracket = 1.0 - state.stages[0].shaft_power / ((state.flow + fuel) * 1240.0 * 1210.0 * turbo.turbine_efficiency)
    np.testing.assert_allclose(state.exhaust_pressure, behind * bracket ** (-1.3 / 0.3), rtol=1e-9)


def test_without_boost_only_the_exhaust_pipe_holds_it_back():
    state = balance(side(), [20.0, 100.0], 4.5e4)
    assert np.all(state.exhaust_pressure > AROUND.pressure)
    assert np.all(state.exhaust_pressure < AROUND.pressure + 14e3)


def test_cold_exhaust_cannot_drive_it():
    parts = {"turbo": replace(TURBO, turbine_in=680.0, turbine_efficiency=0.3), "core": AIR_CORE}
    of = ChargeSide(build_of(parts, ("turbo", "core"), duct=("core",)), AROUND, "")
    assert np.isinf(balance(of, 100.0, 3.2e5).exhaust_pressure[0])


def test_two_stages_have_two_turbines_in_series():
    state = of_two(two_stages())
    assert np.isfinite(state.exhaust_pressure[0])
    low, high = state.stages
    hotter = turbine.pressure_before(
        [high.shaft_power, low.shaft_power],
        state.flow + engine.fuel_flow(ENGINE, state.flow, AROUND.humidity_ratio),
        1210.0,
        AROUND.pressure + 14e3 * (state.flow / two_stages().peak_flow) ** 2,
        [0.62, 0.62],
    )
    assert state.exhaust_pressure[0] == pytest.approx(float(hotter[0]), rel=1e-9)


# --- leak ---------------------------------------------------------------------------------------------------------


def test_a_leak_is_moved_by_the_compressor_and_not_burnt():
    """Pressure-decay test of the plenum's keys: the compressor passes engine flow and the leak at plenum state."""
    test = {"leak_test_from": Pressure(1.4e5, True), "leak_test_to": Pressure(0.7e5, True), "leak_test_time": 2.0}
    parts = {
        "turbo": TURBO,
        "core": AIR_CORE,
        "plenum": PlenumSpec(volume=4e-3, leak_test_volume=9e-3, **test),
    }
    path = ("turbo", "core", "plenum")
    tight = {**parts, "plenum": PlenumSpec(volume=4e-3)}
    leaky = ChargeSide(build_of(parts, path, duct=("core",)), AROUND, "")
    sound = ChargeSide(build_of(tight, path, duct=("core",)), AROUND, "")
    one, other = balance(leaky, 100.0, 2.2e5), balance(sound, 100.0, 2.2e5)
    area = charge_tract.tested_leak_area(parts["plenum"], 0.0)
    leak = float(charge_tract.leak_flow(area, 2.2e5, 318.15, AROUND.pressure, AROUND.humidity_ratio))
    assert leak > 2e-3
    assert one.leak[0] == pytest.approx(leak, rel=1e-12)
    assert one.flow[0] == pytest.approx(other.flow[0], rel=1e-12)  # the plenum is held at its target
    assert one.stages[0].flow[0] == pytest.approx(other.flow[0] + leak, rel=1e-9)
    assert one.stages[0].shaft_power[0] > other.stages[0].shaft_power[0] * (1.0 + leak / other.flow[0])
    assert other.leak[0] == 0.0
    assert balance(leaky, 60.0, 6e4).leak[0] == 0.0
