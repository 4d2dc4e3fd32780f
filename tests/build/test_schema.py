"""The models made from the field metadata: every key of every kind of part reads what a user would write."""

from __future__ import annotations

import contextlib
import dataclasses
from pathlib import Path
from typing import Any

import pytest

from coldside import units
from coldside.build.check import default_text
from coldside.build.document import scan
from coldside.build.model import Given
from coldside.build.schema import PART_KINDS, Reading, SpecField, fields_of, model_of
from coldside.duty.model import AmbientSpec, LimitSpec, PhaseSpec, ReadingSpec
from coldside.errors import BadInput
from coldside.parts.airflow import DuctSpec
from coldside.parts.engine import BaySpec, CarSpec, EngineSpec
from coldside.units import Pressure

SPECS = [*PART_KINDS.values(), EngineSpec, CarSpec, BaySpec, DuctSpec, AmbientSpec, ReadingSpec, PhaseSpec, LimitSpec]
KEYS = [(spec, item) for spec in SPECS for item in fields_of(spec)]
WITH_UNIT = [(spec, item) for spec, item in KEYS if item.meta.kind in units.KINDS]
NUMBERS = [(spec, item) for spec, item in WITH_UNIT if isinstance(item.default, float) and item.meta.kind != "command"]


def name_of(value: Any) -> str | None:
    return value.__name__ if isinstance(value, type) else value.key if isinstance(value, SpecField) else None


def read_one(spec: type, item: SpecField, value: Any, folder: Path = Path(".")) -> Any:
    """The value of one key of a table that holds nothing else (missing keys are not looked at)."""
    context: dict[str, Any] = {"folder": str(folder), "kind": "temperature", "read": {}}
    with contextlib.suppress(ValueError):  # the other keys are missing
        model_of(spec).model_validate({item.key: value}, context=context)
    return context["read"].get(item.name)


@pytest.mark.parametrize(("spec", "item"), NUMBERS, ids=name_of)
@pytest.mark.parametrize("system", ["si", "us"])
def test_a_default_as_it_is_shown_reads_back(spec: type, item: SpecField, system: str) -> None:
    text = units.show(item.default, item.meta.kind, system, digits=6)
    read = read_one(spec, item, text)
    assert read is not None, text
    # six decimals of the unit shown; the smallest default, 1.6 mm of wall, is 0.063 in
    assert read.value == pytest.approx(item.default, rel=2e-5, abs=1e-12)


@pytest.mark.parametrize(("spec", "item"), WITH_UNIT, ids=name_of)
def test_the_ends_of_a_range_are_inside_and_beyond_is_refused(spec: type, item: SpecField) -> None:
    low, high = item.meta.low, item.meta.high
    if low is None or high is None or item.meta.kind == "count":
        assert item.meta.kind in ("pressure", "boost", "command", "count"), "a range is missing"
        return
    unit = item.meta.kind
    step = 1e-6 * (high - low)
    for value, inside in ((low, True), (high, True), (low - step, False), (high + step, False)):
        text = _si_text(value, unit)
        assert (read_one(spec, item, text) is not None) is inside, text


def _si_text(value: float, kind: str) -> str:
    """A value in the kind's own SI unit, in all its digits."""
    spelling = next(
        s for s, factor in units.KINDS[kind].factors.items() if factor == 1.0 and not units.KINDS[kind].offsets.get(s)
    )
    return f"{value!r} {spelling}"


@pytest.mark.parametrize(("spec", "item"), KEYS, ids=name_of)
def test_what_no_key_takes_is_refused(spec: type, item: SpecField) -> None:
    for value in ({"a": 1}, ["x"], "", "?", None):
        if value == "?" and item.meta.kind == "text":
            continue
        if value == {"a": 1} and item.meta.kind == "air":
            continue
        assert read_one(spec, item, value) is None


@pytest.mark.parametrize("spec", SPECS, ids=name_of)
def test_the_model_has_every_key_and_its_help(spec: type) -> None:
    properties = model_of(spec).model_json_schema()["properties"]
    assert list(properties) == [item.key for item in fields_of(spec)]
    assert len(properties) == len(dataclasses.fields(spec))
    for item in fields_of(spec):
        assert properties[item.key]["description"] == item.meta.help
    required = model_of(spec).model_json_schema().get("required", [])
    assert required == [item.key for item in fields_of(spec) if item.required]


