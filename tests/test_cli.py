"""The commands: exit codes, what goes to which stream, help texts whole (tests/words/help_*.txt), lazy public names.

Exit codes and streams are those of the design's definitions, "Commands"; the help's limit of 0.4 s is measured in
tests/shape.
"""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest
import typer
from typer.testing import CliRunner

import coldside
from coldside import cli, resources
from coldside.duty.model import PhaseSpec
from coldside.errors import BadInput, Internal, ManyBadInputs, NoAnswer

WORDS = Path(__file__).parent / "words"
COMMANDS = ("demo", "check", "point", "forecast", "sheet", "compare", "proposal", "strategy", "draft")
runner = CliRunner()


@pytest.fixture
def tern(examples):
    return str(examples / "tern" / "water.toml")


@pytest.fixture
def dunlin(examples):
    return str(examples / "dunlin" / "build.toml")


@pytest.fixture
def pulls(examples):
    return str(examples / "sessions" / "dyno-pulls.toml")


@pytest.fixture
def limits(tmp_path):
    """A maker of files with one limit on the intake."""

    def make(at_most: str) -> str:
        file = tmp_path / "limits.toml"
        file.write_text(
            f'schema = "coldside.limits/1"\n[[limits]]\nquantity = "intake"\nat_most = "{at_most}"\n', encoding="utf-8"
        )
        return str(file)

    return make


@pytest.fixture
def short(tmp_path):
    """A session of a few seconds, so that a test need not wait: one idle, one pull."""
    file = tmp_path / "short.toml"
    file.write_text(
        'schema = "coldside.session/1"\nname = "Short"\n'
        '[ambient]\ntemperature = "30 degC"\n'
        '[[phases]]\nkind = "idle"\nduration = "5 s"\n'
        '[[phases]]\nkind = "pull"\non = "road"\nfrom = "3500 rpm"\nto = "7000 rpm"\nduration = "8 s"\ngear = 3\n',
        encoding="utf-8",
    )
    return str(file)


def run(*arguments, **options):
    return runner.invoke(cli.app, [str(argument) for argument in arguments], **options)


def outside(*arguments, **environment):
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "coldside", *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        errors="replace",  # another code page, when a test asks for one
        env={**os.environ, "PYTHONUTF8": "1", **environment},
        check=False,
    )


# -- help --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_is_as_stored(command):
    """To store a changed text: COLDSIDE_STORE_WORDS=1 pytest tests/test_cli.py, then read the difference."""
    seen = run(*filter(None, [command]), "--help", prog_name="coldside", env={"COLUMNS": "80", "TERMINAL_WIDTH": "80"})
    assert seen.exit_code == 0
    text = "\n".join(line.rstrip() for line in seen.stdout.strip().splitlines()) + "\n"
    file = WORDS / f"help_{command or 'coldside'}.txt"
    if os.environ.get("COLDSIDE_STORE_WORDS") == "1":
        file.write_text(text, encoding="utf-8")
    assert text == file.read_text(encoding="utf-8")


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_has_an_example_of_that_command(command):
    text = run(*filter(None, [command]), "--help").stdout
    assert re.search(rf"Example:\n\s+coldside {command or 'demo'}", text)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_takes_json_units_and_set(command):
    text = run(command, "--help").stdout
    assert all(option in text for option in ("--json", "--units", "--set"))


def test_examples_of_help_name_files_that_exist(root):
    named = {word for command in COMMANDS for word in re.findall(r"examples/\S+\.toml", run(command, "--help").stdout)}
    assert named
    assert all((root / name).is_file() for name in named)


def test_version():
    assert run("--version").stdout == f"coldside {coldside.__version__}\n"


# -- exit codes --------------------------------------------------------------------------------------


def command_that(action):
    """An app of one guarded command that does `action`."""
    app = typer.Typer(rich_markup_mode=None, pretty_exceptions_enable=False)

    @app.command()
    @cli.guarded
    def only() -> int | None:
        return action()

    return app


