"""How the figures of a session come about: limits, key figures, runs, where heat went, what holds it back.

Here: `RECIPES`, each with the equations that the code computes (`plant/`, `parts/`, `judge/`).
"""

from __future__ import annotations

from coldside.sheet.origin_terms import (
    AIR,
    ALL,
    BENCH,
    BLOWER,
    BURNING,
    BURNT,
    CAR,
    CHARGE,
    COMPRESSED,
    COMPRESSOR,
    COOLANT,
    CORE,
    DRAWN,
    DUCT,
    ENGINE_AIR,
    EXCHANGER,
    FILM_SOURCES,
    FUEL,
    GAS_SOURCES,
    HIGHEST,
    INTAKE,
    KNOCK,
    LETTER,
    LINES,
    LOOP,
    OF_COOLANT,
    OF_POWER,
    OF_RUNG,
    PAST_WALLS,
    PHASES,
    POWER,
    PUMP,
    RUNG,
    RUNGS,
    SIZES,
    SPREAD,
    WARMTH,
    WEATHER,
    Recipe,
)


def _rung(name: str, words: str, rests_on: tuple[str, ...], *more: str) -> Recipe:
    return Recipe(
        rf"ladder/(?:[^/]*: )?{name}",
        RUNG + words,
        RUNGS,
        (*more, "Own"),
        rests_on,
        OF_RUNG,
        steps="ladder",
        sized=bool(more),
    )


def _heat(name: str, words: str, equation: tuple[str, str], rests_on: tuple[str, ...]) -> Recipe:
    equations = (equation, ("Q_in + Q_pickup = Q_air + Q_stored", "the four rows"))
    letters = set(LETTER.findall(equation[0] + equations[1][0]))
    return Recipe(
        rf"heat/{name}(?:/(?P<part>.+))?",
        words + " What the four rows leave open is in the heat balance's check.",
        equations,
        ("SpiteriRuuth2002", "Own"),
        rests_on,
        {letter: meaning for letter, meaning in OF_LEDGER.items() if letter in letters},
        steps="heat",
        scope="part",
    )


