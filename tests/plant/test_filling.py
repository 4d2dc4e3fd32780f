"""Filling: volumes, growth, cap, places that hold air, pump inlets; supply of pumps and fans."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldside.build.model import Parallel
from coldside.errors import BadInput
from coldside.judge.filling import electric_sentences, filling_sentences
from coldside.parts.engine import CarSpec
from coldside.parts.lines import HoseSpec, ValveSpec
from coldside.parts.pump import GRAVITY, PumpSpec
from coldside.plant.electrics import electrics
from coldside.plant.filling import filling, fillings
from generators import TANK, TURBO, WATER_CORE, build_of

PUMP = PumpSpec(height=0.2)
HOSE = HoseSpec(length=2.0, bore=0.019)


def of(path, cap=None, coolant="water", **parts):
    """Filling of a loop made of these parts; a charge core is always among them."""
    found = {"turbo": TURBO, "tank": replace(TANK, height=0.6), "pump": PUMP, "core": replace(WATER_CORE, height=0.5)}
    build = build_of(found | parts, ("turbo", "core"), loop=path, coolant=coolant)
    if cap is not None:
        build = replace(build, loops={"loop": replace(build.loops["loop"], cap_pressure=cap)})
    return build, filling(build, "loop")


def test_volumes_add_up_and_water_grows_by_its_density():
    """Water from 20 to 70 degC: 998.2 and 977.8 kg/m3 (handbook, from memory): 2.09 % more."""
    _, found = of(("tank", "pump", "hose", "core"), hose=HOSE)
    assert found.volume == pytest.approx(5e-3 + 1.5e-4 + np.pi / 4 * 0.019**2 * 2.0 + 7e-4)
    assert found.expansion / found.volume == pytest.approx(998.2 / 977.8 - 1.0, rel=5e-3)  # four digits
    build, _ = of(("tank", "pump", "hose", "core"), hose=HOSE)
    assert filling(build, "loop", hottest=293.15).expansion == 0.0
    assert len(fillings(build)) == 1
    with pytest.raises(BadInput, match="no loop is named oil; this build has loop"):
        filling(build, "oil")


def test_an_air_space_is_squeezed_by_boyle_and_opens_the_cap():
    """Half the air space taken up by growth doubles its pressure, warmer and with the coolant's vapour on top."""
    _, growth = of(("tank", "pump", "core"))
    brim = replace(TANK, height=0.6, brim_volume=TANK.volume + 2.0 * growth.expansion)
    build, found = of(("tank", "pump", "core"), cap=90e3, tank=brim)
    water = 101325.0 - 2339.0  # dry air at 20 degC over water of 2339 Pa (steam table, from memory)
    assert found.sealed_pressure == pytest.approx(water * 2.0 * 343.15 / 293.15 + 31200.0 - 101325.0, rel=5e-3)
    assert found.cap_opens
    assert not found.overflows
    roomy = replace(TANK, height=0.6, brim_volume=TANK.volume + 0.02)
    assert of(("tank", "pump", "core"), cap=90e3, tank=roomy)[1].cap_opens is False
    tight = replace(TANK, height=0.6, brim_volume=TANK.volume + 0.5 * growth.expansion)
    build, found = of(("tank", "pump", "core"), cap=90e3, tank=tight)
    assert found.overflows
    assert found.cap_opens
    assert any("it overflows" in s.words() for s in filling_sentences(build))


def test_air_stays_at_a_high_place_without_a_bleed():
    high = replace(HOSE, height=0.4, high_point=0.9)
    path = ("tank", "pump", "hose", "core")
    assert of(path, hose=high)[1].traps == (("hose",),)
    build, bled = of(path, hose=replace(high, bleed=True))
    assert (bled.traps, bled.bleeds) == ((), ("hose",))
    assert any("open the bleeds from the lowest up: hose" in s.words() for s in filling_sentences(build))
    assert of(path, hose=replace(HOSE, height=0.4))[1].traps == ()
    _, unknown = of(path, hose=HOSE)
    assert (unknown.traps, unknown.unplaced) == ((), ("hose",))


