"""The command `coldside`: parse, call one public function, print, map errors to exit codes.

Here: `main`, the commands, where the bundled examples are.  Exit codes: 0 done, 1 a given limit is broken
(`forecast` and `sheet` only), 2 bad input or no balance, 3 our own fault, 130 interrupted.  With `--json`
one object goes to stdout and nothing else; progress and trouble go to stderr.  Nothing heavier than typer is
imported before a command runs.
"""

from __future__ import annotations

import codecs
import contextlib
import dataclasses
import functools
import json
import os
import sys
import traceback
from collections.abc import Callable
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ParamSpec

import typer

from coldside.errors import BadInput, ColdsideError, Internal, keys_of

if TYPE_CHECKING:
    from coldside.build.model import Build
    from coldside.explore.compare import Comparison
    from coldside.judge.verdict import Verdict
    from coldside.plant.results import Forecast
    from coldside.sheet.asked import Asked

P = ParamSpec("P")

DEMO_BUILD = ("tern", "water.toml")
DEMO_SESSION = ("sessions", "dyno-pulls.toml")
DEMO_SHEET = "coldside-demo.html"
PREPARING = "first use on this machine: preparing the solver, about half a minute, only once"
BROKEN, INTERRUPTED = 1, 130
SUBSTITUTES = {  # shown where a console lacks the sign; drawings have plain signs of their own (sheet/terminal.py)
    "°": "deg ",
    "±": "+-",
    "×": "x",
    "·": ".",
    "–": "-",
    "—": "-",
    "→": ">",
    "≤": "<=",
    "≥": ">=",
}


def example(line: str) -> str:
    """A help text's last paragraph: one command to copy, on a line of its own."""
    return f"\b\nExample:\n  {line}"


app = typer.Typer(
    name="coldside",
    help="Forecasts the charge cooling of a turbocharged car over a whole session and says whether it holds.",
    epilog=example("coldside demo"),
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


class System(StrEnum):
    """Unit system of everything shown."""

    si = "si"
    us = "us"


BuildFile = Annotated[Path, typer.Argument(metavar="BUILD", help="The build, a TOML file.", show_default=False)]
SessionFile = Annotated[Path, typer.Argument(metavar="SESSION", help="The session, a TOML file.", show_default=False)]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object on stdout and nothing else there.")]
Units = Annotated[System, typer.Option("--units", help="Units shown.")]
Overrides = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="KEY=VALUE", help='Override a value of the build, such as "parts.tank.volume=40 L".'),
]
LimitsFile = Annotated[
    Path | None,
    typer.Option("--limits", metavar="FILE", help="Judge against this file's limits instead of the session's."),
]
WithBands = Annotated[
    bool, typer.Option("--bands", help="Say how sure: run it again with the uncertain values drawn anew; see --draws.")
]
Draws = Annotated[
    int | None, typer.Option("--draws", metavar="N", help="How often they are drawn; 64 with --bands alone.", min=8)
]
WithConsistency = Annotated[
    bool,
    typer.Option("--consistency", help="Say how alike runs are, what rest they need, what tank and exchanger buy."),
]
WithChanges = Annotated[
    bool, typer.Option("--changes", help="Say what to change: single changes, each run again, the most useful first.")
]
WithCorrections = Annotated[
    bool,
    typer.Option("--corrections", help="Hold power corrections against the session run again in the standards' air."),
]


# ---------------------------------------------------------------- what every command shares


def guarded(command: Callable[P, int | None]) -> Callable[P, None]:
    """A command whose errors become a message on stderr and an exit code, never a traceback.

    The command returns its exit code (None is 0).  With COLDSIDE_DEBUG=1 a traceback of an internal error is shown.
    """

    @functools.wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> None:
        try:
            code = command(*args, **kwargs) or 0
            sys.stdout.flush()
        except KeyboardInterrupt:
            tell("Interrupted.")
            code = INTERRUPTED
        except Internal as error:
            code = our_fault(error)
        except ColdsideError as error:
            tell(in_units(str(error), kwargs.get("units")))
            code = error.exit_code
        except BrokenPipeError:  # the reader of a pipe has seen enough
            sys.stdout = open(os.devnull, "w")  # noqa: SIM115  so that the last flush does not fail again
            code = 0
        except OSError as error:
            tell(os_fault(error))
            code = BadInput.exit_code
        except Exception as error:
            code = our_fault(error)
        raise typer.Exit(code)

    return run


