"""The judgement of solved forecasts of the bundled builds: what the design says must hold for each of them."""

from __future__ import annotations

import json
from functools import cache

import pytest

from coldside.build.files import load_build
from coldside.duty.phases import load_session
from coldside.judge.coolant import unfit_coolant
from coldside.judge.filling import filling_sentences
from coldside.judge.heat import recompute_ledger
from coldside.judge.summary import forecast_json
from coldside.judge.verdict import judge
from coldside.plant.forecast import simulate
from coldside.plant.health import doubt_words

# still air and fans that switch; many closings of the throttle; pickup against heat from the charge; a loop
RUNS = [
    ("tern/water", "dyno-pulls"),
    ("tern/air", "track"),
    ("plover/build", "traffic-then-pull"),
    ("dunlin/build", "track"),
]


@cache
def solved(examples, build, session):
    return simulate(load_build(examples / f"{build}.toml"), load_session(examples / "sessions" / f"{session}.toml"))


@pytest.mark.parametrize(("build", "session"), RUNS)
def test_the_ledger_counted_again_from_traces_agrees(examples, build, session):
    again = recompute_ledger(solved(examples, build, session))
    assert again.worst <= 1e-3  # definitions, "Ledger"


@pytest.mark.parametrize(("build", "session"), RUNS)
def test_the_rungs_are_the_whole_way(examples, build, session):
    forecast = solved(examples, build, session)
    shares: dict[str, float] = {}
    for rung in forecast.ladder:
        chain = rung.name.rpartition(": ")[0]
        shares[chain] = shares.get(chain, 0.0) + rung.share
    assert shares
    assert list(shares.values()) == pytest.approx([1.0] * len(shares), abs=1e-9)  # definitions, "Ladder"


@pytest.mark.parametrize(("build", "session"), RUNS)
def test_every_verdict_is_told(examples, build, session):
    forecast = solved(examples, build, session)
    verdict = judge(forecast)
    assert len(verdict.limits) == len(forecast.session.limits)
    for system in ("si", "us"):
        words = verdict.words(system)
        for text in (words.headline, *words.limits, *words.reasons, *words.notes):
            assert text
            assert "{" not in text
            assert "nan" not in text
    json.dumps(forecast_json(forecast, verdict), allow_nan=False)


def test_a_compressor_off_its_map_is_told_in_the_headline(examples):
    """A small compressor: the verdict itself says that the rest is not to be trusted (our own rule, no source)."""
    session = load_session(examples / "sessions" / "dyno-pulls.toml")
    sound = simulate(load_build(examples / "tern" / "water.toml"), session)
    assert sound.health.compressor_off == 0.0
    assert "do not trust" not in judge(sound).words("si").headline
    small = simulate(load_build(examples / "tern" / "water.toml", ["parts.turbo.design_flow=0.15 kg/s"]), session)
    assert small.health.compressor_off > 10.0
    assert "the compressor runs off its map" in judge(small).words("us").headline


@pytest.mark.parametrize(("share", "told"), [(2.2, ""), (4.0, "uncertain by another 10 %"), (8.0, "by another 20 %")])
def test_a_doubt_beyond_the_bench_is_told_where_it_matters(share, told):
    """10 % for every doubling beyond twice the bench flow (heat-B4, own); under 5 % nothing is said."""
    said = doubt_words(share)
    assert (said is None) if not told else told in said


def test_a_coolant_set_without_its_bench_coolant_is_told(examples):
    build = load_build(examples / "tern" / "water.toml", ["loops.charge.coolant=water"])
    told = simulate(build, load_session(examples / "sessions" / "dyno-pulls.toml")).health.warnings
    assert sum("bench_coolant is not given" in words for words in told) == 1


def test_coolant_near_boiling_is_told(examples):
    """Exchangers that give away next to nothing: told without a cap; 0.9 bar raises the boiling point out of reach.

    No outside source for the case; boiling points are tested with the coolants.
    """
    weak = [f"parts.{name}.bench_heat=0.05 kW" for name in ("left_hx", "right_hx", "lid_hx")]
    weak += ["parts.tank.volume=2 L", "loops.charge.coolant=water"]
    session = load_session(examples / "sessions" / "track.toml")
    told = {}
    for cap in ("0 bar gauge", "0.9 bar gauge"):
        build = load_build(examples / "tern" / "water.toml", [*weak, f"loops.charge.cap_pressure={cap}"])
        told[cap] = [s.words() for s in unfit_coolant(simulate(build, session)) if "boils near" in s.words()]
    assert len(told["0 bar gauge"]) == 1
    assert "_core" in told["0 bar gauge"][0]
    assert not told["0.9 bar gauge"]


def test_a_sump_is_its_loops_reservoir(examples, tmp_path):
    text = (examples / "plover" / "stacked.toml").read_text(encoding="utf-8")
    loop = '[loops.oil]\ncoolant = "engine oil"\npath = ["engine", "oil_line", "oil_pump"]\n\n[parts.filter]'
    parts = """
[parts.oil_line]
kind = "hose"
length = "1 m"
bore = "12 mm"
[parts.oil_pump]
kind = "pump"
drive = "engine"
"""
    file = tmp_path / "oil.toml"
    file.write_text(text.replace("[parts.filter]", loop, 1) + parts, encoding="utf-8")
    build = load_build(file)
    assert not any("reservoir" in note for note in build.notes)
    assert any("The sump is the reservoir of loop oil" in s.words() for s in filling_sentences(build))
