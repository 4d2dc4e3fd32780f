"""The sheet: one HTML file that explains itself, with its drawings inside and nothing fetched from anywhere.

Here: `sheet_html` and `write_sheet`.  Rows come from `tables.py` and `parts_list.py`, drawings from `ribbon.py` and
`figures.py`, looks from `sheet.css`.  Every text that a user wrote is escaped.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from importlib import resources
from pathlib import Path

from coldside.errors import BadInput
from coldside.judge.run_times import run_rows, run_sentences
from coldside.judge.verdict import Verdict, label_at
from coldside.judge.wording import Range
from coldside.judge.workshop import workshop
from coldside.plant.results import Forecast
from coldside.sheet import parts_list, tables
from coldside.sheet.asked import NOTHING, Asked
from coldside.sheet.figures import RESISTANCE_UNIT, bar, time_chart
from coldside.sheet.ribbon import ribbon_svg
from coldside.sheet.scale import escape, keep_units, pretty

SYSTEMS = ("si", "us")
GIST = (
    "The verdict is for these conditions and values only. Hotter air, longer pulls, shorter rests, a dirty core or a"
    " tired pump make another session: forecast it again."
)


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
        _head(forecast, verdict, headline, system),
        _limits(verdict, system),
        _runs(forecast, system),
        _drawings(forecast, system, asked),
        _section("What gives first, and why", _list([*reasons])) if reasons else "",
        _answers(verdict, asked, system),
        _before(forecast, notes, system),
        _knock(verdict, system),
        _figures(forecast, system),
        _ledger(forecast, system),
        _health(forecast, system),
        _parts(forecast, system),
        _workshop(forecast, system),
        f'<section class="caution"><h2>Cautions</h2>{_list(cautions)}</section>',
        _assumed(forecast, system),
        f'<div class="sources">{_section("Sources", _list(tables.used_sources(forecast)), small=True)}</div>',
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
    target = Path(path)
    text = sheet_html(forecast, verdict, system, asked)
    scratch = ""
    try:
        handle, scratch = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        os.chmod(scratch, mode)
        os.replace(scratch, target)
    except OSError as fault:
        if scratch and os.path.exists(scratch):
            os.unlink(scratch)
        raise BadInput(f"cannot be written: {fault.strerror or fault}", where=str(target)) from fault
    return target


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


# ------------------------------------------------------------------------------- pieces of HTML


def _t(text: str) -> str:
    """One of our own sentences, with degree signs, escaped; a number keeps its unit on its line."""
    words = pretty(text).replace(" +- ", " ± ")
    return escape(keep_units(words))


def _list(items: Sequence[str]) -> str:
    return "<ul>" + "".join(f"<li>{_t(item)}</li>" for item in items) + "</ul>"


def _section(title: str, inner: str, *, small: bool = False) -> str:
    cls = ' class="small"' if small else ""
    return f"<section><h2>{escape(title)}</h2><div{cls}>{inner}</div></section>"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], *, caption: str = "", looks: str = "") -> str:
    """A table whose first column names its rows; of its `looks`, "stack" lays rows out as blocks on a narrow screen."""
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)

    def said_head(head: str) -> str:  # a block needs no head where there is but one column
        return f' data-l="{escape(head)}"' if len(heads) > 2 else ""

    lines = []
    for row in rows:
        cells = "".join(f"<td{said_head(head)}>{_t(cell)}</td>" for head, cell in zip(heads[1:], row[1:], strict=True))
        lines.append(f'<tr><th scope="row">{_t(row[0])}</th>{cells}</tr>')
    said = f"<caption>{escape(caption)}</caption>" if caption else ""
    cls = f' class="{looks}"' if looks else ""
    return f"<table{cls}>{said}<thead><tr>{top}</tr></thead><tbody>{''.join(lines)}</tbody></table>"


def _head(forecast: Forecast, verdict: Verdict, headline: str, system: str) -> str:
    build, session = forecast.build, forecast.session
    said = "; ".join(tables.conditions(forecast, system))
    cls = "verdict" if verdict.holds else "verdict no"
    return (
        f'<header><p class="kicker">{escape(build.name)} · {escape(session.name)}</p>'
        f'<div class="{cls}"><h1>{_t(headline)}</h1></div>'
        f"<p>{_t(said[:1].upper() + said[1:])}.</p>"
        f'<p class="small">{GIST}</p></header>'
    )


def _limits(verdict: Verdict, system: str) -> str:
    if not verdict.limits:
        return _section("Limits", "<p>No limit was given, so there is none to hold or break.</p>")
    heads = ("limit", "at most", "came out", "margin", "in words")
    rows = []
    for limit in verdict.limits:
        cells = tables.limit_row(limit, system)
        broken = ' class="broken"' if limit.holds is False else ""
        body = "".join(f'<td data-l="{escape(h)}">{_t(c)}</td>' for h, c in zip(heads[1:], cells[1:], strict=True))
        rows.append(f'<tr{broken}><th scope="row">{_t(cells[0])}</th>{body}</tr>')
    top = "".join(f'<th scope="col">{h}</th>' for h in heads)
    return _section(
        "Limits", f'<table class="stack"><thead><tr>{top}</tr></thead><tbody>{"".join(rows)}</tbody></table>'
    )


def _runs(forecast: Forecast, system: str) -> str:
    """Passes and laps; empty for a session without one."""
    if not forecast.runs:
        return ""
    words = " ".join(sentence.words(system) for sentence in run_sentences(forecast))
    heads = ("run", "begins", "time", "speed at the finish", "heat costs")
    return _section(
        "Runs, and what heat cost them",
        f"<p>{_t(words)}</p>" + _table(heads, run_rows(forecast, system), looks="stack"),
    )


def _answers(verdict: Verdict, asked: Asked, system: str) -> str:
    """Sections of what was asked for besides the forecast."""
    made = []
    for one in asked.sections(verdict.limits, system):
        table = _table(one.heads, one.rows, looks="stack") if one.rows else ""
        made.append(_section(one.title[:1].upper() + one.title[1:], _list(one.sentences) + table))
    return "".join(made)


def _knock(verdict: Verdict, system: str) -> str:
    """Knock in short, all of it with its accuracy and cautions folded below."""
    if verdict.knock is None:
        return ""
    brief = [sentence.words(system) for sentence in verdict.knock.brief]
    whole = [sentence.words(system) for sentence in verdict.knock.sentences]
    fold = (
        f'<details class="knock"><summary><b>All of it, and how far to trust it</b></summary>{_list(whole)}</details>'
    )
    return _section("Knock", _list(brief) + fold)


def _drawings(forecast: Forecast, system: str, asked: Asked) -> str:
    at = forecast.peak
    when = tables.say(float(forecast.time[at]), "clock", system)
    where = label_at(forecast, at)
    moment = (
        f"At the hottest moment in boost, {when} into the session"
        if forecast.boost.any()
        else f"At the hottest moment, {when} into the session"
    )
    moment += f" ({where})" if where else ""
    ribbon = "".join(
        f'<div class="{cls}">{ribbon_svg(forecast, at, system, narrow=cls == "narrow")}</div>'
        for cls in ("wide", "narrow")
    )
    chart = "".join(
        f'<div class="{cls}">{time_chart(forecast, system, narrow=cls == "narrow", likely=asked.peak)}</div>'
        for cls in ("wide", "narrow")
    )
    lead = ""
    if asked.peak is not None:
        peak = tables.say(float(forecast.intake[at]), "temperature", system)
        likely = Range(asked.peak[0], asked.peak[2], "temperature").shown(system)
        lead = f"<b>{_t(f'The intake peaks at {peak}, likely {likely}')}.</b> "
    return _section("The build at work", f"<figure><figcaption>{_t(moment)}.</figcaption>{ribbon}</figure>") + _section(
        "The session",
        f"<figure><figcaption>{lead}Bands: in boost. Solid: gas; dashed: what the sensor reads; dash-dotted: limits."
        f"</figcaption>{chart}</figure>",
    )


def _before(forecast: Forecast, notes: Sequence[str], system: str) -> str:
    rows = tables.before_full_load(forecast, system)
    inner = _table(("check", "figure", "meaning"), rows, looks="stack")
    margins = tables.compressor_margins(forecast)
    lines = []
    for margin in margins:
        when = tables.say(margin.time, "clock", system)
        words = f"{100 * margin.left:.0f} % left, worst at {when}" + (f" in {margin.where}" if margin.where else "")
        if margin.left < 0.0:
            words = f"{-100 * margin.left:.0f} % beyond, worst at {when}" + (
                f" in {margin.where}" if margin.where else ""
            )
        lines.append(
            f'<tr><th scope="row">{escape(margin.name)}</th>'
            f'<td class="b">{bar(margin.left, -0.1, 0.6, words, 0.0)}</td>'
            f"<td>{_t(words)}</td></tr>"
        )
    if lines:
        inner += (
            '<h3>The compressor, each at its worst moment in boost</h3><table class="stack"><thead><tr>'
            '<th scope="col">margin</th><th scope="col">room left</th><th scope="col">in words</th></tr></thead>'
            f"<tbody>{''.join(lines)}</tbody></table>"
        )
    if notes:
        inner += "<h3>Notes</h3>" + _list(notes)
    return _section("Before full load", inner)


def _figures(forecast: Forecast, system: str) -> str:
    heads = ("figure", "start", "highest in boost", "mean in boost", "end")
    rows = [(name, *cells) for name, cells in tables.key_figures(forecast, system)]
    return _section("Figures", _table(heads, rows, caption=tables.in_boost(forecast), looks="stack"))


def _ledger(forecast: Forecast, system: str) -> str:
    rows = tables.ledger_rows(forecast, system)
    low = min([r.heat for r in rows] + [0.0])
    high = max([r.heat for r in rows] + [1.0])
    lines = "".join(
        f'<tr{"" if r.total else " class=" + chr(34) + "sub" + chr(34)}><th scope="row">{escape(r.name)}</th>'
        f'<td class="b">{bar(r.heat, low, high, r.words)}</td><td class="n">{_t(r.words)}</td></tr>'
        for r in rows
    )
    ledger = f"<p>{_t(tables.ledger_sentence(forecast))}</p><table><tbody>{lines}</tbody></table>"
    rungs = tables.ladder_rows(forecast, system)
    if not rungs:
        return _section("Where the heat went", ledger)
    low, high, unit = min(r[1] for r in rungs), max(r[1] for r in rungs), _t(RESISTANCE_UNIT[system])
    steps = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td class="b">{bar(drop, low, high, words)}</td>'
        f'<td class="n" data-l="drop">{_t(words)}</td>'
        f'<td class="n" data-l="share">{_t(share)}</td><td class="n" data-l="{unit}">{_t(k)}</td></tr>'
        for name, drop, words, k, share in rungs
    )
    ladder = (
        "<p>From the charge in the cores to ambient, at the hottest moment. The longest rung is where a change can do"
        " most, if it can be changed.</p>"
        '<table class="stack"><thead><tr><th scope="col">rung</th><th scope="col">drop</th>'
        '<th scope="col"></th><th scope="col">share</th>'
        f'<th scope="col" class="whole">resistance,<br/>{unit}</th></tr></thead><tbody>{steps}</tbody></table>'
    )
    return (
        '<div class="two">'
        + _section("Where the heat went", ledger)
        + _section("What holds it back", ladder)
        + "</div>"
    )


def _health(forecast: Forecast, system: str) -> str:
    return _section(
        "How far to trust it", _table(("check", "result"), tables.health_rows(forecast, system), looks="stack")
    )


def _workshop(forecast: Forecast, system: str) -> str:
    """Charge tract, filling, electrics and cores, two beside each other where there is room."""
    found = workshop(forecast.build, system)
    return '<div class="two">' + "".join(_section(title, _list(said)) for title, said in found) + "</div>"


def _parts(forecast: Forecast, system: str) -> str:
    rows = [(", ".join(r.names), r.kind, r.paths, r.sizes) for r in parts_list.part_rows(forecast, system)]
    heads, caption = ("part", "kind", "lies on", "sizes"), "* a default, not given by you"
    return _section("Parts", _table(heads, rows, caption=caption, looks="stack parts"))


def _assumed(forecast: Forecast, system: str) -> str:
    """What nobody gave, folded by kind of part; print shows it unfolded."""
    groups = parts_list.assumed(forecast, system)
    if not groups:
        return _section("What was assumed", "<p>Nothing: every value was given.</p>")
    count, spreads = sum(len(g.rows) for g in groups), sum(g.spreads for g in groups)
    words = (
        f"<p>{count} values that nobody gave, {spreads} of them with a known spread (one standard deviation)."
        ' Measure those that matter and write them into the build.<span class="screen"> Open a kind of part to see its'
        " own.</span></p>"
    )
    return _section(
        "What was assumed",
        words + f'<div class="assumed">{"".join(_group(group) for group in groups)}</div>',
        small=True,
    )


def _group(group: parts_list.AssumedGroup) -> str:
    lines = []
    for whose, what, value in group.rows:
        only = f" ({escape(whose)})" if whose else ""
        lines.append(f'<tr><th scope="row">{_t(what)}{only}</th><td>{_t(value)}</td></tr>')
    owners = "" if group.title.startswith("engine") else f": {escape(', '.join(group.owners))}"
    head = f"<b>{escape(group.title)}</b>{owners} · {len(group.rows)} {'value' if len(group.rows) == 1 else 'values'}"
    return f"<details><summary>{head}</summary><table><tbody>{''.join(lines)}</tbody></table></details>"