def try_ducts(build: Build) -> None:
    """Lay out every duct, so that faces stacked in a way that is not reckoned with are refused before a session."""
    from coldside.plant.flows import duct_flows

    for duct in build.ducts.values():
        duct_flows(build, duct)


def in_units(text: str, units: object) -> str:
    """A message with the quantities that it names (not those that a user typed) in the units asked for."""
    if units is not System.us:
        return text
    from coldside.units import retold

    return retold(text, System.us.value)


def our_fault(error: Exception) -> int:
    """Say that the fault is ours and what to send; the traceback only with COLDSIDE_DEBUG=1."""
    if os.environ.get("COLDSIDE_DEBUG") == "1":
        traceback.print_exception(error)
    text = " ".join(f"{type(error).__name__}: {error}".split())
    tell(
        f"Fault inside coldside, not in your files: {text[:200]}\n"
        "Please send this line, the command, your build and session; COLDSIDE_DEBUG=1 shows more."
    )
    return Internal.exit_code


def os_fault(error: OSError) -> str:
    """A file or folder that cannot be read or written, in one line."""
    what = error.strerror or type(error).__name__
    return f"{error.filename}: {what}" if error.filename else what


def tell(text: str) -> None:
    """A line for the person, on stderr."""
    typer.echo(text, err=True)


def progress(text: str) -> None:
    """A line of progress, on stderr, only where a person watches."""
    if sys.stderr.isatty():
        tell(text)


def print_json(said: dict[str, Any]) -> None:
    """One JSON object on stdout; NaN cannot get through."""
    typer.echo(json.dumps(said, indent=2, allow_nan=False))


def width() -> int:
    """Columns to write in: the terminal's, 100 where there is none."""
    import shutil

    return max(40, min(shutil.get_terminal_size((100, 24)).columns, 120))


def announce_first_use() -> None:
    """Say so when the solver has yet to be compiled on this machine."""
    from coldside.plant import kernel

    if not is_prepared(kernel):
        tell(PREPARING)


def is_prepared(kernel: Any) -> bool:
    """Whether compiled code of a module lies in Numba's cache on disk and is no older than its source."""
    source = Path(kernel.__file__)
    for value in vars(kernel).values():
        stats = getattr(value, "stats", None)
        folder = getattr(stats, "cache_path", None)
        if folder is None:
            continue
        name = getattr(value, "__name__", "")
        found = list(Path(folder).glob(f"{source.stem}.{name}-*.nbi"))
        if any(index.stat().st_mtime >= source.stat().st_mtime for index in found):
            return True
    return False


def solved(
    build_file: Path,
    session_file: Path,
    overrides: list[str] | None,
    limits_file: Path | None,
    **wanted: Any,
) -> tuple[Forecast, Verdict, Asked]:
    """Read, simulate and judge; the solver's preparation is announced.  `wanted`: see `sheet.answer.Wanted`."""
    from coldside.build.files import load_build
    from coldside.duty.phases import load_limits, load_session

    build = load_build(build_file, overrides or [])
    session = load_session(session_file, build.loops if limits_file is None else None)
    if limits_file is not None:
        session = replace(session, limits=load_limits(limits_file, build.loops))

    from coldside.sheet.answer import Wanted, answer

    announce_first_use()
    progress(f"{build.name}, {session.name}:")
    return answer(build, session, Wanted(**wanted), progress=progress)