def raising(error):
    def action():
        raise error

    return command_that(action)


@pytest.mark.parametrize(
    ("error", "code", "lines"),
    [
        (BadInput("has no unit", where="a.toml:4", key="parts.tank"), 2, ["a.toml:4: parts.tank: has no unit"]),
        (ManyBadInputs([BadInput("one", where="a:1"), BadInput("two", where="a:2")]), 2, ["a:1: one", "a:2: two"]),
        (NoAnswer("pump cannot lift the coolant"), 2, ["pump cannot lift the coolant"]),
        (PermissionError(13, "Permission denied", "locked.html"), 2, ["locked.html: Permission denied"]),
        (KeyboardInterrupt(), 130, ["Interrupted."]),
    ],
)  # fmt: skip
def test_errors_become_words_and_an_exit_code(error, code, lines):
    seen = runner.invoke(raising(error), [])
    assert seen.exit_code == code
    assert seen.stdout == ""
    assert seen.stderr.splitlines() == lines


@pytest.mark.parametrize("error", [Internal("lost a wall"), ZeroDivisionError("division\nby zero"), KeyError("x")])
def test_our_own_fault_says_what_to_send_and_shows_no_traceback(error):
    seen = runner.invoke(raising(error), [])
    assert seen.exit_code == 3
    assert seen.stdout == ""
    assert "Traceback" not in seen.stderr
    assert len(seen.stderr.splitlines()) <= 3
    assert type(error).__name__ in seen.stderr
    assert "send" in seen.stderr


def test_debugging_shows_the_traceback(monkeypatch):
    monkeypatch.setenv("COLDSIDE_DEBUG", "1")
    seen = runner.invoke(raising(ZeroDivisionError("division by zero")), [])
    assert seen.exit_code == 3
    assert "Traceback" in seen.stderr


def test_a_commands_own_code_passes():
    assert runner.invoke(command_that(lambda: None), []).exit_code == 0
    assert runner.invoke(command_that(lambda: 1), []).exit_code == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ["check"],
        ["check", "build.toml", "--no-such-option"],
        ["forecast", "build.toml"],
        ["check", "build.toml", "--units", "imperial"],
        ["no-such-command"],
    ],
)
def test_a_wrong_command_line_is_bad_input(arguments):
    seen = run(*arguments)
    assert seen.exit_code == 2
    assert seen.stdout == ""
    assert len([line for line in seen.stderr.splitlines() if line.strip()]) <= 3


@pytest.mark.parametrize("json_too", [[], ["--json"]])
def test_bad_build_in_a_process_of_its_own(tmp_path, json_too):
    bad = tmp_path / "bad.toml"
    bad.write_text('schema = "coldside.build/1"\nname = "Bad"\n[engine]\nkind = "pistom"\n', encoding="utf-8")
    seen = outside("check", bad, *json_too)
    assert seen.returncode == 2
    assert seen.stdout == ""
    assert "bad.toml:4" in seen.stderr
    assert "Traceback" not in seen.stderr


def test_a_file_that_is_not_there():
    seen = run("check", "nowhere/none.toml")
    assert seen.exit_code == 2
    assert "none.toml" in seen.stderr


# -- check -------------------------------------------------------------------------------------------


def test_check(tern):
    seen = run("check", tern)
    assert seen.exit_code == 0
    assert "left_core | right_core" in seen.stdout
    assert seen.stderr == ""


def test_check_json_is_one_object(tern):
    seen = run("check", tern, "--json", "--set", "parts.tank.volume=40 L")
    said = json.loads(seen.stdout)
    assert said["schema"] == "coldside.check/1"
    assert ["left_core", "right_core"] in said["charge"]
    assert said["parts"]["left_core"] == "water_core"
    assert all({"key", "value", "help"} <= set(default) for default in said["defaults"])


