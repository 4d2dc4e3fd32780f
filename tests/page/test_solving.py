"""From texts to forecasts: the commands' own words and figures, previews that are near, nothing solved twice."""

from __future__ import annotations

import math
import threading
from pathlib import Path

import numpy as np
import pytest

from coldside.build.files import load_build
from coldside.duty.phases import load_session, read_session
from coldside.errors import BadInput, ManyBadInputs
from coldside.explore.outcome import PREVIEW, preview
from coldside.page.solving import Solver, check_build, check_session
from coldside.plant.forecast import simulate
from coldside.sheet.answer import answer
from coldside.sheet.render import sheet_html
from page.short import ONE_PULL
from words.files import BUILD, MAP, SESSION, spoiled

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def told(path: Path, load) -> list[str]:
    """What a command would say of a file, each fault on its own."""
    with pytest.raises(BadInput) as refused:
        load(path)
    faults = refused.value.faults if isinstance(refused.value, ManyBadInputs) else (refused.value,)
    return [str(fault).replace(f"{path.parent}/", "") for fault in faults]


# -- reading -----------------------------------------------------------------------------------------
def test_a_sound_text_is_read_as_its_file(tmp_path: Path) -> None:
    for file in sorted(EXAMPLES.rglob("*.toml")):
        text = file.read_text("utf-8")
        if "coldside.build/1" in text:
            assert check_build(text, file) == (load_build(file), [])
        elif "coldside.session/1" in text:
            assert check_session(text, file) == (load_session(file), [])


@pytest.mark.parametrize(
    "change",
    [
        ('"9 L"', '"9"'),
        ('volume = "9 L"', 'volum = "9 L"'),
        ("[parts.pump]", "[parts.pmup]"),
        ('kind = "reservoir"', 'kind = "resevoir"'),
        ('["nose_hx", "nose_fan"]', '["nose_fan"]'),
        ("lambda = 0.82", "lambda = 82"),
        ("[bay]", "[bay"),
        ('path = ["tank"', 'path = [["tank"]'),
    ],
    ids=str,
)
def test_faults_are_those_of_the_commands(tmp_path: Path, change: tuple[str, str]) -> None:
    text = BUILD.replace(*change)
    if text == BUILD:
        pytest.fail("the change did not take")
    path = tmp_path / "car.toml"
    path.write_text(text)
    build, problems = check_build(text, path)
    assert build is None
    said = [
        f"{one.where}: {one.message}" if one.message.startswith(one.key) else f"{one.where}: {one.key}: {one.message}"
        for one in problems
    ]
    assert said == told(path, load_build)
    assert all(one.line for one in problems)
    assert all(str(tmp_path) not in f"{one.where}{one.message}" for one in problems)


def test_every_fault_has_its_key_and_line(tmp_path: Path) -> None:
    text = spoiled(BUILD, ("lambda = 0.82", "lambda = 82"), ('kind = "filter"', 'kind = "filtr"'))
    problems = check_build(text, tmp_path / "car.toml")[1]
    lines = text.splitlines()
    assert [(one.key, lines[one.line - 1].split("=")[0].strip()) for one in problems] == [
        ("engine.lambda", "lambda"),
        ("parts.filter.kind", "kind"),
    ]


def test_sessions_too_with_the_loops_of_the_build(tmp_path: Path) -> None:
    text = ONE_PULL + '[[limits]]\nquantity = "coolant"\nloop = "hot"\nat_most = "50 degC"\n'
    assert check_session(text, tmp_path / "day.toml")[1] == []
    (problem,) = check_session(text, tmp_path / "day.toml", ["charge"])[1]
    assert problem.where == "day.toml:15"
    assert problem.key == "limits.1.loop"
    assert check_session(SESSION.replace("phases", "phasen"), tmp_path / "day.toml")[0] is None


def test_a_file_that_is_named_lies_beside(tmp_path: Path) -> None:
    (tmp_path / "map.csv").write_text(MAP)
    text = spoiled(BUILD, ("design_pressure_ratio = 2.6", 'map = "map.csv"')).replace('design_flow = "0.30 kg/s"\n', "")
    solver = Solver()
    build, problems = solver.build(text, tmp_path / "car.toml")
    assert problems == []
    assert solver.build(text, tmp_path / "car.toml")[0] is build
    session = read_session(ONE_PULL, tmp_path / "day.toml")
    before = solver.mark(build, session)
    (tmp_path / "map.csv").write_text(MAP + "\n")
    assert solver.mark(build, session) != before
    assert solver.build(text, tmp_path / "car.toml")[0] is not build
    (problem,) = solver.build(text, tmp_path / "sub" / "car.toml")[1]
    assert "map.csv" in problem.message
    assert str(tmp_path) not in problem.message + problem.where


