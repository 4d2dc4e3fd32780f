"""The sections of a sheet, each a piece of HTML of its own; the page shows the same ones.

Here: one function a section, from a forecast, its verdict and a unit system.  Rows come from `tables.py` and
`parts_list.py`, drawings from `ribbon.py` and `figures.py`, pieces from `html.py`.  `opens` makes of a figure's name
what opens how it came about (`origins.py`); None leaves it a name, as on paper.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from coldside import sources
from coldside.judge.heat import moment_words, step_words
from coldside.judge.run_times import run_rows, run_sentences
from coldside.judge.verdict import Verdict, label_at
from coldside.judge.wording import Range
from coldside.judge.workshop import workshop
from coldside.plant.results import Forecast
from coldside.sheet import parts_list, tables
from coldside.sheet.asked import NOTHING, Asked, Section, heading
from coldside.sheet.equation import equation_html, letter_html
from coldside.sheet.figures import RESISTANCE_UNIT, bar, time_chart
from coldside.sheet.html import bullets, grid, titled, told
from coldside.sheet.origin_inputs import Input
from coldside.sheet.origins import Opens, Origin
from coldside.sheet.ribbon import ribbon_svg
from coldside.sheet.scale import escape

GIST = (
    "The verdict is for these conditions and values only. Hotter air, longer pulls, shorter rests, a dirty core or a"
    " tired pump make another session: forecast it again."
)


def _named(opens: Opens | None, address: str, words: str) -> str:
    """A figure's name, which opens how the figure came about where that can be opened."""
    return told(words) if opens is None else opens(address, told(words))


def _below(opens: Opens | None, address: str) -> str:
    """Below sentences: what opens how their figures came about."""
    return "" if opens is None else f'<p class="how">{opens(address, "How these figures came about")}</p>'


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


def limit_table(verdict: Verdict, system: str, opens: Opens | None = None) -> str:
    """Each limit: what is allowed, what came out, in words."""
    if not verdict.limits:
        return titled("Limits", "<p>No limit was given, so there is none to hold or break.</p>")
    heads = ("limit", "allowed", "came out", "margin", "in words")
    rows = []
    for k, limit in enumerate(verdict.limits):
        cells = tables.limit_row(limit, system)
        broken = ' class="broken"' if limit.holds is False else ""
        body = "".join(f'<td data-l="{escape(h)}">{told(c)}</td>' for h, c in zip(heads[1:], cells[1:], strict=True))
        rows.append(f'<tr{broken}><th scope="row">{_named(opens, f"limits/{k}", cells[0])}</th>{body}</tr>')
    top = "".join(f'<th scope="col">{h}</th>' for h in heads)
    return titled("Limits", f'<table class="stack"><thead><tr>{top}</tr></thead><tbody>{"".join(rows)}</tbody></table>')


def run_table(forecast: Forecast, system: str, asked: Asked = NOTHING, opens: Opens | None = None) -> str:
    """Passes and laps, with their likely ranges where drawn; empty for a session without one."""
    if not forecast.runs:
        return ""
    words = " ".join(sentence.words(system) for sentence in run_sentences(forecast, asked.likely))
    heads = ("run", "begins", "time", "speed at the finish", "heat costs")
    rows = run_rows(forecast, system, asked.likely)
    names = [_named(opens, f"runs/{row[0]}", row[0]) for row in rows]
    return titled(
        "Runs, and what heat cost them",
        f"<p>{told(words)}</p>" + grid(heads, rows, looks="stack", names=names),
    )


def answers(verdict: Verdict, asked: Asked, system: str) -> str:
    """Sections of what was asked for besides the forecast."""
    return "".join(answer(one) for one in asked.sections(verdict.limits, system))


def answer(one: Section, opens: Opens | None = None) -> str:
    """One section of what was asked for."""
    names = [_named(opens, f"sure/{row[0]}", row[0]) for row in one.rows]
    table = grid(one.heads, one.rows, looks="stack", names=names) if one.rows else ""
    inner = bullets(one.sentences) + table + _below(opens, f"answers/{one.title}")
    return titled(heading(one.title), inner)