def test_set_is_checked_too(tern):
    seen = run("check", tern, "--set", "parts.tank.volume=40")
    assert seen.exit_code == 2
    assert "--set: parts.tank.volume" in seen.stderr


# -- point -------------------------------------------------------------------------------------------


def test_moment():
    assert cli.moment("end") == "END"
    assert cli.moment("12:30") == 750.0
    assert cli.moment("1:00:05") == 3605.0
    assert cli.moment("90 s") == 90.0
    assert cli.moment("12 min") == 720.0
    with pytest.raises(BadInput, match="--at"):
        cli.moment("soon")


def test_options_read_units():
    assert cli.within("6000", PhaseSpec, "engine_speed", "--rpm", bare="rpm") == pytest.approx(100.0)
    assert cli.within("6000 rpm", PhaseSpec, "engine_speed", "--rpm", bare="rpm") == pytest.approx(100.0)
    assert cli.option("86 degF", "temperature", "--ambient") == pytest.approx(303.15)
    assert cli.option(None, "temperature", "--ambient") is None
    with pytest.raises(BadInput, match="--ambient"):
        cli.option("86", "temperature", "--ambient")


@pytest.mark.parametrize(
    ("flag", "said"),
    [
        ("--speed=-10 mph", '--speed: "-10 mph" is out of range; it must be from 0 mph to 313 mph'),
        ("--ambient=200 degF", '--ambient: "200 degF" is out of range; it must be from -58 degF to 140 degF'),
        ("--rpm=-5", '--rpm: "-5 rpm" is out of range; it must be from 300 rpm to 20000 rpm'),
        ("--humidity=150 %", '--humidity: "150 %" is out of range; it must be from 0 % to 100 %'),
        ("--altitude=99999 ft", '--altitude: "99999 ft" is out of range; it must be from -1476 ft to 19685 ft'),
    ],
)
def test_conditions_of_a_point_keep_a_sessions_ranges(tern, flag, said):
    seen = run("point", tern, flag)
    assert seen.exit_code == 2
    assert seen.stderr.strip() == said


def test_seconds_of_a_moment_go_up_to_59(tern, pulls):
    seen = run("point", tern, "--session", pulls, "--at", "1:60")
    assert seen.exit_code == 2
    assert "up to 59" in seen.stderr


def test_pressure_at_altitude_is_the_standard_atmospheres():
    # US Standard Atmosphere 1976, table I, geometric altitude 1000 m: 8.9876e4 Pa (from memory); 0.5 is its last digit
    assert cli.pressure_at(1000.0) == pytest.approx(89876.0, abs=0.5)
    assert cli.pressure_at(None) is None


def test_at_without_a_session(tern):
    seen = run("point", tern, "--at", "END")
    assert seen.exit_code == 2
    assert "--session" in seen.stderr


def test_point_json(tern):
    seen = run("point", tern, "--rpm", "6500", "--ambient", "95 degF", "--speed", "80 mph", "--json")
    assert seen.exit_code == 0, seen.stderr
    said = json.loads(seen.stdout)
    assert said["schema"] == "coldside.point/1"
    assert said["ambient"]["temperature_K"] == pytest.approx(308.15)
    assert said["intake_K"] > 308.15


def test_point_in_words(tern):
    seen = run("point", tern, "--rpm", "6500", "--units", "us")
    assert seen.exit_code == 0, seen.stderr
    assert "degF" in seen.stdout


def test_point_at_a_moment_of_a_session(tern, short):
    seen = run("point", tern, "--session", short, "--at", "12 s", "--json")
    assert seen.exit_code == 0, seen.stderr
    assert json.loads(seen.stdout)["ambient"]["temperature_K"] == pytest.approx(303.15)


# -- forecast and sheet ------------------------------------------------------------------------------


@pytest.mark.parametrize(("at_most", "code"), [("200 degC", 0), ("10 degC", 1)])
def test_exit_code_is_the_verdict(tern, short, limits, at_most, code):
    seen = run("forecast", tern, short, "--limits", limits(at_most), "--json")
    assert seen.exit_code == code, seen.stderr
    said = json.loads(seen.stdout)
    assert said["verdict"]["holds"] is (code == 0)
    assert said["ledger"]["closure_relative"] <= 1e-6


