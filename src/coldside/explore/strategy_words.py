"""What a search for the best switching came to, in words and as JSON.

What is here: `sentences`, `strategy_json`.  What is not: the search (`strategy.py`).
"""

from __future__ import annotations

from typing import Any

from coldside.explore.strategy import (
    ALIKE,
    FAST,
    HYSTERESIS,
    LEAST_OFF,
    LEAST_ON,
    SLOW,
    WRITTEN,
    FansOff,
    Rule,
    Slowed,
    Standstill,
    Strategy,
    Switching,
)
from coldside.judge.wording import Quantity, Sentence, listed

WHILE = {
    "idle": "idling",
    "traffic": "in traffic",
    "staging": "queueing",
    "paddock": "standing in the paddock",
    "cooldown": "cooling down",
    "parked": "parked",
    "cruise": "cruising",
}
JOULES = 3600.0  # J in a Wh
NO_DIFFERENCE = 0.05  # K that are shown as none
LEAST_STANDING = 360.0  # J drawn with the engine off from which it is told


def _rule(rule: Rule, noun: str, k: int, values: dict[str, Quantity | str], *, pumps: bool) -> str:
    """A rule in words, its names and numbers put under names of their own."""
    return _said(rule, noun, k, values, pumps) + (", off with the engine" if rule.ignition else "")


def _said(rule: Rule, noun: str, k: int, values: dict[str, Quantity | str], pumps: bool) -> str:
    values[f"who{k}"], noun = noun, f"{{who{k}}}"
    if rule.form == "always":
        return f"{noun} always on"
    if rule.form == "written":
        return f"{noun} as the build says"
    if rule.form == "load":
        return f"{noun} at half speed without load, three quarters at part load, full in boost"
    if rule.form == "after":
        values[f"after{k}"] = Quantity(rule.after, "time")
        return f"{noun} on with boost and {{after{k}}} after it"
    if rule.form == "slow":
        values[f"fast{k}"], values[f"slow{k}"] = Quantity(FAST, "speed"), Quantity(SLOW, "speed")
        return f"{noun} off over {{fast{k}}}, on again under {{slow{k}}}"
    if rule.threshold is not None:
        values[f"on{k}"] = Quantity(rule.threshold, "temperature")
        values[f"off{k}"] = Quantity(rule.threshold - HYSTERESIS, "temperature")
        what = "the intake sensor" if rule.of == "charge" else "a sensor in the tank"
        first = "on with boost, and " if pumps else "on "
        return f"{noun} {first}from {{on{k}}} that {what} reads, off again under {{off{k}}}"
    said = f"{noun} off {listed([WHILE[kind] for kind in rule.kinds])}"
    if rule.lead > 0.0:
        values[f"lead{k}"] = Quantity(rule.lead, "time")
        return said + f", on again {{lead{k}}} before boost"
    return said + ", on again with boost"


TAKES = {  # what a rule is wired with
    "off_in": "a switch at hand, or a controller that knows the phase; with control = schedule the session says it",
    "after": "a pressure switch on the plenum and a relay that opens late",
    "above": "a temperature switch with its own hysteresis, or a controller that has the reading",
    "load": "a motor controller that takes a speed signal, and manifold pressure to make it from",
    "slow": "a controller that has road speed; on a dyno with turning wheels it must be bridged",
}


def _energy(value: float) -> str:
    return f"{value / JOULES:.1f} Wh" if value < 10.0 * JOULES else f"{value / JOULES:.0f} Wh"


def _numbers(found: Strategy) -> dict[str, Quantity | str]:
    values: dict[str, Quantity | str] = {}
    for name, one in (("always", found.always), ("written", found.written), ("best", found.best)):
        values[name] = Quantity(one.peak, "temperature", 1)
        values[f"{name}_energy"] = _energy(one.energy)
    return values


def sentences(found: Strategy) -> tuple[Sentence, ...]:
    """The three ways with peaks and energies, the best one's rules, and why a pump may or may not be stopped."""
    values = _numbers(found)
    where = "in boost" if found.boosted else "in the session, which has no boost"
    said = []
    if not found.pumps:
        none = "no electric pump in a loop that cools the charge" if found.build.loops else "no coolant pump"
        said.append(Sentence(f"This build has {none}: only its fans are switched."))
    said += [
        Sentence(
            f"Peak of the intake {where}: everything on all the time {{always}} for {{always_energy}}, "
            "as the build says {written} for {written_energy}, best found {best} for {best_energy}.",
            values,
        ),
        *_best(found),
    ]
    if found.slowed is not None:
        said.append(_slow(found.slowed))
    said += [_why(one) for one in found.standstill]
    if found.fans_off:
        said.append(_without_fans(found.fans_off))
    said += _electric(found)
    said += [Sentence("{note}.", {"note": note}) for note in found.notes]
    return tuple(said)