def reasons(verdict: Verdict, system: str, opens: Opens | None = None) -> str:
    """What gives first and why; empty where there is nothing to say."""
    said = tables.all_words(verdict, system)[1]
    return titled("What gives first, and why", bullets(said) + _below(opens, "answers/why")) if said else ""


def knock(verdict: Verdict, system: str, opens: Opens | None = None) -> str:
    """Knock in short, all of it with its accuracy and cautions folded below."""
    if verdict.knock is None:
        return ""
    brief = [sentence.words(system) for sentence in verdict.knock.brief]
    whole = [sentence.words(system) for sentence in verdict.knock.sentences]
    fold = (
        f'<details class="knock"><summary><b>All of it, and how far to trust it</b></summary>{bullets(whole)}</details>'
    )
    return titled("Knock", bullets(brief) + fold + _below(opens, "answers/knock"))


def drawings(forecast: Forecast, system: str, asked: Asked) -> str:
    """The ribbon at the worst moment, and the session in time."""
    at = forecast.worst
    when = tables.say(float(forecast.time[at]), "clock", system)
    where = label_at(forecast, at)
    in_boost = " in boost" if forecast.boost.any() else ""
    moment = f"At {moment_words(forecast)}{in_boost}, {when} into the session"
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
        peak = tables.say(float(forecast.intake[forecast.peak]), "temperature", system)
        likely = Range(asked.peak[0], asked.peak[2], "temperature").shown(system)
        lead = f"<b>{told(f'The intake peaks at {peak}, likely {likely}')}.</b> "
    return titled("The build at work", f"<figure><figcaption>{told(moment)}.</figcaption>{ribbon}</figure>") + titled(
        "The session",
        f"<figure><figcaption>{lead}Bands: in boost. Solid: gas; dashed: what the sensor reads; dash-dotted: limits."
        f"</figcaption>{chart}</figure>",
    )


def before_full_load(forecast: Forecast, notes: Sequence[str], system: str, opens: Opens | None = None) -> str:
    """What to check before full load, the room that the compressor has, and notes."""
    rows = tables.before_full_load(forecast, system)
    names = [_named(opens, f"before/{row[0]}", row[0]) for row in rows]
    inner = grid(("check", "figure", "meaning"), rows, looks="stack", names=names)
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
            f'<tr><th scope="row">{_named(opens, f"compressor/{margin.name}", margin.name)}</th>'
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
        inner += "<h3>Notes</h3>" + bullets(notes) + _below(opens, "answers/notes")
    return titled("Before full load", inner)


def figures(forecast: Forecast, system: str, opens: Opens | None = None) -> str:
    """Key figures at the start, at their highest, on average and at the end."""
    heads = ("figure", "start", "highest in boost", "mean in boost", "end")
    rows = [(name, *cells) for name, cells in tables.key_figures(forecast, system)]
    names = [_named(opens, f"figures/{row[0]}", row[0]) for row in rows]
    return titled("Figures", grid(heads, rows, caption=tables.in_boost(forecast), looks="stack", names=names))


def heat_balance(forecast: Forecast, system: str, opens: Opens | None = None) -> str:
    """The ledger and the ladder, side by side."""
    rows = tables.ledger_rows(forecast, system)
    low = min([r.heat for r in rows] + [0.0])
    high = max([r.heat for r in rows] + [1.0])
    lines, total = "", ""
    for r in rows:
        total = r.name if r.total else total
        name = _named(opens, f"heat/{total}" + ("" if r.total else f"/{r.name}"), r.name)
        lines += (
            f'<tr{"" if r.total else " class=" + chr(34) + "sub" + chr(34)}><th scope="row">{name}</th>'
            f'<td class="b">{bar(r.heat, low, high, r.words)}</td><td class="n">{told(r.words)}</td></tr>'
        )
    ledger = f"<p>{told(tables.ledger_sentence(forecast))}</p><table><tbody>{lines}</tbody></table>"
    rungs = tables.ladder_rows(forecast, system)
    if not rungs:
        return titled("Where the heat went", ledger)
    low, high, unit = min(r[1] for r in rungs), max(r[1] for r in rungs), told(RESISTANCE_UNIT[system])
    steps = "".join(
        f'<tr><th scope="row">{_named(opens, f"ladder/{name}", step_words(name))}</th>'
        f'<td class="b">{bar(drop, low, high, words)}</td>'
        f'<td class="n" data-l="drop">{told(words)}</td>'
        f'<td class="n" data-l="share">{told(share)}</td><td class="n" data-l="{unit}">{told(k)}</td></tr>'
        for name, drop, words, k, share in rungs
    )
    ladder = (
        f"<p>From the charge in the cores to ambient, at {moment_words(forecast)}. The largest step is where a change"
        " can do most, if it can be changed.</p>"
        '<table class="stack"><thead><tr><th scope="col">step</th><th scope="col">drop</th>'
        '<th scope="col"></th><th scope="col">share</th>'
        f'<th scope="col" class="whole">resistance,<br/>{unit}</th></tr></thead><tbody>{steps}</tbody></table>'
    )
    return '<div class="two">' + titled("Where the heat went", ledger) + titled("What holds it back", ladder) + "</div>"