def test_forecast_in_words(tern, short):
    seen = run("forecast", tern, short, "--units", "us")
    assert seen.exit_code == 0, seen.stderr
    assert "No limit was given" in " ".join(seen.stdout.split())
    assert "degF" in seen.stdout
    assert not re.findall(r"\d (?:K|degC|kPa|bar|kW|kg/s|L|mm|km/h)(?![\w/])", re.sub('"[^"]*"', "", seen.stdout))


def test_in_boost_is_explained_once(tern, short):
    told = " ".join(run("forecast", tern, short).stdout.split())
    assert told.count("while the pressure in the plenum is more than 5 % above that of the air outside") == 1


def test_units_change_no_number_of_the_json(tern, short):
    both = [json.loads(run("forecast", tern, short, "--json", "--units", units).stdout) for units in ("si", "us")]
    for said in both:  # words speak the units asked for
        del said["verdict"], said["proposed_limit"]["reason"], said["failures"]["sentences"]
    assert both[0] == both[1]


def test_what_dies_is_in_every_forecast(tern, short):
    seen = run("forecast", tern, short)
    assert "When something dies" in seen.stdout
    assert "the proposed limit" in " ".join(seen.stdout.split())
    assert "your limit" not in seen.stdout
    said = json.loads(run("forecast", tern, short, "--json").stdout)["failures"]
    assert {one["what"] for one in said["cases"]} == {"pump", "hose"}  # its fans stand in this session


def test_a_limit_on_a_loop_that_is_not_there_is_bad_input(tern, short, limits, tmp_path):
    file = tmp_path / "loop.toml"
    file.write_text(
        'schema = "coldside.limits/1"\n[[limits]]\nquantity = "coolant"\nloop = "chrage"\nat_most = "60 degC"\n',
        encoding="utf-8",
    )
    seen = run("forecast", tern, short, "--limits", str(file))
    assert seen.exit_code == 2
    assert seen.stderr == f'{file}:4: limits.1.loop = "chrage" is no loop of the build; nearest: "charge"\n'


def test_draws_are_made_only_when_asked_for(tern, short, limits, tmp_path):
    plain_run = run("forecast", tern, short, "--json", "--limits", limits("50 degC"))
    assert "bands" not in json.loads(plain_run.stdout)
    page = tmp_path / "sure.html"
    seen = run("forecast", tern, short, "--json", "--draws", "8", "--limits", limits("50 degC"), "--sheet", page)
    said = json.loads(seen.stdout)
    assert said["bands"]["draws"] + said["bands"]["without_balance"] == 8
    assert 0.0 <= said["bands"]["chances"]["limits.0"] <= 1.0
    assert "likely" in said["verdict"]["headline"]
    assert "How sure" in page.read_text(encoding="utf-8")
    # the forecast itself is the same, drawn or not
    assert said["intake"] == json.loads(plain_run.stdout)["intake"]


@pytest.mark.parametrize(("bands", "draws", "found"), [(False, None, 0), (True, None, 64), (True, 9, 9), (False, 9, 9)])
def test_draws_asked_for(bands, draws, found):
    assert cli.draws_of(bands, draws) == found


def test_a_handful_of_draws_is_too_few(tern, short):
    assert run("forecast", tern, short, "--draws", "3").exit_code == 2


def test_sheet(tern, short, tmp_path):
    out = tmp_path / "made.html"
    seen = run("sheet", tern, short, "--out", out)
    assert seen.exit_code == 0, seen.stderr
    assert out.read_text(encoding="utf-8").lstrip().lower().startswith("<!doctype html")
    assert str(out) in seen.stdout


