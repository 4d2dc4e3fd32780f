"""Commands of devices that a session brings: pumps turned by the engine, chillers; and the keys that go together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.build.model import Build
from coldside.duty.demand import engine_driven, sample
from coldside.duty.model import Session
from coldside.errors import BadInput
from coldside.parts.chiller import ChillerSpec
from coldside.parts.pump import Control, PumpSpec
from generators import short_session

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def with_parts(**changed: object):
    build = load_build(EXAMPLES / "tern" / "water.toml")
    return replace(build, parts={**build.parts, **changed})


def test_an_engine_driven_pump_is_commanded_by_engine_speed():
    build = with_parts(pump=PumpSpec(drive="engine"))
    demand = sample(short_session(build), build)
    wanted = demand.engine_speed / build.engine.top_speed
    assert np.abs(demand.command["pump"] - wanted).max() <= 1.0 / 16.0
    assert len(np.unique(demand.command["pump"])) <= 17
    still = engine_driven(build, np.zeros(3))["pump"]
    assert not still.any()


def test_a_chiller_is_commanded_by_its_control_and_by_the_phases_pumps():
    always = ChillerSpec(capacity=((280.0, 1000.0),))
    own = replace(always, control=Control("above", 283.15, 3.0, "coolant"))
    build = with_parts(chiller=always, second=own, third=replace(always, control=Control("off")))
    command = sample(short_session(build), build).command
    assert np.all(command["chiller"] == 1.0)
    assert np.all(np.isnan(command["second"]))
    assert not command["third"].any()


def test_what_phases_say_to_pumps_that_do_not_listen_is_told():
    """A pump with a switch of its own leaves `pumps = "off"` without effect, which nobody should find out by a diff."""
    build = with_parts()
    told = [note for note in sample(quiet(build, 0.0), build).notes if "reaches no pump" in note]
    assert len(told) == 1
    assert 'control = "schedule"' in told[0]
    assert not any("reaches no" in note for note in sample(quiet(build, None), build).notes)
    heard = with_parts(pump=replace(build.parts["pump"], control=Control("schedule")))
    assert not any("reaches no" in note for note in sample(quiet(heard, 0.0), heard).notes)


def quiet(build: Build, pumps: float | None) -> Session:
    """A short session whose phases all say the same to pumps, and nothing to fans."""
    session = short_session(build)
    return replace(session, phases=tuple(replace(phase, pumps=pumps, fans=None) for phase in session.phases))


PUMP_TEXT = 'kind = "pump"'


def spoiled(folder: Path, lines: str) -> Path:
    text = (EXAMPLES / "tern" / "water.toml").read_text()
    start = text.index("[parts.pump]")
    end = text.find("\n[", start)
    table = f"[parts.pump]\n{PUMP_TEXT}\n{lines}\n"
    file = folder / "tern.toml"
    file.write_text(text[:start] + table + text[end:])
    return file


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('drive = "engine"\nvoltage = "12 V"', 'voltage: belongs to an electric pump, but drive = "engine"'),
        ('drive_top = "6000 rpm"', 'drive_top: belongs to a pump that the engine turns; write drive = "engine" too'),
        ('wire_length = "6 m"\nvoltage = "12 V"', "voltage: follows from supply_voltage and the wire"),
        ('wire_gauge = "14 AWG"', "wire_gauge: means nothing without wire_length, there and back"),
        ('fault = "tired"', '"none", "dead", "airlock"'),
    ],
)
def test_keys_of_a_pump_that_do_not_go_together(tmp_path, lines, said):
    with pytest.raises(BadInput) as caught:
        load_build(spoiled(tmp_path, lines))
    assert said in str(caught.value)


def test_only_keys_that_have_an_effect_are_listed(tmp_path):
    plain = load_build(spoiled(tmp_path, 'control = "always"'))
    assert "parts.pump.voltage" in plain.givens
    assert not {"parts.pump.wire_gauge", "parts.pump.supply_voltage", "parts.pump.drive_top"} & set(plain.givens)
    wired = load_build(spoiled(tmp_path, 'wire_length = "6 m"\nwire_gauge = "14 AWG"'))
    assert wired.givens["parts.pump.wire_gauge"].text == "14 AWG"
    assert "parts.pump.voltage" not in wired.givens
    driven = load_build(spoiled(tmp_path, 'drive = "engine"'))
    assert "parts.pump.drive_top" in driven.givens
    assert "parts.pump.control" not in driven.givens


def test_a_thermostat_must_open_upwards(tmp_path):
    text = (EXAMPLES / "tern" / "water.toml").read_text()
    text += '\n[parts.stat]\nkind = "thermostat"\nbore = "30 mm"\nopens_at = "82 degC"\nfull_at = "80 degC"\n'
    file = tmp_path / "tern.toml"
    file.write_text(text.replace('"pump",', '"pump", "stat",', 1))
    with pytest.raises(BadInput, match="full_at: must be hotter than opens_at"):
        load_build(file)