@pytest.mark.parametrize(("spec", "item"), [(s, i) for s, i in KEYS if i.meta.kind == "choice"], ids=name_of)
def test_choices(spec: type, item: SpecField) -> None:
    for choice in item.meta.choices:
        assert read_one(spec, item, choice).value == choice
    assert read_one(spec, item, item.meta.choices[0].upper() + "x") is None


@pytest.mark.parametrize(
    ("text", "mode", "threshold", "hysteresis", "of"),
    [
        ("always", "always", 0.0, 0.0, ""),
        ("off", "off", 0.0, 0.0, ""),
        ("schedule", "schedule", 0.0, 0.0, ""),
        ("above 40 degC charge, 4 K hysteresis", "above", 313.15, 4.0, "charge"),
        ("above 113 degF coolant, 9 degF rise hysteresis", "above", 318.15, 5.0, "coolant"),
        ("above  45 °C  coolant ,5 K  hysteresis", "above", 318.15, 5.0, "coolant"),
    ],
)
def test_controls(text: str, mode: str, threshold: float, hysteresis: float, of: str) -> None:
    item = next(item for item in fields_of(PART_KINDS["pump"]) if item.name == "control")
    control = read_one(PART_KINDS["pump"], item, text).value
    assert (control.mode, control.of) == (mode, of)
    assert control.threshold == pytest.approx(threshold)
    assert control.hysteresis == pytest.approx(hysteresis)


def test_a_flag_is_true_or_false_without_quotes() -> None:
    item = next(item for item in fields_of(PART_KINDS["valve"]) if item.name == "check")
    assert read_one(PART_KINDS["valve"], item, True).value is True
    assert read_one(PART_KINDS["valve"], item, "true") is None
    assert read_one(PART_KINDS["valve"], item, 1) is None


def test_every_key_without_a_value_says_what_is_used_instead() -> None:
    alternatives = {("EngineSpec", key) for key in ("displacement", "cylinders", "chamber_volume", "rotors")} | {
        ("CompressorSpec", key) for key in ("map", "design_flow", "design_pressure_ratio", "efficiency")
    }
    alternatives |= {
        ("SuperchargerSpec", key)
        for key in ("displacement", "map", "design_flow", "design_pressure_ratio", "design_speed")
    }
    for spec, item in KEYS:
        if spec in (PhaseSpec, PART_KINDS["exchanger"]) or item.required or item.default is not None:
            continue
        assert item.meta.when_absent or (spec.__name__, item.key) in alternatives, (spec.__name__, item.key)


def test_default_texts_in_both_systems() -> None:
    item = next(item for item in fields_of(BaySpec) if item.name == "temperature_rise")
    given = Given(20.0, "", 8.0, "default")
    assert default_text(item, given) == "20 K +- 40 %"
    assert default_text(item, given, "us") == "36 degF rise +- 40 %"
    item = next(item for item in fields_of(EngineSpec) if item.name == "metal_temperature")
    assert default_text(item, Given(363.15, "", 8.0, "default"), "us") == "194 degF +- 14.4 degF rise"


def test_the_spread_of_a_share_is_in_points() -> None:
    # "1.2 % +- 20 %" would read back as 20 points: a % behind a % is in points
    item = next(item for item in fields_of(CarSpec) if item.name == "rolling_resistance")
    assert default_text(item, Given(0.012, "", 0.0024, "default")) == "1.2 % +- 0.24 %"
    assert units.parse("1.2 % +- 0.24 %", "share").sd == pytest.approx(0.0024)


def test_a_table_is_read_whole_or_not_at_all() -> None:
    document = scan("[bay]\ntemperature_rise = 'x'\nidle_rise = '30 K'\n", "t.toml")
    reading = Reading(document)
    assert reading.table(BaySpec, document.data["bay"], ("bay",), "the bay") is None
    assert reading.givens == {}
    with pytest.raises(BadInput) as refused:
        reading.faults.raise_any()
    assert refused.value.where == "t.toml:2"
    assert refused.value.key == "bay.temperature_rise"


def test_pressures_of_levels_stay_levels() -> None:
    item = next(i for i in fields_of(PART_KINDS["water_core"]) if i.name == "bench_charge_pressure")
    assert read_one(PART_KINDS["water_core"], item, "1 bar gauge").value == Pressure(1e5, True)
    assert read_one(PART_KINDS["water_core"], item, "1000 bar abs") is None
