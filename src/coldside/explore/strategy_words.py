"""What a search for the best switching came to, in words and as JSON.

What is here: `sentences`, `strategy_json`.  What is not: the search (`strategy.py`).
"""

from __future__ import annotations

from typing import Any

from coldside.explore.strategy import ALIKE, Rule, Standstill, Strategy, Switching
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


def _rule(rule: Rule, noun: str, k: int, values: dict[str, Quantity | str]) -> str:
    """A rule in words, its names and numbers put under names of their own."""
    values[f"who{k}"], noun = noun, f"{{who{k}}}"
    if rule.form == "always":
        return f"{noun} always on"
    if rule.form == "written":
        return f"{noun} as the build says"
    if rule.form == "load":
        return f"{noun} at half speed without load, three quarters at part load, full in boost"
    if rule.threshold is not None:
        values[f"on{k}"] = Quantity(rule.threshold, "temperature")
        return f"{noun} on while the intake reads over {{on{k}}}"
    said = f"{noun} off {listed([WHILE[kind] for kind in rule.kinds])}"
    if rule.lead > 0.0:
        values[f"lead{k}"] = Quantity(rule.lead, "time")
        return said + f", on again {{lead{k}}} before boost"
    return said + ", on again with boost"


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
    said = [
        Sentence(
            f"Peak of the intake {where}: everything on all the time {{always}} for {{always_energy}}, "
            "as the build says {written} for {written_energy}, best found {best} for {best_energy}.",
            values,
        ),
        _best(found),
    ]
    said += [_why(one) for one in found.standstill]
    said.append(
        Sentence(
            "Energy is what pumps and fans draw from the battery. A switch that fails leaves the pump standing: "
            "wire it so that without a signal the pump runs."
        )
    )
    said += [Sentence("{note}.", {"note": note}) for note in found.notes]
    return tuple(said)


def _best(found: Strategy) -> Sentence:
    best, values = found.best, {}  # type: Switching, dict[str, Quantity | str]
    rules = []
    if found.pumps:
        rules.append(_rule(best.pumps, listed(found.pumps), 0, values))
    if found.fans:
        rules.append(_rule(best.fans, listed(found.fans), 1, values))
    gained, saved = found.written.peak - best.peak, found.written.energy - best.energy
    values |= {"gained": Quantity(gained, "temperature_difference", 1), "saved": _energy(abs(saved))}
    if gained > ALIKE:
        end = "this is {gained} cooler than as the build says"
    elif saved > 0.0:
        end = "no cooler than as the build says, but {saved} saved"
    else:
        return Sentence("Nothing tried does better than the build as it is written.")
    return Sentence("Best found: " + "; ".join(rules) + ": " + end + ".", values)


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
        "sentences": [sentence.words(system) for sentence in sentences(found)],
    }


def _switching(one: Switching) -> dict[str, Any]:
    rules = {"pumps": _rule_json(one.pumps), "fans": _rule_json(one.fans)}
    return {"intake_max_K": one.peak, "electrical_energy_J": one.energy, "off_s": dict(one.off), **rules}


def _rule_json(rule: Rule) -> dict[str, Any]:
    said: dict[str, Any] = {"rule": rule.form}
    if rule.kinds:
        said |= {"off_in": list(rule.kinds), "on_before_boost_s": rule.lead}
    if rule.threshold is not None:
        said["on_above_K"] = rule.threshold
    return said
