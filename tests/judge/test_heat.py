"""The ledger counted again, against integrals in closed form."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coldside.judge.heat import heat_shares, largest_rung, preheat_rung, recompute_ledger
from coldside.parts.injection import InjectionSpec
from coldside.plant.results import HeatFlow, Ledger
from coldside.sheet.tables import ledger_sentence
from judge import made


def closed_form(peaks):
    """Heat from charge to the core, J, by hand.

    Pull i: 0.2 cp (420 - mean of 310 and its peak) 10 s.  Rest: 0.02 cp (305 - 310) over 49.8 s, and the two
    intervals of 0.1 s beside each rest, where flow and temperature drop go over linearly: the integral of
    (a0 + (a1 - a0) s)(b0 + (b1 - b0) s) over s from 0 to 1 is
    a0 b0 + (a0 (b1 - b0) + b0 (a1 - a0))/2 + (a1 - a0)(b1 - b0)/3.
    """
    cp, step = made.CP_CHARGE, made.STEP

    def joint(a0, a1, b0, b1):
        return a0 * b0 + 0.5 * (a0 * (b1 - b0) + b0 * (a1 - a0)) + (a1 - a0) * (b1 - b0) / 3.0

    pulls = sum(0.2 * cp * (420.0 - 0.5 * (310.0 + peak)) * made.PULL for peak in peaks)
    rest = 0.02 * cp * (305.0 - 310.0) * (made.REST - 2 * step)
    edges = sum(
        step * cp * (joint(0.2, 0.02, 420.0 - peak, -5.0) + joint(0.02, 0.2, -5.0, 110.0)) for peak in peaks[:-1]
    )
    return pulls + rest * (len(peaks) - 1) + edges


def test_heat_in_and_to_air_by_hand():
    peaks = (320.0, 330.0)
    again = recompute_ledger(made.forecast(peaks=peaks))
    assert again.heat_in == pytest.approx(closed_form(peaks), rel=1e-12)  # exact but for round-off
    assert again.to_air == pytest.approx(0.4 * made.CP_AIR * 5.0 * 70.0, rel=1e-12)
    assert set(again.parts) == {("core", "charge"), ("rear_hx", "cooling")}, "compressor work is not wall heat"


def test_an_error_of_the_ledger_shows():
    peaks = (320.0, 330.0)
    heat_in, to_air = closed_form(peaks), 0.4 * made.CP_AIR * 5.0 * 70.0
    good = Ledger(heat_in, 0.0, to_air, heat_in - to_air, heat_in + to_air, 0.0, ())
    nodes = {"core metal": (np.array([300.0]), np.array([301.0]), heat_in - to_air)}  # one node, 1 K warmer
    assert recompute_ledger(replace(made.forecast(peaks=peaks, ledger=good), nodes=nodes)).worst < 1e-12
    bad = replace(good, to_air=1.01 * to_air, stored=heat_in - 1.01 * to_air)
    again = recompute_ledger(replace(made.forecast(peaks=peaks, ledger=bad), nodes=nodes))
    assert again.to_air_difference == pytest.approx(-0.01, rel=1e-9)
    assert again.stored_difference == pytest.approx(0.01 * to_air / (heat_in - to_air), rel=1e-9)
    unstored = recompute_ledger(replace(made.forecast(peaks=peaks, ledger=good), nodes={}))
    assert unstored.closure > 1e-3


def test_a_face_with_a_heat_of_its_own_is_outside():
    base = made.forecast()
    parts = {**base.build.parts, "rear_hx": made.exchanger(heat=5e3)}
    again = recompute_ledger(replace(base, build=replace(base.build, parts=parts)))
    assert again.to_air == 0.0


def test_a_session_that_gives_back_what_it_took_does_not_divide_by_zero():
    base = made.forecast(peaks=(320.0, 330.0))
    cold = {key: np.full_like(base.time, 300.0) for key in base.outlet}
    still = replace(base, outlet=cold, inlet=cold, ledger=Ledger(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, ()))
    assert recompute_ledger(still).worst == 0.0


def test_shares_of_the_ledger():
    flows = (HeatFlow("tank", "pickup", 3.0), HeatFlow("pipe", "pickup", 5.0), HeatFlow("tank", "pickup", 4.0))
    shares = heat_shares(made.forecast(ledger=Ledger(90.0, 10.0, 60.0, 40.0, 200.0, 0.0, flows)))
    assert (shares.from_pickup, shares.to_air, shares.stored) == (0.1, 0.6, 0.4)
    assert shares.largest_pickup == ("tank", 7.0)


def test_heat_of_an_engine_in_a_loop_is_told_apart():
    """90 J from the charge and 10 J picked up, beside 300 J that the engine gave its coolant (less 20 J to the bay)."""
    flows = (
        HeatFlow("tank", "pickup", 30.0),
        HeatFlow("engine.coolant", "pickup", -20.0),
        HeatFlow("engine.coolant", "pump", 300.0),
    )
    found = made.forecast(ledger=Ledger(90.0, 310.0, 60.0, 340.0, 900.0, 0.0, flows))
    shares = heat_shares(found)
    assert (shares.from_engine, shares.from_pickup, shares.to_air) == (0.75, 0.1, 0.15)
    assert shares.largest_pickup == ("tank", 30.0)
    said = ledger_sentence(found)
    assert "75 % of the heat taken in came out of the engine's own coolant and oil; of the rest, 10 % did not" in said


def test_an_engine_that_gives_more_than_all_the_heat_taken_in_gives_all_of_it():
    """Pipes that lose to the bay leave less taken in than the engine gave: no share over all is told."""
    flows = (HeatFlow("pipe", "pickup", -20.0), HeatFlow("engine.coolant", "pump", 300.0))
    said = ledger_sentence(made.forecast(ledger=Ledger(10.0, 280.0, 60.0, 230.0, 900.0, 0.0, flows)))
    assert said.endswith("All of the heat taken in came out of the engine's own coolant and oil.")


def test_the_ledger_in_words():
    """Shares of 100 J taken in; of a soaked start's 250 J that left, 150 J had been stored."""

    def words(*ledger):
        return ledger_sentence(made.forecast(ledger=Ledger(*ledger, 0.0, ())))

    assert words(90.0, 10.0, 60.0, 40.0, 200.0) == (
        "Of the heat taken in, 60 % left with the cooling air and 40 % was still in coolant and metal at the end. "
        "10 % of it did not come from the charge."
    )
    soaked = words(90.0, 10.0, 250.0, -150.0, 400.0)
    assert soaked.startswith(
        "60 % of the heat that left with the cooling air had been in coolant and metal at the start."
    )
    colder = words(-20.0, 120.0, 250.0, -150.0, 400.0)
    assert colder.endswith("The charge did not give heat but took some up, over the session.")
    assert words(-5.0, 1.0, 0.0, -4.0, 6.0) == ""


