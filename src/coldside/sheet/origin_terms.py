"""What recipes of figures are made of: the keys that figures rest on, letters of equations, shared equations.

Here: `Recipe`, `symbols_of`, selectors of keys, `LETTERS`.  The recipes themselves are in `origin_forecast.py` (what a
session does) and `origin_checks.py` (what follows from it); `origin_book.py` finds the one of a figure.

Equations are plain text: * / ^ for powers, `a_b` for a with an index, d(x)/d(t) for a rate.  What a letter stands for
is found by `symbols_of`: in the recipe's own `letters`, else in `LETTERS`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

# ------------------------------------------------------------------------------- what figures rest on
# selectors of keys, the weightiest first: "engine.boost", or "kind:key" for parts of a kind (`origin_inputs.KINDS`)

AIR = ("ambient.temperature", "readings:temperature")
WEATHER = (*AIR, "ambient.pressure", "ambient.altitude", "ambient.humidity", "readings:humidity")
SIZE = ("engine.displacement", "engine.chamber_volume", "engine.rotors")
FILLING = ("engine.volumetric_efficiency", "engine.filling_exponent")
ENGINE_AIR = ("engine.boost", *SIZE, *FILLING, "engine.boost_reference", "engine.boost_lag")
FUEL = ("engine.fuel", "engine.lambda")
COMPRESSOR = (
    "compressor:map",
    "compressor:peak_efficiency",
    "compressor:efficiency",
    "compressor:design_flow",
    "compressor:design_pressure_ratio",
    "compressor:design_speed",
    "compressor:speed_limit",
    "compressor:ratio_share",
    "compressor:count",
)
BLOWER = (
    "blower:efficiency",
    "blower:volumetric_efficiency",
    "blower:displacement",
    "blower:drive_ratio",
    "blower:map",
    "blower:mechanical_efficiency",
)
BENCH = ("core:bench*", "core:charge_film_share", "core:cooling_film_share", "core:*exponent", "core:maldistribution")
SIZES = ("core:*_length", "core:stack_height", "core:fin*", "core:*_fin*", "core:tube*", "core:*passes")
CORE = ("core:bench_effectiveness", *BENCH, "core:charge_bypass", *SIZES, "core:metal_mass", "core:coolant_volume")
EXCHANGER = (
    "exchanger:bench_heat",
    "exchanger:bench_effectiveness",
    "exchanger:bench*",
    "exchanger:*film_share",
    "exchanger:*exponent",
    "exchanger:*_length",
    "exchanger:spray",
    "exchanger:spray_when",
    "exchanger:spray_evaporated",
    "exchanger:metal_mass",
    "exchanger:coolant_volume",
)
DUCT = (
    "duct:recovery",
    "duct:inlet_area",
    "duct:face_area",
    "duct:exit_area",
    "duct:recirculation",
    "duct:*_loss",
    "duct:leak_area",
    "fan:curve",
    "fan:control",
    "fan:off_loss",
)
PUMP = ("pump:curve", "pump:voltage", "pump:curve_voltage", "pump:wire*", "pump:control", "pump:drive*")
LOOP = ("loop:coolant", "tank:volume", "tank:ice*", "chiller:*", *PUMP, *EXCHANGER, *DUCT)
LINES = ("hose:bore", "hose:length", "hose:losses", "valve:*", "thermostat:*", "core:*coolant_loss*")
WARMTH = (
    "engine.metal_temperature",
    "bay.*",
    "plenum:pickup",
    "plenum:charge_conductance",
    "plenum:metal_mass",
    "pipe:pickup",
    "pipe:length",
    "pipe:bore",
    "core:pickup",
    "tank:pickup",
    "tank:nodes",
    "tank:mixing",
    "hose:pickup",
    "filter:bay_share",
    "filter:pickup*",
)
PHASES = (
    "phases:repeat",
    "phases:rest",
    "phases:duration",
    "phases:from",
    "phases:to",
    "phases:speed",
    "phases:distance",
    "phases:track",
    "phases:pace",
    "phases:schedule",
    "phases:engine_off",
    "phases:air",
    "start",
)
CHARGE = (
    *AIR,
    "engine.boost",
    "core:bench_effectiveness",
    *COMPRESSOR[:2],
    *BLOWER[:1],
    "tank:volume",
    "exchanger:bench_heat",
    "exchanger:bench_effectiveness",
    "pump:curve",
    "duct:recovery",
    *ENGINE_AIR,
    *COMPRESSOR,
    *BLOWER,
    *CORE,
    *LOOP,
)
ALL = (*CHARGE, *COMPRESSOR, *BLOWER, "injection:*", *WARMTH, *LINES, *PHASES, "ambient.humidity")
LOSSES = (
    "core:bench_charge_loss",
    "core:bench_charge_flow",
    "core:charge_loss_exponent",
    "pipe:bore",
    "pipe:length",
    "pipe:losses",
    "throttle:*",
    "plenum:bench_flow",
    "filter:loss",
    "filter:bench_flow",
)
CAR = (
    "car.mass",
    "car.grip",
    "car.drag_area",
    "car.gears",
    "car.final_drive",
    "car.tyre_radius",
    "car.*",
    "engine.brake_efficiency",
)
KNOCK = (
    "engine.knock_*",
    "engine.fuel",
    "engine.octane",
    "engine.compression_ratio",
    "engine.spark",
    "engine.burn_duration",
    "engine.boost",
    "engine.trim_*",
    "engine.lambda",
    "engine.bore",
    "engine.stroke",
    "engine.rod",
    "engine.fuel_injection",
)

# ------------------------------------------------------------------------------- letters

LETTERS: Mapping[str, str] = {
    "A": "area",
    "C": "heat capacity rate of the stream through the cell, flow times specific heat",
    "D": "bore",
    "G": "conductance to what surrounds it (its pick-up)",
    "H": "head of the pump's curve at its own speed",
    "I": "current",
    "K": "loss coefficients of its bends and fittings",
    "L": "length",
    "M": "mass of metal, or of coolant in the cell",
    "N": "shaft speed",
    "P": "power at full load",
    "PR": "pressure ratio",
    "Q": "heat",
    "Q_charge": "heat that the charge gives the cell",
    "Q_cold": "heat that coolant or cooling air takes from it",
    "R": "gas constant of moist air",
    "T": "temperature, K",
    "T_1": "gas before the compressor",
    "T_2": "gas behind the compressor",
    "T_2s": "the same, compressed without loss",
    "T_ambient": "air in the shade at that moment",
    "T_around": "what surrounds it: the bay's air, the engine's metal or ambient air",
    "T_cold": "coolant or cooling air as it enters the core",
    "T_core": "charge as it leaves the core",
    "T_hot": "charge as it enters the core",
    "T_in": "gas as it enters",
    "T_intake": "gas at the plenum's outlet",
    "T_out": "gas as it leaves",
    "T_wall": "metal of the cell",
    "V": "volume, or volume flow of coolant",
    "VE": "volumetric efficiency at that engine speed and charge temperature, referred to the plenum",
    "V_rev": "air drawn each turn of the shaft at a volumetric efficiency of 1",
    "W": "humidity ratio, water to dry air",
    "c": "specific heat",
    "c_p": "specific heat at constant pressure",
    "eps": "effectiveness of the core, crossflow with both streams unmixed, from bench or sizes",
    "eta": "efficiency of the compressor at its point on the map",
    "f": "friction factor",
    "g": "conductance from the gas to the cell",
    "g_0": "standard gravity",
    "h": "enthalpy of moist air, its specific heat changing with temperature",
    "k": "ratio of specific heats",
    "lambda": "air-fuel equivalence ratio in use",
    "m": "mass flow",
    "m_dry": "dry air that the engine draws",
    "m_fuel": "fuel flow",
    "n": "engine speed",
    "p": "absolute pressure",
    "p_1": "pressure before the compressor",
    "p_ambient": "pressure of the air outside",
    "p_compressor": "pressure at the last compressor's outlet",
    "p_gauge": "pressure over the air outside",
    "p_plenum": "pressure in the plenum",
    "rho": "density",
    "s": "entropy of moist air at constant pressure",
    "t": "time",
    "v": "velocity",
}
FUNCTIONS = {"exp", "ln", "min", "max", "sum", "sqrt", "mean", "integral", "d", "cosh", "percentile", "abs"}
LETTER = re.compile(r"[A-Za-z]+(?:_[A-Za-z0-9]+)*")


@dataclass(frozen=True)
class Recipe:
    """How the figures come about whose address matches `pattern` (its named groups: loop, part, stage, quantity).

    `equations` are (equation, what it is of); `sources` keys of `sources.SOURCES`; `rests_on` selectors of keys, the
    weightiest first; `figure` the name that draws know it by ("{loop}" filled in), empty for none; `steps` the name of
    what lies on the way in `origin_steps.py`; `scope` of parts that count: "" all, "part" or "loop" the named ones;
    `sized` where the formulas of sized cores belong to its sources.
    """

    pattern: str
    words: str
    equations: tuple[tuple[str, str], ...] = ()
    sources: tuple[str, ...] = ("Own",)
    rests_on: tuple[str, ...] = ()
    letters: Mapping[str, str] = field(default_factory=dict)
    figure: str = ""
    steps: str = ""
    scope: str = ""
    sized: bool = False


# ------------------------------------------------------------------------------- equations that several share

COMPRESSED = (
    ("s(T_2s) = s(T_1) + R * ln(PR)", "compression without loss"),
    ("h(T_2) = h(T_1) + (h(T_2s) - h(T_1)) / eta", "and with the compressor's efficiency"),
)
PAST_WALLS = (
    ("T_out = T_wall + (T_in - T_wall) * exp(-g / C)", "charge past one cell of a wall"),
    ("M * c * d(T_wall)/d(t) = Q_charge - Q_cold + G * (T_around - T_wall)", "that cell's metal"),
    ("T_core = T_hot - eps * (T_hot - T_cold)", "what the cells of a core come to at rest"),
)
DRAWN = ("m = p_plenum * VE * V_rev * n / (R * T_intake)", "moist air that the engine draws")
BURNT = (
    ("m_dry = m / (1 + W)", "dry air"),
    ("m_fuel = m_dry / (lambda * AFR)", "fuel"),
)
BURNING = {"AFR": "stoichiometric air-fuel ratio of the fuel"}
POWER = (
    ("P = m_fuel * H_u * eta_b * min(1, lambda) / min(1, lambda_set)", "at full load"),
    ("P_part = P - P_friction * (1 - m / m_full)", "at part load"),
    ("P_brake = max(P_part - P_belt, 0) * k_knock", "at the crank"),
)
OF_POWER = {
    **BURNING,
    "H_u": "heating value of the fuel",
    "eta_b": "brake efficiency of the build, stated for its own lambda",
    "lambda_set": "lambda of the build at full load",
    "P_part": "power at part load (at full load it is P)",
    "P_friction": "the engine's own friction at that speed",
    "m_full": "air flow at full load at that speed",
    "P_brake": "brake power",
    "P_belt": "what a supercharger's belt takes, 0 without one",
    "k_knock": "share that knock and the car's own trim of spark leave, 1 where neither is known",
}
COOLANT = (
    ("M * c * d(T)/d(t) = m * c * (T_before - T) + Q_wall + G * (T_around - T)", "coolant of one cell of the loop"),
    ("Q_wall = g * (T_wall - T)", "heat from the metal that it wets"),
)
OF_COOLANT = {
    "T": "coolant in the cell",
    "T_before": "coolant that flows in, mixed by flow where branches meet",
    "Q_wall": "heat from the metal beside it; a pump's and a chiller's heat come to it where they stand",
    "g": "conductance from metal to coolant, by flow and temperature",
    "m": "coolant flow",
}
SPREAD = ("spread = (max(x) - min(x)) / mean(x)", "of the repeats")
FILM_SOURCES = ("KaysLondon1984", "Mason1954", "SpiteriRuuth2002")
GAS_SOURCES = ("McBride1993", "HylandWexler1983")
INTAKE = (
    "Air drawn in is compressed and gets hot; on its way the charge gives heat to every core that it meets and takes"
    " some from warm pipes and the plenum. A core is a grid of cells of metal, each at a temperature of its own that is"
    " marched through the whole session, so what a core holds from before counts."
)
HIGHEST = " Highest and mean: of the samples in boost."

RUNG = "One step on the way from the charge in the cores to ambient, at the worst moment; weighted by the heat there. "
RUNGS = (
    ("drop = T_warmer - T_colder", "of this step"),
    ("resistance = drop / Q", "with the heat of the cores"),
    ("share = drop / (T_charge - T_ambient)", "of the whole way"),
)
OF_RUNG = {
    "drop": "drop of temperature",
    "resistance": "resistance of the step",
    "share": "its share",
    "T_warmer": "mean temperature before it, weighted by heat",
    "T_colder": "the same behind it",
    "T_charge": "mean temperature of the charge in the cores",
    "Q": "heat that the cores take at that moment",
}


def symbols_of(recipe: Recipe) -> tuple[tuple[str, str], ...]:
    """Every letter of a recipe's equations with what it stands for, in order.  KeyError for one that none explains."""
    seen: dict[str, str] = {}
    for equation, _ in recipe.equations:
        for letter in LETTER.findall(equation):
            if letter not in FUNCTIONS and letter not in seen:
                seen[letter] = recipe.letters[letter] if letter in recipe.letters else LETTERS[letter]
    return tuple(seen.items())