def side_by_side(
    builds: list[Path], session: Path, limits: Path | None, overrides: list[str] | None, draws: int
) -> Comparison:
    """Read builds and a session and compare them; the number of builds is looked at first."""
    from coldside.build.files import load_build
    from coldside.duty.phases import load_limits, load_session
    from coldside.explore.compare import check_number, compare

    check_number(len(builds))
    loaded = [load_build(build, overrides or []) for build in builds]
    loops = {loop for one in loaded for loop in one.loops}  # a limit may be on what only one of them has
    read = load_session(session, loops if limits is None else None)
    if limits is not None:
        read = replace(read, limits=load_limits(limits, loops))
    announce_first_use()
    return compare(loaded, read, n=draws, progress=progress)


def list_to_fill_in(builds: list[Path], overrides: list[str] | None, file: Path, as_json: bool) -> int:
    """Write an empty price list for these builds."""
    from coldside.build.files import load_build
    from coldside.sheet.prices import write_blank_prices

    write_blank_prices([load_build(build, overrides or []) for build in builds], file)
    if as_json:
        print_json({"prices": str(file)})
    else:
        typer.echo(f"Prices to fill in: {file}")
    return 0


def code_of(verdict: Verdict, asked: Asked) -> int:
    """Exit code of a verdict: a limit that was only proposed breaks nothing that the user asked for."""
    return 0 if verdict.holds or asked.proposal is not None else BROKEN


def draws_of(bands: bool, draws: int | None) -> int:
    """How many draws were asked for; 0 for none."""
    if draws is not None:
        return draws
    if not bands:
        return 0
    from coldside.explore.bands import DRAWS

    return DRAWS


def show_forecast(
    forecast: Forecast, verdict: Verdict, asked: Asked, as_json: bool, units: System, sheet: Path | None
) -> None:
    """Print a forecast as JSON or as text; name the sheet that was written."""
    if as_json:
        from coldside.judge.summary import forecast_json, plain

        said = forecast_json(forecast, verdict, units.value) | plain(asked.json(units.value))
        if sheet is not None:
            said["sheet"] = str(sheet)
        print_json(said)
        return
    from coldside.sheet.terminal import forecast_text

    typer.echo(forecast_text(forecast, verdict, units.value, width(), asked=asked))
    if sheet is not None:
        typer.echo(f"Sheet: {sheet}")


def html_path(path: Path) -> Path:
    """Where a sheet goes, refused before anything is solved: another ending, or a folder that is not there."""
    if path.suffix.lower() not in (".html", ".htm"):
        raise BadInput(f'a sheet is one HTML file; "{path}" must end in .html')
    if not path.parent.is_dir():
        raise BadInput(f'there is no folder "{path.parent}" to write the sheet to')
    return path


def write(forecast: Forecast, verdict: Verdict, asked: Asked, path: Path, units: System) -> None:
    """Write the sheet."""
    from coldside.sheet.render import write_sheet

    write_sheet(forecast, verdict, path, units.value, asked)


def option(text: str | None, kind: str, name: str) -> Any:
    """The SI value of an option's text."""
    if text is None:
        return None
    from coldside.units import parse

    try:
        return parse(text, kind).value
    except BadInput as error:
        raise BadInput(error.message, where=name) from None


def within(text: str | None, spec: type, key: str, name: str, bare: str = "") -> Any:
    """An option's SI value, held to the range that `key` has in a session; `bare` is the unit of a number alone."""
    if text is None:
        return None
    from coldside.build.values import read_value
    from coldside.parts.fields import field_of

    if bare:
        with contextlib.suppress(ValueError):
            text = f"{float(text):g} {bare}"
    try:
        return read_value(field_of(spec, key), text, {}).value
    except BadInput as error:
        raise BadInput(error.message, where=name) from None


# ---------------------------------------------------------------- the commands


@app.callback(invoke_without_command=True)
def root(
    version: Annotated[bool, typer.Option("--version", help="Print the version and leave.", is_eager=True)] = False,
) -> None:
    """Forecasts the charge cooling of a turbocharged car over a whole session and says whether it holds."""
    if version:
        from coldside import __version__

        typer.echo(f"coldside {__version__}")
        raise typer.Exit(0)