def test_water_injected_gives_its_heat_to_no_wall():
    base = made.forecast()
    drop = {("nozzle", "charge"): base.charge_flow}
    parts = {**base.build.parts, "nozzle": InjectionSpec(flow=5e-6)}
    wet = replace(
        base,
        build=replace(base.build, parts=parts),
        flow={**base.flow, **drop},
        inlet={**base.inlet, ("nozzle", "charge"): base.compressor_out},
        outlet={**base.outlet, ("nozzle", "charge"): base.compressor_out - 20.0},
        heat_capacity={**base.heat_capacity, ("nozzle", "charge"): made.CP_CHARGE},
    )
    assert recompute_ledger(wet).heat_in == recompute_ledger(base).heat_in


def test_shares_of_nothing_are_unknown():
    shares = heat_shares(made.forecast(ledger=Ledger(-5.0, 1.0, 0.0, -4.0, 6.0, 0.0, (HeatFlow("a", "pickup", -1.0),))))
    assert (shares.from_pickup, shares.stored, shares.largest_pickup) == (None, None, None)


def test_rungs():
    base = made.forecast()
    assert largest_rung(base).name == "remote air film"
    assert preheat_rung(base).drop == 3.0
    bare = replace(base, ladder=())
    assert largest_rung(bare) is None
    assert preheat_rung(bare) is None


def test_a_fan_that_switches_holds_its_flow_until_then():
    """Air at 0.01 kg/s until 35 s, 0.4 kg/s from then on: commands are held, so nothing is ramped between samples."""
    base = made.forecast(peaks=(320.0, 330.0))
    after = base.time >= 35.0 - 1e-9
    flow = {**base.flow, ("rear_hx", "cooling"): np.where(after, 0.4, 0.01)}
    switched = replace(base, flow=flow, command={"pump": np.ones(len(after)), "fan": after.astype(float)})
    by_hand = made.CP_AIR * 5.0 * (0.01 * 35.0 + 0.4 * 35.0)
    assert recompute_ledger(switched).to_air == pytest.approx(by_hand, rel=1e-12)