def _best(found: Strategy) -> list[Sentence]:
    best, values = found.best, {}  # type: Switching, dict[str, Quantity | str]
    if (best.pumps, best.fans) == WRITTEN:
        return [Sentence("Nothing tried does better than the build as it is written.")]
    rules = []
    if found.pumps:
        rules.append(_rule(best.pumps, listed(found.pumps), 0, values, pumps=True))
    if found.fans:
        rules.append(_rule(best.fans, listed(found.fans), 1, values, pumps=False))
    gained, saved = found.written.peak - best.peak, found.written.energy - best.energy
    values |= {"gained": Quantity(abs(gained), "temperature_difference", 1), "saved": _energy(abs(saved))}
    costs = "as warm" if abs(gained) < NO_DIFFERENCE else "{gained} cooler" if gained > 0.0 else "{gained} warmer"
    spent = "{saved} less to draw" if saved > 0.0 else "{saved} more to draw" if saved < 0.0 else "as much to draw"
    said = [
        Sentence(
            "Best found: " + "; ".join(rules) + f". Against the build's own way: {costs} at the peak, {spent}.", values
        )
    ]
    takes = dict.fromkeys(
        f"{who} {TAKES[rule.form]}"
        for who, rule, own in (("pumps", best.pumps, found.pumps), ("fans", best.fans, found.fans))
        if own and rule.form in TAKES
    )
    devices = [
        *(found.pumps if best.pumps.form != "written" else ()),
        *(found.fans if best.fans.form != "written" else ()),
    ]
    most = max(devices, key=lambda name: best.starts[name], default=None)
    if takes:
        text = "It takes: " + "; ".join(takes) + ". Least times of {on} on and {off} off are in it"
        least: dict[str, Quantity | str] = {"on": Quantity(LEAST_ON, "time"), "off": Quantity(LEAST_OFF, "time")}
        if most is not None and best.starts[most]:
            least |= {"device": most, "times": "once" if best.starts[most] == 1 else f"{best.starts[most]} times"}
            text += "; {device} starts again {times}"
        said.append(Sentence(text + ".", least))
    return said


def _slow(one: Slowed) -> Sentence:
    """Why a pump at half speed does no harm, and why that is not the coolant's time in the exchangers."""
    values: dict[str, Quantity | str] = {
        "pumps": listed(one.pumps),
        "full": Quantity(one.full, "heat"),
        "half": Quantity(one.half, "heat"),
        "loop": one.loop,
        "flow": Quantity(one.flow, "volume_flow"),
        "slow": Quantity(one.half_flow, "volume_flow"),
        "saved": _energy(abs(one.saved)),
        "onset": Quantity(abs(one.onset), "temperature_difference", 1),
        "peak": Quantity(abs(one.peak), "temperature_difference", 1),
    }
    met = "as warm" if abs(one.onset) < NO_DIFFERENCE else "{onset} " + ("warmer" if one.onset > 0.0 else "cooler")
    peak = "the same" if abs(one.peak) < NO_DIFFERENCE else "{peak} " + ("higher" if one.peak > 0.0 else "lower")
    return Sentence(
        "Why half speed is enough for {pumps}: it draws {half} instead of {full} (power goes with the cube of speed), "
        "and all that a pump draws ends as heat in its coolant: {saved} less of it here. Loop {loop} then moves {slow} "
        "instead of {flow}, enough for the little heat without load; in boost it runs full. Against the pump always at "
        f"full speed coolant meets boost {met}, and the peak is {peak}. The longer time of slow coolant in the "
        "exchangers is no reason: it gives off no more heat there for it, but somewhat less.",
        values,
    )


def _without_fans(ones: tuple[FansOff, ...]) -> Sentence:
    """What stopping the fans does, kind of phase by kind."""
    values: dict[str, Quantity | str] = {}
    told = []
    for k, one in enumerate(ones):
        by = one.alone - one.always
        values[f"by{k}"] = Quantity(abs(by), "temperature_difference", 1)
        change = "hardly changes" if abs(by) <= ALIKE else f"is {{by{k}}} " + ("higher" if by > 0.0 else "lower")
        told.append(f"{WHILE[one.kind]} it {change}")
    return Sentence(
        "With the fans off there, and all else always on, the peak of the intake: " + ", ".join(told) + ".", values
    )


def _electric(found: Strategy) -> list[Sentence]:
    """What the energy is, what of it the battery gives alone, and what a dead switch leaves."""
    values: dict[str, Quantity | str] = {}
    text = "Energy is what pumps and fans draw, by the alternator while the engine runs"
    if found.always.standing >= LEAST_STANDING:
        values |= {"always": _energy(found.always.standing), "best": _energy(found.best.standing)}
        text += "; with the engine off it is the battery's alone: {always} of everything always on, {best} of the best"
        text += " found. A battery that is drained does not start the engine, and pumps slow as its voltage falls"
    said = [Sentence(text + ".", values)]
    pump = "pump" if len(found.pumps) == 1 else "pumps"
    devices = pump if found.pumps else "fans"
    run = "runs" if devices == "pump" else "run"
    said.append(
        Sentence(
            f"A switch that fails leaves the {devices} standing: wire it so that without a signal the {devices} {run}."
        )
    )
    return said