def test_sheet_of_a_broken_limit_is_written_and_exits_1(tern, short, limits, tmp_path):
    out = tmp_path / "made.html"
    seen = run("sheet", tern, short, "--out", out, "--limits", limits("10 degC"), "--json")
    assert seen.exit_code == 1, seen.stderr
    assert json.loads(seen.stdout)["sheet"] == str(out)
    assert out.is_file()


def test_a_sheet_is_html(tern, short, tmp_path):
    seen = run("sheet", tern, short, "--out", tmp_path / "made.pdf")
    assert seen.exit_code == 2
    assert ".html" in seen.stderr
    assert not (tmp_path / "made.pdf").exists()


def test_a_sheet_needs_a_folder_that_is_there(tern, short, tmp_path):
    seen = run("forecast", tern, short, "--sheet", tmp_path / "none" / "made.html")
    assert seen.exit_code == 2
    assert "no folder" in seen.stderr


def test_demo_in_a_process_of_its_own(tmp_path):
    seen = subprocess.run(
        [sys.executable, "-m", "coldside", "demo", "--json"],
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=tmp_path,
        check=False,
    )
    assert seen.returncode == 0, seen.stderr
    said = json.loads(seen.stdout)
    assert said["schema"] == "coldside.forecast/1"
    assert (tmp_path / said["sheet"]).is_file()


# -- what surrounds the commands ---------------------------------------------------------------------


def test_public_names_load_when_used():
    for name in ("load_build", "load_session", "load_limits", "operating_point", "simulate", "judge", "write_sheet"):
        assert callable(getattr(coldside, name))
        assert name in dir(coldside)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = coldside.nothing


def test_examples_are_found_packaged_or_in_a_clone(root, tmp_path, monkeypatch):
    assert (resources.examples_folder() / "tern" / "water.toml").is_file()
    packaged = tmp_path / "coldside" / "examples"
    packaged.mkdir(parents=True)
    monkeypatch.setattr(resources.importlib.resources, "files", lambda _: packaged.parent)
    assert resources.examples_folder() == packaged


def test_a_console_without_the_sign_shows_another():
    cli.codecs.register_error("coldside", cli.substitute)
    raw = io.BytesIO()
    console = io.TextIOWrapper(raw, encoding="ascii", errors="coldside")
    console.write("54 °C ± 2 × 漢")
    console.flush()
    assert raw.getvalue() == b"54 deg C +- 2 x ?"


def test_prepared_means_cached_and_no_older_than_the_source(tmp_path):
    source = tmp_path / "kernel.py"
    source.write_text("")
    kernel = SimpleNamespace(
        __file__=str(source), march=SimpleNamespace(__name__="march", stats=SimpleNamespace(cache_path=str(tmp_path)))
    )
    assert not cli.is_prepared(kernel)
    index = tmp_path / "kernel.march-10.py311.nbi"
    index.write_text("")
    assert cli.is_prepared(kernel)
    os.utime(index, (0, 0))
    assert not cli.is_prepared(kernel), "compiled from an older source"


def test_a_console_of_an_old_code_page_gets_the_whole_forecast(tern, short):
    seen = outside("forecast", tern, short, PYTHONUTF8="0", PYTHONIOENCODING="cp437:strict")
    assert seen.returncode == 0, seen.stderr
    seen = outside("forecast", tern, short, PYTHONUTF8="0", PYTHONIOENCODING="ascii:strict")
    assert seen.returncode == 0, seen.stderr
    assert "?" not in seen.stdout


def test_first_use_is_announced_on_stderr(tern, short, monkeypatch):
    monkeypatch.setattr(cli, "is_prepared", lambda kernel: False)
    seen = run("forecast", tern, short, "--json")
    assert seen.stderr.splitlines() == [cli.PREPARING]
    json.loads(seen.stdout)


