"""Builds from files and back: values in SI, where they came from, edits that keep every other byte."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coldside.build.document import scan
from coldside.build.files import load_build, save
from coldside.build.model import Build, Given, Parallel
from coldside.duty.phases import load_session
from coldside.errors import BadInput
from coldside.parts.airflow import DuctSpec
from coldside.parts.compressor import CompressorSpec
from coldside.parts.engine import RPM, CarSpec
from coldside.parts.exchanger import ExchangerSpec
from coldside.parts.pump import Control
from coldside.units import Pressure
from words.files import BUILD, MAP, SESSION, spoiled

PSI = 6894.757293168361  # NIST SP 811


def loaded(folder: Path, text: str = BUILD, *overrides: str) -> Build:
    (folder / "hill.toml").write_bytes(text.encode())
    return load_build(folder / "hill.toml", overrides)


def test_values_are_si(tmp_path: Path) -> None:
    build = loaded(tmp_path)
    assert build.name == "Kestrel"
    assert build.engine.displacement == pytest.approx(2.0e-3)
    assert build.engine.fuel_lambda == 0.82
    assert build.engine.boost[1] == (
        pytest.approx(7500 * RPM),
        Pressure(pytest.approx(20 * PSI), True),
    )
    assert build.bay.temperature_rise == pytest.approx(35 * 5 / 9)
    assert build.car == CarSpec()
    left, right = build.parts["left_core"], build.parts["right_core"]
    assert left.bench_charge_in == pytest.approx(413.15)
    assert right.bench_charge_in == pytest.approx(413.15)
    assert right.metal_mass == pytest.approx(5 * 0.45359237)
    assert build.parts["pump"].curve[1] == (pytest.approx(15e-3 / 60), 6.0)
    assert build.parts["pump"].control == Control("above", pytest.approx(313.15), 4.0, "charge")
    assert build.parts["nose_fan"].control == Control("schedule")
    assert build.loops["charge"].coolant == "ethylene glycol 30 % by volume"
    assert build.loops["charge"].cap_pressure == pytest.approx(9e4)
    assert build.ducts["nose"].spec == DuctSpec(place="nose", inlet_area=pytest.approx(0.04))


def test_paths_are_groups_and_series(tmp_path: Path) -> None:
    build = loaded(tmp_path)
    cores = Parallel((("left_core",), ("right_core",)))
    assert build.charge == ("filter", "turbo", "hot_pipe", cores, "throttle", "plenum", "intake_sensor")
    assert build.loops["charge"].path == ("tank", "pump", "feed_hose", cores, "nose_hx")
    assert build.ducts["nose"].path == ("nose_hx", "nose_fan")


def test_every_key_says_where_it_came_from(tmp_path: Path) -> None:
    givens = loaded(tmp_path, BUILD, "parts.tank.volume=40 L").givens
    assert givens["parts.tank.volume"] == Given(pytest.approx(0.04), "40 L", None, "set", "coolant in the tank")
    assert givens["parts.tank.height"].origin == "given"
    assert givens["engine.brake_efficiency"].sd == pytest.approx(0.02)
    assert givens["parts.nose_hx.bench_heat"].sd == pytest.approx(0.05 * 14000)
    default = givens["parts.tank.metal_mass"]
    assert (default.value, default.sd, default.origin) == (1.0, 0.5, "default")  # 50 % of 1 kg
    absent = givens["parts.tank.start_temperature"]
    assert (absent.value, absent.text, absent.sd) == (None, "as the session starts", None)
    assert givens["engine.lambda"].value == 0.82
    assert "engine.fuel_lambda" not in givens


def test_givens_are_in_the_order_of_the_file(tmp_path: Path) -> None:
    keys = [key for key, value in loaded(tmp_path).givens.items() if value.origin == "given"]
    lines = scan(BUILD, "").lines
    places = [lines[tuple(key.split("."))] for key in keys]
    assert places == sorted(places)


RADIATOR = """\
[parts.radiator]
kind = "exchanger"
heat = "20 kW"
bench_cooling_flow = "1 kg/s"
bench_cooling_loss = "150 Pa"
"""


def test_keys_that_do_not_apply_are_no_defaults(tmp_path: Path) -> None:
    givens = loaded(tmp_path).givens
    for key in ("engine.chamber_volume", "engine.rotors", "parts.turbo.map", "parts.turbo.efficiency"):
        assert key not in givens
    face = spoiled(
        BUILD,
        ('path = ["nose_hx", "nose_fan"]', 'path = ["nose_hx", "radiator", "nose_fan"]'),
        (
            "[parts.nose_fan]",
            f"{RADIATOR}\n[parts.nose_fan]",
        ),
    )
    build = loaded(tmp_path, face)
    assert isinstance(build.parts["radiator"], ExchangerSpec)
    assert build.parts["radiator"].heat == 20000.0
    assert "parts.radiator.coolant_volume" not in build.givens
    assert "parts.radiator.cooling_loss_exponent" in build.givens


def test_boost_without_a_word_is_gauge_and_says_so(tmp_path: Path) -> None:
    assert loaded(tmp_path).notes == ("engine.boost: 2 pressures without gauge or abs are read as gauge",)
    said = spoiled(BUILD, ('"8 psi"', '"8 psi gauge"'), ('"20 psi"', '"2.4 bar abs"'))
    build = loaded(tmp_path, said)
    assert build.notes == ()
    assert build.engine.boost[1][1] == Pressure(2.4e5, False)
    one = spoiled(BUILD, ('"8 psi"', '"8 psi gauge"'))
    assert loaded(tmp_path, one).notes == ('engine.boost = "20 psi" read as gauge',)


def test_a_map_is_found_beside_the_build(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "car").mkdir()
    (tmp_path / "car" / "wheel.csv").write_text(MAP)
    text = spoiled(BUILD, ('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6', 'map = "wheel.csv"'))
    (tmp_path / "car" / "hill.toml").write_text(text)
    turbo = load_build("car/hill.toml").parts["turbo"]
    assert isinstance(turbo, CompressorSpec)
    assert turbo.map is not None
    assert Path(turbo.map).is_absolute()  # so that whoever opens it need not know the build's folder
    assert Path(turbo.map).read_text() == MAP


def test_a_curve_carries_the_share_of_its_spread(tmp_path: Path) -> None:
    text = spoiled(BUILD, ('["15 L/min", "6 m"]', '["15 L/min", "6 m +- 0.6 m"]'))
    given = loaded(tmp_path, text).givens["parts.pump.curve"]
    assert given.sd == pytest.approx(0.1)
    assert given.text == "0 L/min: 8 m, 15 L/min: 6 m +- 0.6 m, 28 L/min: 1 m"


def test_nested_branches(tmp_path: Path) -> None:
    text = spoiled(
        BUILD,
        ('"turbo", "hot_pipe", ["left_core", "right_core"]', '"turbo", ["left_core", ["hot_pipe", "right_core"]]'),
    )
    assert loaded(tmp_path, text).charge[2] == Parallel((("left_core",), ("hot_pipe", "right_core")))


def test_a_loop_that_keeps_or_stores_no_heat_is_noted(tmp_path: Path) -> None:
    text = spoiled(
        BUILD,
        ('["tank", "pump"', '["pump"'),
        ('["left_core", "right_core"], "nose_hx"]', '["left_core", "right_core"]]'),
        (BUILD[BUILD.index("[parts.tank]") : BUILD.index("[parts.pump]")], ""),
        ('[ducts.nose]\npath = ["nose_hx", "nose_fan"]\nplace = "nose"\ninlet_area = "400 cm2"\n', ""),
    )  # fmt: skip
    text = text[: text.index("[parts.nose_hx]")]
    assert loaded(tmp_path, text).notes[1:] == (
        "loops.charge has no reservoir: only its cores, exchangers and hoses store heat",
        "loops.charge has no exchanger: it stores heat and gives none away",
    )


def test_the_bundled_builds_and_sessions_are_read(examples: Path) -> None:
    for file in sorted(examples.rglob("*.toml")):
        if 'schema = "coldside.build/1"' in file.read_text():
            build = load_build(file)
            assert build.parts
            assert build.defaults()
        elif file.parent.name != "briefs":
            assert load_session(file).phases


# -- writing -----------------------------------------------------------------------------------------
def test_save_keeps_one_backup_and_leaves_nothing_else(tmp_path: Path) -> None:
    file = tmp_path / "hill.toml"
    save(file, "one\r\n")
    assert file.read_bytes() == b"one\r\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["hill.toml"]
    file.chmod(0o640)
    save(file, "two\n")
    save(file, "three é\n")
    assert file.read_bytes() == "three é\n".encode()
    assert (tmp_path / "hill.toml.bak").read_bytes() == b"two\n"
    assert file.stat().st_mode & 0o777 == 0o640
    assert sorted(p.name for p in tmp_path.iterdir()) == ["hill.toml", "hill.toml.bak"]


def test_a_failed_save_leaves_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file = tmp_path / "hill.toml"
    save(file, "one\n")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BadInput) as refused:
        save(file, "two\n")
    assert refused.value.message == "cannot be written: No space left on device"
    assert file.read_bytes() == b"one\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["hill.toml"]


def test_saving_into_no_folder_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as refused:
        save(tmp_path / "no" / "hill.toml", "one\n")
    assert refused.value.message == "cannot be written: No such file or directory"


# -- nothing but BadInput ----------------------------------------------------------------------------
WORDS = sorted(set(re.findall(r'"[^"\n]*"|[\w.]+|[\[\]=#\n]', BUILD + SESSION)))
ANY_WORD = st.one_of(st.sampled_from(WORDS), st.text(max_size=6))


@settings(max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    which=st.sampled_from(["build", "session"]),
    swaps=st.lists(
        st.tuples(st.floats(0.0, 0.999), st.one_of(st.sampled_from(WORDS), st.text(max_size=6))), max_size=4
    ),
)
def test_a_file_with_words_swapped_is_read_or_refused(
    tmp_path: Path, which: str, swaps: list[tuple[float, str]]
) -> None:
    text = BUILD if which == "build" else SESSION
    for at, word in swaps:
        found = list(re.finditer(r'"[^"\n]*"|[\w.]+|[\[\]=#\n]', text))
        place = found[int(at * len(found))]
        text = text[: place.start()] + word + text[place.end() :]
    file = tmp_path / "fuzzed.toml"
    file.write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        (load_build if which == "build" else load_session)(file)
    except BadInput as error:
        message = str(error)  # what the user gets; no other exception may come out
    else:
        message = "read"
    assert message


def test_a_compressor_alone_is_no_charge_path(tmp_path: Path) -> None:
    (tmp_path / "bare.toml").write_text(
        'schema = "coldside.build/1"\nname = "Bare"\n\n[engine]\nkind = "piston"\n'
        'displacement = "2.0 L"\ncylinders = 4\n'
        'boost = [["2500 rpm", "8 psi"], ["7500 rpm", "20 psi"]]\nfuel = "E85"\n\n[charge]\npath = ["turbo"]\n\n'
        '[parts.turbo]\nkind = "compressor"\nefficiency = "72 %"\n'
    )
    with pytest.raises(BadInput) as refused:
        load_build(tmp_path / "bare.toml")
    assert refused.value.key == "charge.path"
    assert refused.value.where.endswith("bare.toml:12")
    assert "holds no pipe, core or plenum: name what the charge passes on its way to the engine" in str(refused.value)
