"""The sections of a sheet, each a piece of HTML of its own; the page shows the same ones.

Here: one function a section, from a forecast, its verdict and a unit system.  Rows come from `tables.py` and
`parts_list.py`, drawings from `ribbon.py` and `figures.py`, pieces from `html.py`.
"""

from __future__ import annotations

from collections.abc import Sequence

from coldside.judge.run_times import run_rows, run_sentences
from coldside.judge.verdict import Verdict, label_at
from coldside.judge.wording import Range
from coldside.judge.workshop import workshop
from coldside.plant.results import Forecast
from coldside.sheet import parts_list, tables
from coldside.sheet.asked import Asked
from coldside.sheet.figures import RESISTANCE_UNIT, bar, time_chart
from coldside.sheet.html import bullets, grid, titled, told
from coldside.sheet.ribbon import ribbon_svg
from coldside.sheet.scale import escape

GIST = (
    "The verdict is for these conditions and values only. Hotter air, longer pulls, shorter rests, a dirty core or a"
    " tired pump make another session: forecast it again."
)


def head(forecast: Forecast, verdict: Verdict, headline: str, system: str) -> str:
    """What was forecast, the headline of the verdict, and the conditions it holds for."""
    build, session = forecast.build, forecast.session
    said = "; ".join(tables.conditions(forecast, system))
    cls = "verdict" if verdict.holds else "verdict no"
    return (
        f'<header><p class="kicker">{escape(build.name)} · {escape(session.name)}</p>'
        f'<div class="{cls}"><h1>{told(headline)}</h1></div>'
        f"<p>{told(said[:1].upper() + said[1:])}.</p>"
        f'<p class="small">{GIST}</p></header>'
    )


def limit_table(verdict: Verdict, system: str) -> str:
    """Each limit: what is allowed, what came out, in words."""
    if not verdict.limits:
        return titled("Limits", "<p>No limit was given, so there is none to hold or break.</p>")
    heads = ("limit", "allowed", "came out", "margin", "in words")
    rows = []
    for limit in verdict.limits:
        cells = tables.limit_row(limit, system)
        broken = ' class="broken"' if limit.holds is False else ""
        body = "".join(f'<td data-l="{escape(h)}">{told(c)}</td>' for h, c in zip(heads[1:], cells[1:], strict=True))
        rows.append(f'<tr{broken}><th scope="row">{told(cells[0])}</th>{body}</tr>')
    top = "".join(f'<th scope="col">{h}</th>' for h in heads)
    return titled("Limits", f'<table class="stack"><thead><tr>{top}</tr></thead><tbody>{"".join(rows)}</tbody></table>')


def run_table(forecast: Forecast, system: str) -> str:
    """Passes and laps; empty for a session without one."""
    if not forecast.runs:
        return ""
    words = " ".join(sentence.words(system) for sentence in run_sentences(forecast))
    heads = ("run", "begins", "time", "speed at the finish", "heat costs")
    return titled(
        "Runs, and what heat cost them",
        f"<p>{told(words)}</p>" + grid(heads, run_rows(forecast, system), looks="stack"),
    )


def answers(verdict: Verdict, asked: Asked, system: str) -> str:
    """Sections of what was asked for besides the forecast."""
    made = []
    for one in asked.sections(verdict.limits, system):
        table = grid(one.heads, one.rows, looks="stack") if one.rows else ""
        made.append(titled(one.title[:1].upper() + one.title[1:], bullets(one.sentences) + table))
    return "".join(made)


def knock(verdict: Verdict, system: str) -> str:
    """Knock in short, all of it with its accuracy and cautions folded below."""
    if verdict.knock is None:
        return ""
    brief = [sentence.words(system) for sentence in verdict.knock.brief]
    whole = [sentence.words(system) for sentence in verdict.knock.sentences]
    fold = (
        f'<details class="knock"><summary><b>All of it, and how far to trust it</b></summary>{bullets(whole)}</details>'
    )
    return titled("Knock", bullets(brief) + fold)


def drawings(forecast: Forecast, system: str, asked: Asked) -> str:
    """The ribbon at the hottest moment, and the session in time."""
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
        lead = f"<b>{told(f'The intake peaks at {peak}, likely {likely}')}.</b> "
    return titled("The build at work", f"<figure><figcaption>{told(moment)}.</figcaption>{ribbon}</figure>") + titled(
        "The session",
        f"<figure><figcaption>{lead}Bands: in boost. Solid: gas; dashed: what the sensor reads; dash-dotted: limits."
        f"</figcaption>{chart}</figure>",
    )


def before_full_load(forecast: Forecast, notes: Sequence[str], system: str) -> str:
    """What to check before full load, the room that the compressor has, and notes."""
    rows = tables.before_full_load(forecast, system)
    inner = grid(("check", "figure", "meaning"), rows, looks="stack")
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
            f"<td>{told(words)}</td></tr>"
        )
    if lines:
        inner += (
            '<h3>The compressor, each at its worst moment in boost</h3><table class="stack"><thead><tr>'
            '<th scope="col">margin</th><th scope="col">room left</th><th scope="col">in words</th></tr></thead>'
            f"<tbody>{''.join(lines)}</tbody></table>"
        )
    if notes:
        inner += "<h3>Notes</h3>" + bullets(notes)
    return titled("Before full load", inner)