def test_parts_side_by_side_at_one_height_trap_together_and_one_bleed_serves_them():
    cores = Parallel((("core",), ("other",)))
    low = replace(HOSE, height=0.3)
    path = ("tank", "pump", "to", cores, "back")
    parts = {"to": low, "back": low, "other": replace(WATER_CORE, height=0.502)}
    build, found = of(path, **parts)
    assert found.traps == (("core", "other"),)
    assert any("core and other stand over" in s.words() for s in filling_sentences(build))
    parts["other"] = replace(parts["other"], bleed=True)
    assert of(path, **parts)[1].traps == ()


def test_two_humps_are_two_traps_and_bleeds_go_from_the_lowest_up():
    hump = replace(HOSE, height=0.4, high_point=0.8)
    low = replace(HOSE, height=0.1)
    path = ("tank", "pump", "one", "low", "two", "core")
    _, found = of(path, one=hump, low=low, two=replace(hump, high_point=0.7))
    assert found.traps == (("one",), ("two",))
    _, found = of(path, one=replace(hump, bleed=True), low=low, two=replace(hump, high_point=0.7, bleed=True))
    assert found.bleeds == ("two", "one")


@given(heights=st.lists(st.floats(0.0, 1.0), min_size=3, max_size=8))
@settings(deadline=None, max_examples=40)
def test_the_highest_place_never_goes_unseen(heights):
    """Whatever the line does, its highest place either is level with the tank's surface group, or a trap."""
    hoses = {f"h{i}": replace(HOSE, height=float(h)) for i, h in enumerate(heights)}
    _, found = of(
        ("tank", "pump", "core", *hoses), tank=replace(TANK, height=0.0), core=replace(WATER_CORE, height=0.0), **hoses
    )
    top = max(heights)
    if top > 0.21:  # over pump, core and tank by more than a level
        assert any(f"h{int(np.argmax(heights))}" in group for group in found.traps)


def test_inlets():
    build, found = of(("tank", "pump", "core"))
    (inlet,) = found.inlets
    assert inlet.flooded
    assert inlet.standing == pytest.approx(998.2 * GRAVITY * 0.4, rel=1e-3)
    assert inlet.running == pytest.approx(inlet.standing, abs=5.0)  # nothing between tank and pump but a trace of loss
    assert (inlet.required, inlet.cavitates) == (None, None)
    thin = HoseSpec(length=2.0, bore=0.008)
    build, found = of(("tank", "thin", "pump", "core"), thin=thin, pump=replace(PUMP, height=0.9, npsh_required=5.0))
    (inlet,) = found.inlets
    assert inlet.flooded is False
    assert inlet.drawn_flat
    assert inlet.standing == pytest.approx(-998.2 * GRAVITY * 0.3, rel=1e-3)
    assert inlet.cavitates
    words = " ".join(s.words() for s in filling_sentences(build))
    assert "it does not fill by itself" in words
    assert "can be drawn flat" in words
    assert "needs 5 m and some to spare" in words
    _, sealed = of(("pump", "core"))
    assert (sealed.reservoir, sealed.inlets) == (None, ())


def test_currents_add_up_against_the_alternator():
    pump = PumpSpec(current=8.0, wire_length=8.0, wire_gauge=1.0e-6, control=PUMP.control)
    build, _ = of(("tank", "pump", "valve", "core"), pump=pump, valve=ValveSpec(bore=0.01))
    found = electrics(build)
    assert (found.total, found.alternator, found.short) == (8.0, None, None)
    (load,) = found.loads
    assert load.starting == 32.0
    assert load.voltage + load.lost == pytest.approx(pump.supply_voltage)
    assert load.voltage_starting == pytest.approx(pump.supply_voltage - 4.0 * load.lost)
    weak = replace(build, car=CarSpec(alternator_idle=5.0))
    words = [s.words() for s in electric_sentences(weak)]
    assert any("the battery gives 3 A" in w for w in words)
    assert any("for want of voltage" in w for w in words)
    assert "Fuse every supply" in words[-1]
    plain, _ = of(("tank", "pump", "core"))
    assert electric_sentences(plain) == []