@pytest.mark.parametrize("delay", [0.0, 0.1, 0.3, 0.7])
def test_ctrl_c_never_shows_a_traceback(tern, pulls, delay):
    # in a process of its own that strikes itself: while modules load, and while it reads or solves
    strike = (
        "import os, signal, sys, threading, time\n"
        "from coldside import __main__ as start\n"
        "def later():\n"
        "    while signal.getsignal(signal.SIGINT) is not start.interrupted: time.sleep(0.001)\n"
        f"    time.sleep({delay})\n"
        "    signal.raise_signal(signal.SIGINT)\n"
        "threading.Thread(target=later, daemon=True).start()\n"
        "start.main()\n"
    )
    command = [sys.executable, "-c", strike, "forecast", str(tern), str(pulls)]
    seen = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", timeout=120)
    assert seen.returncode == 130
    assert seen.stderr.splitlines()[-1] == "Interrupted."
    assert "Traceback" not in seen.stderr
    assert "KeyboardInterrupt" not in seen.stderr


@pytest.mark.parametrize(
    ("units", "said"), [("si", "-12 degC and freezes at -4 degC"), ("us", "10 degF and freezes at 25 degF")]
)
def test_a_refusal_while_solving_names_the_file_and_speaks_the_units_asked_for(tern, units, said):
    mix = "loops.charge.coolant=ethylene glycol 10 % by volume"
    seen = run("point", tern, "--ambient", "10 degF", "--set", mix, "--units", units)
    assert seen.exit_code == 2
    assert seen.stderr.startswith(f"{tern}: loops.charge.coolant: ethylene glycol 10 % by volume starts at {said}")


def test_check_refuses_faces_stacked_in_a_way_that_a_forecast_would_refuse(examples, tmp_path):
    text = (examples / "plover" / "build.toml").read_text(encoding="utf-8")
    text = text.replace('path = ["front_core"', 'path = ["condenser", "front_core"')
    text += """
[parts.condenser]
kind = "exchanger"
heat = "5 kW"
bench_cooling_flow = "1 kg/s"
bench_cooling_loss = "60 Pa"
covers = "90 %"
"""
    file = tmp_path / "stack.toml"
    file.write_text(text, encoding="utf-8")
    seen = run("check", str(file))
    assert seen.exit_code == 2
    assert seen.stderr.startswith(f"{file}: parts.front_core.covers: front_core cannot cover 60")


# -- compare -----------------------------------------------------------------------------------------


def test_compare_prints_one_json_object(tern, examples, short):
    other = examples / "tern" / "air.toml"
    seen = run("compare", tern, other, "--session", short, "--draws", "0", "--json")
    assert seen.exit_code == 0, seen.stderr
    said = json.loads(seen.stdout)
    assert set(said["builds"]) == {"A", "B"}
    assert said["figures"]["hottest_in_boost_K"]["gap_band"] is None  # nothing was drawn


def test_compare_in_words_is_in_the_units_asked_for(tern, examples, short):
    other = examples / "tern" / "air.toml"
    seen = run("compare", tern, other, "--session", short, "--draws", "0", "--units", "us")
    assert seen.exit_code == 0, seen.stderr
    assert "degF" in seen.stdout
    assert "degC" not in seen.stdout
    assert "In favour of B" in seen.stdout


def test_compare_over_two_sessions(tern, examples, short):
    other = examples / "tern" / "air.toml"
    asked = ("compare", tern, other, "--session", short, "--session", short, "--draws", "0")
    seen = run(*asked)
    assert seen.exit_code == 0, seen.stderr
    assert seen.stdout.count("Who is ahead where") == 2
    assert "Over these sessions" in seen.stdout
    said = json.loads(run(*asked, "--json").stdout)
    assert said["schema"] == "coldside.comparisons/1"
    assert len(said["sessions"]) == 2


def test_compare_refuses_one_build_and_five(tern, short):
    for count, word in ((1, "one build given"), (5, "5 builds given")):
        seen = run("compare", *[tern] * count, "--session", short)
        assert seen.exit_code == 2
        assert word in seen.stderr
        assert "2 to 4" in seen.stderr
