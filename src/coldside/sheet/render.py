"""The sheet: one HTML file that explains itself, with its drawings inside and nothing fetched from anywhere.

Here: `sheet_html` and `write_sheet`.  Its sections come from `sections.py`, looks from `sheet.css`.
"""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from coldside.errors import BadInput
from coldside.judge.verdict import Verdict
from coldside.plant.results import Forecast
from coldside.sheet import sections, tables
from coldside.sheet.asked import NOTHING, Asked
from coldside.sheet.html import bullets, titled
from coldside.sheet.scale import escape
from coldside.sheet.writing import write_whole

SYSTEMS = ("si", "us")


def sheet_html(forecast: Forecast, verdict: Verdict, system: str, asked: Asked = NOTHING) -> str:
    """The whole sheet as one self-contained HTML document; `system` is "si" or "us".  BadInput for another system.

    `asked` is what was asked for besides the forecast: each answer gets a section.
    """
    if system not in SYSTEMS:
        raise BadInput(f'"{system}" is no unit system; "si" or "us" is', where="units")
    headline, reasons, notes, cautions = tables.all_words(verdict, system)
    build, session = forecast.build, forecast.session
    css = resources.files("coldside.sheet").joinpath("sheet.css").read_text(encoding="utf-8")
    body = [
        sections.head(forecast, verdict, headline, system),
        sections.limit_table(verdict, system),
        sections.run_table(forecast, system, asked),
        sections.drawings(forecast, system, asked),
        titled("What gives first, and why", bullets([*reasons])) if reasons else "",
        sections.answers(verdict, asked, system),
        sections.before_full_load(forecast, notes, system),
        sections.knock(verdict, system),
        sections.figures(forecast, system),
        sections.heat_balance(forecast, system),
        sections.health(forecast, system),
        sections.parts(forecast, system),
        sections.workshop_notes(forecast, system),
        f'<section class="caution"><h2>Cautions</h2>{bullets(cautions)}</section>',
        sections.assumed(forecast, system),
        f'<div class="sources">{titled("Sources", bullets(tables.used_sources(forecast)), small=True)}</div>',
        _foot(build.file, session.file),
    ]
    return (
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"/>'
        '<meta name="viewport" content="width=device-width, initial-scale=1"/>'
        '<meta name="color-scheme" content="light dark"/>'
        f"<title>{escape(build.name)}: {escape(session.name)}</title><style>{css}</style></head><body><main>"
        + "".join(body)
        + "</main></body></html>\n"
    )


def _foot(build_file: str, session_file: str) -> str:
    """Where the sheet came from; file names only, since the folders are nobody else's business."""
    files = f"{escape(Path(build_file).name)} and {escape(Path(session_file).name)}"
    return f"<footer>Made by coldside from {files}. Nothing in this file loads anything from elsewhere.</footer>"


def write_sheet(
    forecast: Forecast, verdict: Verdict, path: str | Path, system: str = "si", asked: Asked = NOTHING
) -> Path:
    """Write the sheet to `path` in one go: the old file stays until the new one is whole.  Returns the path.

    BadInput when the place cannot be written.
    """
    return write_whole(path, sheet_html(forecast, verdict, system, asked).encode())