@app.command(short_help="The bundled car and session, end to end.", epilog=example("coldside demo --units us"))
@guarded
def demo(as_json: AsJson = False, units: Units = System.si, overrides: Overrides = None) -> int:
    """The bundled build and session end to end: forecast, verdict, and a sheet in this folder."""
    from coldside.resources import examples_folder

    folder = examples_folder()
    build, session = folder.joinpath(*DEMO_BUILD), folder.joinpath(*DEMO_SESSION)
    forecast, verdict, asked = solved(build, session, overrides, None)
    sheet = Path(DEMO_SHEET)
    write(forecast, verdict, asked, sheet, units)
    show_forecast(forecast, verdict, asked, as_json, units, sheet)
    if not as_json:
        typer.echo("The car and the day are invented.")
    return 0


@app.command(
    short_help="Read and check a build.",
    epilog=example('coldside check examples/tern/water.toml --set "parts.tank.volume=40 L"'),
)
@guarded
def check(build: BuildFile, as_json: AsJson = False, units: Units = System.si, overrides: Overrides = None) -> int:
    """Read and check a build; show its paths and the defaults it takes."""
    from coldside.build.check import describe
    from coldside.build.files import load_build

    loaded = load_build(build, overrides or [])
    with keys_of(build):
        try_ducts(loaded)
    if as_json:
        from coldside.judge.summary import build_json

        print_json(build_json(loaded))
    else:
        from coldside.judge.workshop import workshop

        typer.echo("\n".join(describe(loaded, units.value, workshop(loaded, units.value))))
    return 0


@app.command(
    short_help="One steady operating point.",
    epilog=example('coldside point examples/tern/water.toml --rpm 6500 --ambient "95 degF" --speed "80 mph"'),
)
@guarded
def point(
    build: BuildFile,
    rpm: Annotated[str | None, typer.Option(metavar="RPM", help="Engine speed at full load.")] = None,
    ambient: Annotated[str | None, typer.Option(metavar="TEMP", help='Air temperature, such as "30 degC".')] = None,
    speed: Annotated[str | None, typer.Option(metavar="SPEED", help='Road speed, such as "100 km/h".')] = None,
    altitude: Annotated[str | None, typer.Option(metavar="HEIGHT", help='Over sea level, such as "240 m".')] = None,
    humidity: Annotated[str | None, typer.Option(metavar="SHARE", help='Relative humidity, such as "50 %".')] = None,
    session: Annotated[
        Path | None, typer.Option(metavar="SESSION", help="Take every condition from this session; see --at.")
    ] = None,
    at: Annotated[
        str | None, typer.Option(metavar="TIME", help='When in the session: "END", "90 s", "12 min" or "12:30".')
    ] = None,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Overrides = None,
) -> int:
    """One steady operating point: what the build settles at if these conditions last."""
    from coldside.build.files import load_build
    from coldside.duty.model import AmbientSpec, PhaseSpec

    given = {
        "engine_speed": within(rpm, PhaseSpec, "engine_speed", "--rpm", bare="rpm"),
        "ambient": within(ambient, AmbientSpec, "temperature", "--ambient"),
        "pressure": pressure_at(within(altitude, AmbientSpec, "altitude", "--altitude")),
        "humidity": within(humidity, AmbientSpec, "humidity", "--humidity"),
        "road_speed": within(speed, PhaseSpec, "speed", "--speed"),
    }
    if at is not None and session is None:
        raise BadInput("needs --session: a time of which session?", where="--at")
    loaded = load_build(build, overrides or [])
    if session is not None:
        from coldside.duty.phases import load_session

        given |= {"session": load_session(session), "at": moment(at or "END")}

    from coldside.plant.steady import operating_point

    with keys_of(build):
        result = operating_point(loaded, **given)
    if as_json:
        from coldside.judge.summary import point_json

        print_json(point_json(result))
    else:
        from coldside.sheet.terminal import point_text

        typer.echo(point_text(result, units.value, width()))
    return 0