OF_LEDGER = {
    "Q_in": "from the charge",
    "Q_pickup": "picked up",
    "Q_air": "given to the cooling air",
    "Q_stored": "stored at the end",
    "P_pump": "what pumps, the engine, sprays and chillers put in",
    "T_start": "temperature at the start",
    "T_end": "temperature at the end",
}
RECIPES: tuple[Recipe, ...] = (
    # ---------------------------------------------------------------- limits and figures
    Recipe(
        "limits/intake|figures/intake gas|sure/intake, peak in boost",
        INTAKE + HIGHEST,
        (*COMPRESSED, *PAST_WALLS),
        (*GAS_SOURCES, *FILM_SOURCES, "Own"),
        ALL,
        figure="intake_max",
        steps="charge",
        sized=True,
    ),
    Recipe(
        "limits/over_ambient|figures/over ambient|sure/intake over ambient, peak",
        INTAKE + " Over ambient: less the air in the shade at the same moment." + HIGHEST,
        (("over = T_intake - T_ambient", "at each sample"), *COMPRESSED, *PAST_WALLS),
        (*GAS_SOURCES, *FILM_SOURCES, "Own"),
        ALL,
        {"over": "over ambient"},
        figure="over_ambient_max",
        steps="charge",
        sized=True,
    ),
    Recipe(
        "limits/sensor|figures/intake sensor|sure/intake sensor, highest in boost",
        "What the sensor shows of the gas beside it: it follows late, and its boss, warm from what it is screwed into,"
        " pulls at it, the more the less air passes." + HIGHEST,
        (
            ("d(T_read)/d(t) = (T_gas + w * (T_boss - T_gas) - T_read) / tau", "reading"),
            ("tau = tau_0 * (m_0 / m)^0.5", "never more than five times tau_0"),
            ("w = 1 / cosh(b * (m / m_0)^0.25)", "b such that w is the soak at m_0"),
            ("d(T_boss)/d(t) = (T_around - T_boss) / tau_boss", "its boss"),
        ),
        ("Own", "Incropera2007"),
        ("sensor:time_constant", "sensor:soak", "sensor:bench_flow", "sensor:*", *ALL),
        {
            "T_read": "what it reads",
            "T_gas": "gas where it stands",
            "T_boss": "its boss",
            "w": "share of the boss in the reading",
            "b": "length of the stem as the fin formula counts it",
            "tau": "time constant at this flow",
            "tau_0": "time constant at its bench flow",
            "tau_boss": "time constant of the boss",
            "m_0": "bench flow of the sensor",
        },
        figure="sensor_max",
        steps="sensor",
    ),
    Recipe(
        r"limits/coolant|limits/coolant of loop (?P<loop>.+)|"
        r"figures/coolant of loop (?P<loop2>.+?)(?: into the cores)?|"
        r"sure/coolant of loop (?P<loop3>.+), highest in boost into the cores",
        "Coolant is carried cell by cell through hoses, tank, cores and exchangers, so that a hot slug arrives when it"
        " has travelled there; each cell takes heat from the metal beside it. The figure is where it enters the charge"
        " cores (in a loop without one, where it leaves a part hottest).",
        (*COOLANT, *PAST_WALLS[1:2]),
        ("Melinder2010", "IAPWS95", "RoemerDurbin1967", *FILM_SOURCES, "Own"),
        (*LOOP, *AIR, *ENGINE_AIR, *CORE, *COMPRESSOR[:3], *WARMTH, *LINES, *PHASES),
        OF_COOLANT,
        figure="coolant_max.{loop}",
        steps="coolant",
        sized=True,
    ),
    Recipe(
        "limits/spread|sure/from repeat to repeat, (?:the hottest over ambient|the mean power) differs by",
        "How unlike the repeats are: of the peaks of the intake over ambient, and of the mean powers in boost; the"
        " limit is held against the larger of the two.",
        (SPREAD,),
        ("Own",),
        ALL,
        {"spread": "the spread", "x": "one figure for each repeat"},
        figure="spread_temperature",
        steps="spread",
    ),
    Recipe(
        "limits/margin",
        "How much warmer the charge might be before knock begins, at the worst moment in boost: the charge temperature"
        " at which the engine asks for as much octane as its fuel has, less the charge as it is. The level is set by"
        " the known knock-limited point.",
        (
            ("margin = T_knock - T_intake", "at each moment in boost"),
            ("1 = integral(d(t) / tau)", "T_knock is where this is so, from intake close to 0.85 burnt"),
            ("tau = C_tau * 17.68 * (ON / 100)^3.402 * p^-1.7 * exp(3800 / T)", "delay in ms, p in atmospheres"),
        ),
        ("DouaudEyzat1978", "Heywood1988", "Woschni1967", "McBride1993", "Own"),
        (*KNOCK, *ALL),
        {
            "margin": "margin in kelvin of charge",
            "T_knock": "charge temperature at which knock begins",
            "tau": "ignition delay of the end gas",
            "C_tau": "set so that the known knock-limited point just knocks",
            "ON": "octane number of the fuel",
            "T": "end gas, compressed without loss",
            "p": "pressure in the cylinder",
        },
        steps="charge",
    ),
    Recipe(
        "figures/power|before/power at its highest|sure/power, mean in boost",
        "Brake power from the air that the engine draws: its fuel times heating value times the build's own brake"
        " efficiency; at part load less the friction that stays, then less what a belt takes.",
        (DRAWN, *BURNT, *POWER),
        ("Heywood1988", "AFDC", "Own"),
        ("engine.brake_efficiency", *ENGINE_AIR, *FUEL, *WEATHER, "blower:mechanical_efficiency", *CHARGE),
        OF_POWER,
        figure="power_mean",
        steps="power",
    ),
    Recipe(
        "sure/of the work done in boost, warm charge takes",
        "Work done in boost, against what the same demand would do with the charge held at ambient temperature"
        " throughout.",
        (("lost = 1 - W_boost / W_cold", "in boost"), DRAWN, *BURNT, *POWER),
        ("Heywood1988", "AFDC", "Own"),
        ("engine.brake_efficiency", *ENGINE_AIR, *FUEL, *WEATHER, "blower:mechanical_efficiency", *CHARGE),
        {
            **OF_POWER,
            "lost": "share of the work that warm charge takes",
            "W_boost": "brake work done in boost",
            "W_cold": "the same with the charge at ambient temperature",
        },
        figure="lost_to_heat_in_boost",
        steps="power",
    ),
    Recipe(
        "figures/air flow",
        "Moist air that the engine draws: what fills it at the pressure and temperature of the plenum.",
        (DRAWN,),
        ("Heywood1988", "HylandWexler1983"),
        (*ENGINE_AIR, "engine.top_speed", *WEATHER, *CHARGE),
        steps="air",
    ),
    Recipe(
        "figures/fuel flow|before/fuel flow at its highest",
        "The fuel that the air asks for: at full load and in boost at the build's own lambda, else at 1.",
        (DRAWN, *BURNT),
        ("AFDC", "Heywood1988", "Practice"),
        (*FUEL, *ENGINE_AIR, *WEATHER, *CHARGE),
        BURNING,
        steps="fuel",
    ),
    Recipe(
        r"before/from each of \d+ injectors?",
        "The highest fuel flow shared evenly, against what one injector passes; a warning is due from 85 % of that on.",
        (*BURNT, ("m_each = m_fuel / z", "each"), ("used = m_each / m_capacity", "share in use")),
        ("AFDC", "Practice"),
        ("engine.injector_capacity", "engine.injectors", *FUEL, *ENGINE_AIR, *WEATHER),
        {
            **BURNING,
            "m_each": "fuel of each injector",
            "z": "number of injectors",
            "used": "share of its capacity",
            "m_capacity": "its capacity, as given",
        },
        steps="fuel",
    ),
    Recipe(
        "figures/heat taken by the cores",
        "What the charge gives to all charge cores, with the heat of water that condenses on their walls.",
        (("Q = sum(m * c_p * (T_in - T_out) + Q_latent)", "over the cores"), *PAST_WALLS),
        (*FILM_SOURCES, "Own"),
        ("core:bench_effectiveness", *ENGINE_AIR, *COMPRESSOR[:3], *BLOWER[:2], *ALL),
        {"Q_latent": "heat of condensing water, 0 where the wall is dry"},
        steps="charge",
        sized=True,
    ),
    Recipe(
        r"figures/coolant flow of loop (?P<loop>.+)",
        "Flow at which what the pumps lift and what the loop's parts lose are alike, in every branch; from the command,"
        " the voltage and the coolant's viscosity at its temperature.",
        (
            ("sum(dp_pump) = sum(dp_part)", "round every loop"),
            ("dp_pump = rho * g_0 * w^2 * H(V / w)", "pump at a share w of its curve's speed"),
            ("dp_pipe = (f * L / D + K) * rho * v^2 / 2", "hoses"),
            ("dp_core = dp_bench * (V / V_bench)^x", "cores and exchangers, near their bench"),
        ),
        ("TodiniPilati1988", "Churchill1977", "Melinder2010", "Own"),
        (*PUMP, "hose:bore", "loop:coolant", "core:bench_coolant_*", "core:coolant_loss*", *LINES, "exchanger:*loss*"),
        {
            "dp_pump": "pressure that a pump adds",
            "dp_part": "pressure that a part loses",
            "dp_pipe": "loss of a hose",
            "dp_core": "loss of a core or exchanger",
            "dp_bench": "its loss at the bench",
            "V_bench": "coolant flow at the bench",
            "x": "its exponent",
            "w": "share of the curve's speed: command times voltage over the curve's",
            "V": "volume flow of coolant",
        },
        scope="loop",
        steps="flow",
    ),
    Recipe(
        r"figures/ice in (?P<part>.+)",
        "Ice melts as the coolant's heat reaches it; its pieces shrink, and with them their surface.",
        (("d(m_ice)/d(t) = -UA * (m_ice / m_start)^z * (T - T_melt) / L_melt", "ice left"),),
        ("Own", "Practice"),
        ("tank:ice*", "tank:volume", *LOOP, *ENGINE_AIR, *CORE[:4]),
        {
            "m_ice": "ice left",
            "m_start": "ice at the start",
            "UA": "conductance from coolant to all the ice at the start",
            "z": "2/3 for equal pieces, unless given",
            "T": "coolant in the tank",
            "T_melt": "where ice melts in that coolant",
            "L_melt": "heat that a kilogram takes until it is liquid there",
        },
    ),
    Recipe(
        "figures/water condensing in the cores",
        "Where a core's wall is colder than the dew point at boost pressure the charge leaves water on it, heat and"
        " vapour crossing the film alike.",
        (
            ("m_water = m_dry * (W - W_wall) * (1 - exp(-g / C))", "on one cell of the wall, where above 0"),
            ("W_wall = 0.622 * p_v / (p - p_v)", "saturated at the wall"),
        ),
        ("HylandWexler1983", "Own"),
        ("ambient.humidity", *AIR, "engine.boost", *LOOP[:3], *CORE),
        {
            "m_water": "water left on it",
            "W_wall": "humidity ratio of air saturated at the wall",
            "p_v": "pressure of water vapour over water at the wall's temperature",
            "p": "pressure of the charge",
        },
    ),
    # ---------------------------------------------------------------- runs
    Recipe(
        r"runs/.+|sure/best (pass|lap|run)|sure/a (pass|lap|run) on average|sure/all (passes|laps|runs) together"
        r"|sure/what heat costs the (passes|laps|runs) in all",
        "The car as a point of mass, driven as fast as tyres and engine allow; driving and heat are brought together in"
        " turns until no time moves. What heat costs: less the same run with the charge at ambient temperature"
        " throughout.",
        (
            ("M * a = min(F_engine, F_grip) - F_drag - F_roll - F_grade", "along the road"),
            ("F_engine = P_brake * eta_d / v", "with the power that heat leaves at that place"),
            ("F_drag = rho * A_d * v^2 / 2", "drag"),
            ("cost = t_run - t_cold", "what heat costs"),
        ),
        ("Gillespie1992", "LenzoRossi2020", "Own"),
        (*CAR, *PHASES, *ENGINE_AIR, *FUEL, *CHARGE),
        {
            "M": "mass of the car and what turns with it",
            "a": "acceleration",
            "F_engine": "force of the engine at the tyres",
            "F_grip": "what the tyres hold",
            "F_drag": "drag",
            "F_roll": "rolling resistance",
            "F_grade": "grade",
            "P_brake": "brake power",
            "eta_d": "driveline efficiency",
            "A_d": "drag area",
            "v": "road speed",
            "cost": "time that heat costs",
            "t_run": "time of the run",
            "t_cold": "time with the charge at ambient temperature",
        },
        steps="run",
    ),
    # ---------------------------------------------------------------- ledger and ladder
    _heat(
        "from the charge",
        "Heat that the charge gave to pipes, cores and plenum over the session (below 0: it took some up). A part's row"
        " is its own share.",
        ("Q_in = integral(sum(m * c_p * (T_in - T_out)) * d(t))", "over the session"),
        (*ENGINE_AIR, *CORE, *COMPRESSOR[:3], *BLOWER[:2], *AIR, "pipe:length", "pipe:bore", "plenum:charge*", *PHASES),
    ),
    _heat(
        "picked up from bay, engine and pumps",
        "Heat that parts took from the bay's air, the engine and their pumps (less what a chiller took away).",
        ("Q_pickup = integral((sum(G * (T_around - T)) + P_pump) * d(t))", "over the session"),
        (
            *WARMTH,
            "exchanger:pickup",
            "core:surroundings",
            "engine.coolant_heat_share",
            "engine.oil_heat_share",
            *PUMP,
            "chiller:*",
        ),
    ),
    _heat(
        "given to the cooling air",
        "Heat that left with the air through cores and exchangers.",
        ("Q_air = integral(sum(m * c_p * (T_out - T_in)) * d(t))", "over the session"),
        (*EXCHANGER, *DUCT, *CORE, *AIR, *PHASES),
    ),
    _heat(
        "stored in coolant and metal at the end",
        "What coolant and metal hold at the end more than at the start; ice that melted counts.",
        ("Q_stored = sum(M * c * (T_end - T_start))", "over all cells"),
        (
            "tank:volume",
            "core:metal_mass",
            "core:coolant_volume",
            "tank:ice*",
            "loop:coolant",
            "*:metal_mass",
            "*:coolant_volume",
            *PHASES,
        ),
    ),
    _rung(
        "charge film",
        "This one: from the charge through its film to the wall.",
        ("core:charge_film_share", "core:bench_effectiveness", *BENCH, *SIZES),
        "KaysLondon1984",
    ),
    _rung(
        "wall and fouling",
        "This one: through the wall, a small share of the whole that the bench point is split into.",
        ("core:charge_film_share", "core:bench_effectiveness", *BENCH, *SIZES),
        "Practice",
    ),
    _rung(
        "storage in the metal",
        "This one: metal is warmer where the charge heats it than where the coolant cools it while heat goes into it.",
        ("core:metal_mass", "core:bench_effectiveness", *PHASES),
    ),
    _rung(
        "coolant film",
        "This one: from the wall through the coolant's film, which grows with flow and thins as it warms.",
        ("core:charge_film_share", "core:coolant_film_exponent", "loop:coolant", *PUMP, *BENCH),
        "Melinder2010",
        "Gnielinski2013",
    ),
    _rung(
        "coolant rise and storage",
        "This one: coolant in the cores over coolant in the exchangers: what a small flow or a tank that still"
        " warms costs.",
        (*PUMP, "tank:volume", "loop:coolant", *LINES, *PHASES),
    ),
    _rung(
        "remote coolant film",
        "This one: from the coolant to the exchangers' metal.",
        (*EXCHANGER, *PUMP, "loop:coolant"),
        "Melinder2010",
        "Gnielinski2013",
    ),
    _rung(
        "remote air film",
        "This one: from the exchangers' metal to the air that passes.",
        (*EXCHANGER, *DUCT),
        "KaysLondon1984",
    ),
    _rung(
        "cooling-air film",
        "This one: from the wall to the air that passes.",
        ("core:cooling_film_exponent", "core:charge_film_share", *BENCH, *DUCT, *SIZES),
        "KaysLondon1984",
    ),
    _rung(
        "cooling-air rise",
        "This one: how much the cooling air warms on its way through, on average: what a small air flow costs.",
        (*DUCT, "exchanger:bench_cooling_loss", "core:bench_cooling_loss", "phases:speed", "phases:air"),
        "Taylor1944",
    ),
    _rung(
        "preheat of cooling air",
        "This one: how much warmer than ambient the cooling air arrives, from faces before it and air that comes back.",
        ("duct:recirculation", "duct:leak_area", *DUCT, *EXCHANGER),
    ),
)