def figures(forecast: Forecast, system: str) -> str:
    """Key figures at the start, at their highest, on average and at the end."""
    heads = ("figure", "start", "highest in boost", "mean in boost", "end")
    rows = [(name, *cells) for name, cells in tables.key_figures(forecast, system)]
    return titled("Figures", grid(heads, rows, caption=tables.in_boost(forecast), looks="stack"))


def heat_balance(forecast: Forecast, system: str) -> str:
    """The ledger and the ladder, side by side."""
    rows = tables.ledger_rows(forecast, system)
    low = min([r.heat for r in rows] + [0.0])
    high = max([r.heat for r in rows] + [1.0])
    lines = "".join(
        f'<tr{"" if r.total else " class=" + chr(34) + "sub" + chr(34)}><th scope="row">{escape(r.name)}</th>'
        f'<td class="b">{bar(r.heat, low, high, r.words)}</td><td class="n">{told(r.words)}</td></tr>'
        for r in rows
    )
    ledger = f"<p>{told(tables.ledger_sentence(forecast))}</p><table><tbody>{lines}</tbody></table>"
    rungs = tables.ladder_rows(forecast, system)
    if not rungs:
        return titled("Where the heat went", ledger)
    low, high, unit = min(r[1] for r in rungs), max(r[1] for r in rungs), told(RESISTANCE_UNIT[system])
    steps = "".join(
        f'<tr><th scope="row">{escape(name)}</th><td class="b">{bar(drop, low, high, words)}</td>'
        f'<td class="n" data-l="drop">{told(words)}</td>'
        f'<td class="n" data-l="share">{told(share)}</td><td class="n" data-l="{unit}">{told(k)}</td></tr>'
        for name, drop, words, k, share in rungs
    )
    ladder = (
        "<p>From the charge in the cores to ambient, at the hottest moment. The longest rung is where a change can do"
        " most, if it can be changed.</p>"
        '<table class="stack"><thead><tr><th scope="col">rung</th><th scope="col">drop</th>'
        '<th scope="col"></th><th scope="col">share</th>'
        f'<th scope="col" class="whole">resistance,<br/>{unit}</th></tr></thead><tbody>{steps}</tbody></table>'
    )
    return '<div class="two">' + titled("Where the heat went", ledger) + titled("What holds it back", ladder) + "</div>"


def health(forecast: Forecast, system: str) -> str:
    """How far to trust the forecast."""
    return titled("How far to trust it", grid(("check", "result"), tables.health_rows(forecast, system), looks="stack"))


def workshop_notes(forecast: Forecast, system: str) -> str:
    """Charge tract, filling, electrics and cores, two beside each other where there is room."""
    found = workshop(forecast.build, system)
    return '<div class="two">' + "".join(titled(title, bullets(said)) for title, said in found) + "</div>"


def parts(forecast: Forecast, system: str) -> str:
    """Every part with its sizes."""
    rows = [(", ".join(r.names), r.kind, r.paths, r.sizes) for r in parts_list.part_rows(forecast, system)]
    heads, caption = ("part", "kind", "lies on", "sizes"), "* a default, not given by you"
    return titled("Parts", grid(heads, rows, caption=caption, looks="stack parts"))


def assumed(forecast: Forecast, system: str) -> str:
    """What nobody gave, folded by kind of part; print shows it unfolded."""
    groups = parts_list.assumed(forecast, system)
    if not groups:
        return titled("What was assumed", "<p>Nothing: every value was given.</p>")
    count, spreads = sum(len(g.rows) for g in groups), sum(g.spreads for g in groups)
    words = (
        f"<p>{count} values that nobody gave, {spreads} of them with a known spread (one standard deviation)."
        ' Measure those that matter and write them into the build.<span class="screen"> Open a kind of part to see its'
        " own.</span></p>"
    )
    return titled(
        "What was assumed",
        words + f'<div class="assumed">{"".join(_group(group) for group in groups)}</div>',
        small=True,
    )


def _group(group: parts_list.AssumedGroup) -> str:
    lines = []
    for whose, what, value in group.rows:
        only = f" ({escape(whose)})" if whose else ""
        lines.append(f'<tr><th scope="row">{told(what)}{only}</th><td>{told(value)}</td></tr>')
    owners = "" if group.title.startswith("engine") else f": {escape(', '.join(group.owners))}"
    head = f"<b>{escape(group.title)}</b>{owners} · {len(group.rows)} {'value' if len(group.rows) == 1 else 'values'}"
    return f"<details><summary>{head}</summary><table><tbody>{''.join(lines)}</tbody></table></details>"