def pressure_at(height: float | None) -> float | None:
    """Standard air pressure [Pa] at a height over sea level [m]."""
    if height is None:
        return None
    from coldside.media.air import standard_atmosphere

    return float(standard_atmosphere(height)[1])


def moment(text: str) -> float | str:
    """A time into a session, s, from "END", "90 s", "12 min", or minutes:seconds with hours before them."""
    if text.strip().upper() == "END":
        return "END"
    pieces = text.split(":")
    if 2 <= len(pieces) <= 3 and all(piece.strip().isdigit() for piece in pieces):
        if any(int(piece) >= 60 for piece in pieces[1:]):
            raise BadInput(f'"{text}": minutes and seconds after a colon go up to 59', where="--at")
        seconds = 0
        for piece in pieces:
            seconds = 60 * seconds + int(piece)
        return float(seconds)
    return float(option(text, "time", "--at"))


@app.command(
    short_help="The whole session, and whether it holds.",
    epilog=example("coldside forecast examples/tern/water.toml examples/sessions/dyno-pulls.toml"),
)
@guarded
def forecast(
    build: BuildFile,
    session: SessionFile,
    limits: LimitsFile = None,
    sheet: Annotated[Path | None, typer.Option(metavar="PATH", help="Also write the HTML sheet here.")] = None,
    bands: WithBands = False,
    draws: Draws = None,
    consistency: WithConsistency = False,
    changes: WithChanges = False,
    corrections: WithCorrections = False,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Overrides = None,
) -> int:
    """The whole session: forecast, verdict, and how far to trust them.  Exit code 1 if a given limit is broken."""
    if sheet is not None:
        html_path(sheet)
    wanted = {
        "draws": draws_of(bands, draws),
        "consistency": consistency,
        "changes": changes,
        "corrections": corrections,
    }
    result, verdict, asked = solved(build, session, overrides, limits, **wanted)
    if sheet is not None:
        write(result, verdict, asked, sheet, units)
    show_forecast(result, verdict, asked, as_json, units, sheet)
    return code_of(verdict, asked)


@app.command(
    short_help="Write the sheet of a session.",
    epilog=example("coldside sheet examples/tern/water.toml examples/sessions/track.toml --out track.html"),
)
@guarded
def sheet(
    build: BuildFile,
    session: SessionFile,
    out: Annotated[Path, typer.Option(metavar="PATH", help="Where to write it, ending in .html.")] = Path("sheet.html"),
    limits: LimitsFile = None,
    bands: WithBands = False,
    draws: Draws = None,
    consistency: WithConsistency = False,
    changes: WithChanges = False,
    corrections: WithCorrections = False,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Overrides = None,
) -> int:
    """Write the sheet of a session as one HTML file that needs no network.  Exit code 1 if a given limit is broken."""
    html_path(out)
    wanted = {
        "draws": draws_of(bands, draws),
        "consistency": consistency,
        "changes": changes,
        "corrections": corrections,
    }
    result, verdict, asked = solved(build, session, overrides, limits, **wanted)
    write(result, verdict, asked, out, units)
    if as_json:
        show_forecast(result, verdict, asked, as_json, units, out)
    else:
        typer.echo(verdict.words(units.value).headline)
        typer.echo(f"Sheet: {out}")
    return code_of(verdict, asked)