def _why(one: Standstill) -> Sentence:
    """Why stopping the pump is right or wrong in one kind of phase; and what it does to the peak."""
    by = one.alone - one.always
    values: dict[str, Quantity | str] = {
        "loop": one.loop,
        "coolant": Quantity(one.coolant, "temperature"),
        "settled": Quantity(one.settled, "temperature"),
        "gain": Quantity(abs(one.gain), "heat"),
        "loss": Quantity(abs(one.loss), "heat"),
        "by": Quantity(abs(by), "temperature_difference", 1),
    }
    gains = "takes {gain} from the warm bay" if one.gain >= 0.0 else "gives {gain} even to the bay"
    loses = "gives {loss} to the air in its exchangers" if one.loss >= 0.0 else "takes {loss} from the outside air"
    then = "stopping the pump keeps heat out" if one.stopping_pays else "stopping the pump is wrong"
    text = f"{WHILE[one.kind].capitalize()}: loop {{loop}} at {{coolant}} {gains} and {loses}: {then}"
    text += "; running, it heads for {settled}. "
    if abs(by) <= ALIKE:
        text += "The peak hardly changes with it off there."
    else:
        text += "With it off there the peak is {by} " + ("higher." if by > 0.0 else "lower.")
    # the balance weighs the loop alone; a core that stands full of coolant next to a hot engine warms by itself
    if one.stopping_pays and by > ALIKE:
        text += " The loop gains less, but a core that stands warms by itself and meets boost hot."
    if not one.stopping_pays and by < -ALIKE:
        text += " The balance speaks against it, the whole session for it: try it on the car before you trust either."
    return Sentence(text, values)


# ---------------------------------------------------------------- JSON


def strategy_json(found: Strategy, system: str = "si") -> dict[str, Any]:
    """A plain dictionary; keys carry the unit, sentences are in "si" or "us" units."""
    return {
        "schema": "coldside.strategy/1",
        "build": found.build.name,
        "session": found.session.name,
        "boost": found.boosted,
        "marches": found.marches,
        **{
            name: _switching(one)
            for name, one in (
                ("always_on", found.always),
                ("as_written", found.written),
                ("best_found", found.best),
            )
        },
        "standstill": [
            {
                "kind": one.kind,
                "loop": one.loop,
                "coolant_K": one.coolant,
                "settled_K": one.settled,
                "bay_K": one.bay,
                "gain_W": one.gain,
                "loss_W": one.loss,
                "stopping_pays": one.stopping_pays,
                "intake_max_pump_off_K": one.alone,
                "intake_max_always_on_K": one.always,
            }
            for one in found.standstill
        ],
        "half_speed": None if found.slowed is None else _slowed_json(found.slowed),
        "fans_off": [
            {"kind": one.kind, "intake_max_fans_off_K": one.alone, "intake_max_always_on_K": one.always}
            for one in found.fans_off
        ],
        "sentences": [sentence.words(system) for sentence in sentences(found)],
    }


def _slowed_json(one: Slowed) -> dict[str, Any]:
    return {
        "loop": one.loop,
        "power_W": one.full,
        "power_half_W": one.half,
        "flow_m3_s": one.flow,
        "flow_half_m3_s": one.half_flow,
        "saved_J": one.saved,
        "coolant_at_boost_K": one.onset,
        "intake_max_K": one.peak,
    }


def _switching(one: Switching) -> dict[str, Any]:
    rules = {"pumps": _rule_json(one.pumps), "fans": _rule_json(one.fans)}
    return {
        "intake_max_K": one.peak,
        "electrical_energy_J": one.energy,
        "engine_off_energy_J": one.standing,
        "off_s": dict(one.off),
        "starts": dict(one.starts),
        **rules,
    }


def _rule_json(rule: Rule) -> dict[str, Any]:
    said: dict[str, Any] = {"rule": rule.form}
    if rule.kinds:
        said |= {"off_in": list(rule.kinds), "on_before_boost_s": rule.lead}
    if rule.form == "after":
        said["on_after_boost_s"] = rule.after
    if rule.form == "slow":
        said |= {"off_over_m_s": FAST, "on_under_m_s": SLOW}
    if rule.threshold is not None:
        said |= {"sensor": rule.of, "on_above_K": rule.threshold, "off_under_K": rule.threshold - HYSTERESIS}
    if rule.ignition:
        said["off_with_engine"] = True
    if rule.form not in ("always", "written"):
        said |= {"least_on_s": LEAST_ON, "least_off_s": LEAST_OFF}
    return said