def health(forecast: Forecast, system: str, opens: Opens | None = None) -> str:
    """How far to trust the forecast."""
    rows = tables.health_rows(forecast, system)
    names = [_named(opens, f"health/{row[0]}", row[0]) for row in rows]
    return titled("How far to trust it", grid(("check", "result"), rows, looks="stack", names=names))


def workshop_notes(forecast: Forecast, system: str, opens: Opens | None = None) -> str:
    """Charge tract, filling, electrics and cores, two beside each other where there is room."""
    found = workshop(forecast.build, system)
    made = (titled(title, bullets(said) + _below(opens, f"workshop/{title}")) for title, said in found)
    return '<div class="two">' + "".join(made) + "</div>"


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


def origin(one: Origin, where: Callable[[Input], str] | None = None) -> str:
    """How a figure came about, below a heading of the caller's.

    `where` gives the address at which an input can be changed, or "" for none.
    """
    made = f"<p>{told(one.words)}</p>"
    if one.equations:
        lines = "".join(
            f'<li><span class="eq">{equation_html(equation)}</span> <span class="soft">{told(of)}</span></li>'
            for equation, of in one.equations
        )
        letters = "".join(f"<dt>{letter_html(letter)}</dt><dd>{told(said)}</dd>" for letter, said in one.symbols)
        fold = f'<details><summary>What the letters stand for</summary><dl class="letters">{letters}</dl></details>'
        made += f'<h3>Equation</h3><ul class="equations">{lines}</ul>{fold}'
    if one.steps:
        made += "<h3>Here</h3>" + _two_columns([(told(what), told(figure)) for what, figure in one.steps])
    if one.inputs:
        made += f'<h3>Rests on</h3><p class="soft small">{told(one.ordered)}</p>'
        made += _two_columns([_input(item, where) for item in one.inputs])
        if one.more:
            made += f'<p class="soft small">And {one.more} more, under “Parts” and “What was assumed”.</p>'
    if one.trust:
        made += "<h3>How far to trust it</h3>" + bullets(one.trust)
    cited = "".join(f"<li>{told(sources.cite(key))}</li>" for key in one.sources)
    return made + f'<h3>Sources</h3><ul class="small">{cited}</ul>'


def _input(item: Input, where: Callable[[Input], str] | None) -> tuple[str, str]:
    """Name and value of an input: whose, what, how much, where from, and its share of the uncertainty."""
    owners = ", ".join(item.owners[:3]) + (f" and {len(item.owners) - 3} more" if len(item.owners) > 3 else "")
    address = "" if where is None else where(item)
    name = escape(f"{owners}: {item.name}")
    name = f'<a href="{escape(address)}">{name}</a>' if address else name
    said = f'{told(item.value)} <span class="soft">({item.origin_words}'
    if item.share is not None:
        said += f"; {100 * min(max(item.share, 0.0), 1.0):.0f}\u00a0% of what makes it uncertain"
    return name + f'<br/><span class="soft small">{told(item.help)}</span>', said + ")</span>"


def _two_columns(rows: Sequence[tuple[str, str]]) -> str:
    """A table of names and what they are, both HTML."""
    lines = "".join(f'<tr><th scope="row">{name}</th><td>{said}</td></tr>' for name, said in rows)
    return f'<table class="facts"><tbody>{lines}</tbody></table>'