@app.command(
    short_help="Two to four builds on one session.",
    epilog=example(
        "coldside compare examples/tern/water.toml examples/tern/air.toml --session examples/sessions/track.toml"
    ),
)
@guarded
def compare(
    builds: Annotated[list[Path], typer.Argument(metavar="BUILD...", help="The builds, TOML files.")],
    session: Annotated[
        list[Path],
        typer.Option("--session", metavar="SESSION", help="The session, a TOML file; may come several times."),
    ],
    limits: LimitsFile = None,
    draws: Annotated[
        int, typer.Option(metavar="N", help="Draws of what is unknown, to say how sure a difference is; 0 for none.")
    ] = 64,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Overrides = None,
) -> int:
    """Two to four builds on one session or several: who is ahead where, by how much and how surely.

    --set changes the value in every build.
    """
    found = [side_by_side(builds, one, limits, overrides, draws) for one in session]
    if as_json:
        from coldside.explore.compare_words import comparison_json, sessions_json
        from coldside.judge.summary import plain

        told = comparison_json(found[0], units.value) if len(found) == 1 else sessions_json(found, units.value)
        print_json(plain(told))
    else:
        from coldside.sheet.comparison import sessions_text

        typer.echo(sessions_text(found, units.value, width()))
    return 0


@app.command(
    short_help="Two or three ways to cool one car, as an offer.",
    epilog=example(
        "coldside proposal examples/tern/water.toml examples/tern/air.toml --session examples/sessions/track.toml"
    ),
)
@guarded
def proposal(
    builds: Annotated[list[Path], typer.Argument(metavar="BUILD...", help="The builds, TOML files.")],
    session: Annotated[
        Path | None, typer.Option("--session", metavar="SESSION", help="The session, a TOML file.")
    ] = None,
    prices: Annotated[
        Path | None,
        typer.Option(
            "--prices", metavar="FILE", help="Your own prices and hours; without it they stay to be filled in."
        ),
    ] = None,
    customer: Annotated[str, typer.Option("--customer", metavar="TEXT", help="For whom.")] = "",
    shop: Annotated[str, typer.Option("--shop", metavar="TEXT", help="From whom.")] = "",
    car: Annotated[str, typer.Option("--car", metavar="TEXT", help="Which car.")] = "",
    note: Annotated[
        list[str] | None, typer.Option("--note", metavar="TEXT", help="A sentence of your own; may come several times.")
    ] = None,
    date: Annotated[str, typer.Option("--date", metavar="YYYY-MM-DD", help="Its date.", show_default="today")] = "",
    out: Annotated[
        Path,
        typer.Option("--out", metavar="PATH", help="Where to write it, .html or .pdf; without an ending, both."),
    ] = Path("proposal"),
    blank_prices: Annotated[
        Path | None,
        typer.Option("--blank-prices", metavar="FILE", help="Only write a price list for these builds, to fill in."),
    ] = None,
    limits: LimitsFile = None,
    draws: Annotated[
        int, typer.Option(metavar="N", help="Draws of what is unknown, to say how sure a difference is; 0 for none.")
    ] = 64,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Overrides = None,
) -> int:
    """One car cooled two or three ways, side by side: degrees, power, response, repeats, room, risks and money.

    Prices are yours: write an empty list with --blank-prices, fill it in, hand it over with --prices.  Paper is A4,
    or Letter with --units us.  --set changes the value in every build.
    """
    if blank_prices is not None:
        return list_to_fill_in(builds, overrides, blank_prices, as_json)
    if session is None:
        raise BadInput("which session? Give one, or --blank-prices for a price list alone", where="--session")
    from coldside.sheet.prices import NO_PRICES, load_prices
    from coldside.sheet.proposal import day, proposal_files, write_proposal
    from coldside.sheet.proposal import proposal as offered

    files, when = proposal_files(out), day(date)
    listed = NO_PRICES if prices is None else load_prices(prices)
    found = side_by_side(builds, session, limits, overrides, draws)
    made = offered(
        found, listed, shop=shop, customer=customer, car=car, system=units.value, date=when, offer_notes=note or ()
    )
    written = [str(write_proposal(made, file)) for file in files]
    for text in made.for_the_shop:
        tell(text)
    if as_json:
        print_json({"schema": "coldside.proposal/1", "files": written, **dataclasses.asdict(made)})
    else:
        typer.echo("\n".join([*made.lead, *(f"Proposal: {file}" for file in written)]))
    return 0