# -- solving -----------------------------------------------------------------------------------------
def test_the_whole_answer_is_the_commands(tmp_path: Path) -> None:
    build = load_build(EXAMPLES / "tern" / "water.toml")
    session = read_session(ONE_PULL, tmp_path / "day.toml")
    solver, heard = Solver(), []
    forecast, verdict, asked = solver.full(build, session, lambda share, words: heard.append((share, words)))
    again = answer(build, session)
    assert sheet_html(forecast, verdict, "us", asked) == sheet_html(again[0], again[1], "us", again[2])
    assert asked.proposal is not None
    assert asked.failures is not None
    shares = [share for share, _ in heard]
    assert shares == sorted(shares)
    assert len(heard) >= 3
    assert all(0.0 < share < 1.0 for share in shares)
    # remembered, also for equal objects read anew
    twin = load_build(EXAMPLES / "tern" / "water.toml")
    assert solver.full(twin, session)[0] is forecast


def test_stopping_ends_the_work_and_leaves_nothing(tmp_path: Path) -> None:
    build, session = load_build(EXAMPLES / "tern" / "water.toml"), read_session(ONE_PULL, tmp_path / "day.toml")

    def stop(_share: float, _words: str) -> None:
        raise KeyError

    solver = Solver()
    with pytest.raises(KeyError):
        solver.full(build, session, stop)
    heard: list[str] = []
    solver.full(build, session, lambda _share, words: heard.append(words))
    assert heard  # it was made anew


def test_two_that_ask_at_once_are_given_one_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build, session = load_build(EXAMPLES / "tern" / "water.toml"), read_session(ONE_PULL, tmp_path / "day.toml")
    begun, made = threading.Barrier(3), []

    def slow(*args: object) -> object:
        made.append(args)
        return preview(build, session)

    monkeypatch.setattr("coldside.explore.outcome.preview", slow)
    solver, found = Solver(), []

    def ask() -> None:
        begun.wait(10)
        found.append(solver.quick(build, session))

    threads = [threading.Thread(target=ask) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 1
    assert found[0] is found[1] is found[2]


@pytest.mark.parametrize(
    ("build", "session"),
    [
        ("tern/water", "track"),
        ("tern/air", "dyno-pulls"),
        ("heron/two_stage", "dyno-pulls"),
        ("avocet/split_loop", "track"),
    ],
)
def test_a_preview_is_near_and_says_what_it_is(build: str, session: str) -> None:
    car, day = load_build(EXAMPLES / f"{build}.toml"), load_session(EXAMPLES / f"sessions/{session}.toml")
    fine, coarse = simulate(car, day), Solver().quick(car, day)
    assert coarse.intake[coarse.peak] == pytest.approx(fine.intake[fine.peak], abs=1.0)
    assert np.abs(np.interp(fine.time, coarse.time, coarse.intake) - fine.intake)[fine.boost].mean() < 1.0
    assert coarse.health.warnings[0] == PREVIEW
    assert math.isnan(coarse.health.step_check)
    assert coarse.ledger.closure < 1e-3


def test_a_refusal_names_files_not_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    build, _ = check_build(BUILD, tmp_path / "car.toml")
    session = read_session(ONE_PULL, tmp_path / "day.toml")
    assert build is not None

    def refuse(*_: object, **__: object) -> None:
        raise BadInput("is too small", key="parts.tank.volume")

    monkeypatch.setattr("coldside.explore.outcome.preview", refuse)
    monkeypatch.setattr("coldside.page.solving.answer", refuse)
    for solve in (Solver().quick, Solver().full):
        with pytest.raises(BadInput) as refused:
            solve(build, session)
        assert refused.value.where in ("car.toml", "")
        assert str(tmp_path) not in str(refused.value)


def test_a_preview_is_remembered(tmp_path: Path) -> None:
    build, session = load_build(EXAMPLES / "tern" / "water.toml"), read_session(ONE_PULL, tmp_path / "day.toml")
    solver = Solver()
    assert solver.quick(build, session) is solver.quick(build, session)
