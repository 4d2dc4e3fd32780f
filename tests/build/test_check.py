"""What `coldside check` says of a build: the whole text stored, paths drawn, concerns, 80 columns."""

from __future__ import annotations

import dataclasses
import os
import re
from pathlib import Path

import pytest

from coldside import units
from coldside.build.check import WIDTH, concerns, describe, draw_path
from coldside.build.files import load_build
from coldside.build.model import Build, Parallel
from coldside.build.schema import PART_KINDS, LoopKeys, fields_of
from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.parts.exchanger import WaterCoreSpec
from words.files import BUILD, spoiled


def loaded(folder: Path, monkeypatch: pytest.MonkeyPatch, text: str = BUILD) -> Build:
    monkeypatch.chdir(folder)
    (folder / "hill.toml").write_text(text)
    return load_build("hill.toml")


@pytest.mark.parametrize("system", ["si", "us"])
def test_the_whole_text(system: str, root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """To store a changed text: COLDSIDE_STORE_WORDS=1 pytest tests/build/test_check.py, then read the difference."""
    file = root / "tests" / "words" / f"check_{system}.txt"
    said = describe(loaded(tmp_path, monkeypatch), system)
    if os.environ.get("COLDSIDE_STORE_WORDS") == "1":
        file.write_text("\n".join(said) + "\n", encoding="utf-8")
    assert said == file.read_text(encoding="utf-8").splitlines()


def test_bench_points_that_contradict_are_worth_a_look(examples: Path) -> None:
    """Twice the flow at a better effectiveness: no core does so (own case)."""
    build = load_build(examples / "tern" / "water.toml")
    name = next(name for name, part in build.parts.items() if isinstance(part, WaterCoreSpec))
    assert not any("contradict" in worry for worry in concerns(build))
    spec = build.parts[name]
    better = {"bench2_charge_flow": 2.0 * spec.bench_charge_flow, "bench2_effectiveness": 0.97}
    off = dataclasses.replace(build, parts={**build.parts, name: dataclasses.replace(spec, **better)})
    assert any(worry.startswith(f"{name}: the two bench points contradict") for worry in concerns(off))


@pytest.mark.parametrize("system", ["si", "us"])
def test_the_bundled_builds_fit_a_terminal(system: str, examples: Path) -> None:
    for file in sorted(examples.glob("*/*.toml")):
        if file.parent.name in ("sessions", "briefs"):
            continue
        build = load_build(file)
        lines = describe(build, system)
        assert max(len(line) for line in lines[2:]) <= WIDTH  # the first lines carry the user's name and path
        told = " ".join(" ".join(lines).split())
        for key, given in build.defaults():
            assert key.rpartition(".")[2] in told
            assert units.retold(given.help, system, quoted=True) in told


# what a reader who asked for inch-pound units must not meet, but inside quotes (what was typed) and in part names
SI_WORDS = re.compile(
    r"\d (K|degC|kPa|Pa|bar|W/K|W/\(m2? ?K\)|kW|L|L/min|mL|mm|cm|m|cm2|m2|kg|g|kg/s|g/s|km/h|m/s)(?![\w/])"
)


def test_every_text_of_a_key_can_be_told_in_inch_pound_units() -> None:
    for spec in (*PART_KINDS.values(), LoopKeys, DuctSpec, EngineSpec, CarSpec, BaySpec):
        for item in fields_of(spec):
            for text in (item.meta.help, item.meta.when_absent):
                told = units.retold(text, "us", quoted=True)
                assert not SI_WORDS.search(told), (spec.__name__, item.key, told)
                # each number has its unit: of "180 W/K of cubes, 720 crushed" the second would keep its value
                assert not re.search(r"\d [A-Z]+/[^,;]*, \d[\d.]* [a-z]+[,;]", told), (spec.__name__, item.key, told)


def test_inch_pound_units_hold_no_others(examples: Path) -> None:
    for file in sorted(examples.glob("*/*.toml")):
        if file.parent.name in ("sessions", "briefs"):
            continue
        lines = describe(load_build(file), "us")[2:]
        found = [line for line in lines if SI_WORDS.search(re.sub('"[^"]*"', "", line))]
        assert not found, (file.name, found)


def test_paths_in_characters() -> None:
    inner = Parallel((("c",), ("d",)))
    path = ("a", Parallel((("b",), (inner, "e"))), "f")
    assert draw_path(path) == "a > ( b | ( c | d ) > e ) > f"
    assert draw_path((Parallel((("a",), ("b",))), "c")) == "( a | b ) > c"


def test_a_sound_build_raises_no_concern(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert concerns(loaded(tmp_path, monkeypatch)) == []


def test_concerns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    text = spoiled(
        BUILD,
        ('path = ["filter", "turbo", "hot_pipe", ', 'path = ["turbo", "hot_pipe", '),
        ('"throttle", "plenum", "intake_sensor"]', '"plenum"]'),
        ('[parts.filter]\nkind = "filter"\n', ""),
        ('[parts.throttle]\nkind = "throttle"\n', ""),
        ('[parts.intake_sensor]\nkind = "sensor"\n', ""),
        ('["7500 rpm", "20 psi"]', '["6000 rpm", "20 psi"]'),
        ('control = "above 40 degC charge, 4 K hysteresis"', 'control = "off"'),
        ('bench_cooling_loss = "170 Pa"', 'bench_cooling_loss = "170 Pa"\ncovers = "60 %"'),
    )
    assert concerns(loaded(tmp_path, monkeypatch, text)) == [
        "no sensor on the charge path: what reads the charge reads the gas at the plenum itself",
        "no filter on the charge path: no loss before the compressor is reckoned with",
        "no throttle on the charge path: no throttle loss is reckoned with",
        "engine.boost ends at 6000 rpm, below top_speed 7500 rpm: its last value is held",
        'pump: control is "off", so it never runs',
        "nose_hx: covers 60 % of the next face, but none stands behind it in duct nose",
    ]


def test_a_charge_that_is_not_cooled_is_a_concern(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    start, end = BUILD.index("[loops.charge]"), BUILD.index("[parts.filter]")
    text = BUILD[:start] + BUILD[end : BUILD.index("[parts.left_core]")] + BUILD[BUILD.index("[parts.throttle]") :]
    text = spoiled(text, ('["left_core", "right_core"], ', ""))
    text = text[: text.index("[parts.tank]")]
    build = loaded(tmp_path, monkeypatch, text)
    assert "no core on the charge path: the charge is not cooled" in concerns(build)
    assert "no loops, no ducts" in " ".join(describe(build))


def test_a_build_with_long_names_breaks_between_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    long = "hot_pipe_" + "x" * 45
    build = loaded(tmp_path, monkeypatch, BUILD.replace("hot_pipe", long))
    assert any(line.strip().startswith(f"> {long}") for line in describe(build))