@app.command(
    short_help="Starter builds from what you know at the start.",
    epilog=example("coldside draft examples/briefs/redstart.toml --out redstart"),
)
@guarded
def draft(
    brief: Annotated[Path, typer.Argument(metavar="BRIEF", help="The brief, a TOML file.", show_default=False)],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FOLDER", help="Write the builds and their session here.")
    ] = None,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Annotated[
        list[str] | None,
        typer.Option("--set", metavar="KEY=VALUE", help='Override an answer of the brief, such as "power=500 hp".'),
    ] = None,
) -> int:
    """Starter builds from a brief, sized by rules, grown within the room and really run; what to find out first.

    "don't know" is an answer to every key of a brief.  Files that are there already are not overwritten.
    """
    from coldside.build.brief import load_brief
    from coldside.explore import draft_answer

    read = load_brief(brief, overrides or [])
    if out is not None:
        draft_answer.refuse_taken(out)

    from coldside.explore.draft import draft as drafted
    from coldside.explore.draft_unknowns import most_important_unknown

    announce_first_use()
    starters = drafted(read, progress=lambda share, words: progress(f"  {100 * share:3.0f} % {words}"))
    unknowns = most_important_unknown(read, starters)
    files = draft_answer.write_starters(out, starters) if out is not None else []
    if as_json:
        print_json(draft_answer.drafted_json(read, starters, unknowns, units.value, files))
    else:
        typer.echo("\n".join(draft_answer.drafted_lines(read, starters, unknowns, units.value, width())))
        for file in files:
            typer.echo(f"Written: {file}")
    return 0


@app.command(
    short_help="Find the best switching of pumps and fans.",
    epilog=example("coldside strategy examples/tern/water.toml examples/sessions/traffic-then-pull.toml"),
)
@guarded
def strategy(
    build: BuildFile,
    session: SessionFile,
    as_json: AsJson = False,
    units: Units = System.si,
    overrides: Overrides = None,
) -> int:
    """Pumps and fans always on, as the build says, and the best switching found; and when stopping one is wrong."""
    from coldside.build.files import load_build
    from coldside.duty.phases import load_session

    loaded = load_build(build, overrides or [])
    driven = load_session(session, loaded.loops)

    from coldside.explore.strategy import strategy as find
    from coldside.explore.strategy_words import sentences, strategy_json

    announce_first_use()
    progress(f"{loaded.name}, {driven.name}: trying ways to switch")
    with keys_of(build):
        found = find(loaded, driven)
    if as_json:
        print_json(strategy_json(found, units.value))
    else:
        typer.echo("\n".join(sentence.words(units.value) for sentence in sentences(found)))
    return 0


# ---------------------------------------------------------------- page


@app.command("page", epilog=example("coldside page"))
@guarded
def page(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where the builds and sessions lie.", show_default="here")
    ] = Path("."),
    port: Annotated[
        int | None, typer.Option("--port", min=0, max=65535, help="Port to listen at; 0: any that is free.")
    ] = None,
    host: Annotated[
        str, typer.Option("--host", metavar="ADDRESS", help="Another address to listen at, for a network you trust.")
    ] = "127.0.0.1",
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open it in the browser.")] = True,
    units: Units = System.si,
) -> int:
    """The local page: brief, build, session, verdict, side by side, sheet.  On this machine only, without a network."""
    from coldside.page.server import serve

    serve(folder, host=host, port=port, browser=browser, system=units.value, tell=tell, announce=announce_first_use)
    return 0


# ---------------------------------------------------------------- start


def substitute(error: UnicodeError) -> tuple[str, int]:
    """Codec error handler: a sign that the console lacks becomes one that it has."""
    if not isinstance(error, UnicodeEncodeError):
        raise error
    lost = error.object[error.start : error.end]
    return "".join(SUBSTITUTES.get(sign, "?") for sign in lost), error.end


def main() -> None:
    """Entry point of the command `coldside`."""
    codecs.register_error("coldside", substitute)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="coldside")
    try:
        app()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
