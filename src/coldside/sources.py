"""The one bibliography: citation key -> reference, and whether we have read it.

What is here: `SOURCES`, `cite`.  Docstrings and results name a source by its key.  "seen" means read
for this project; "seen in part" an abstract, an excerpt or a public code that states the formula;
"computed" a reference library run by us; "from memory" that the text was not at hand; "own" made here;
"common practice" a rule of the trade without a source.
"""

from __future__ import annotations

from dataclasses import dataclass

from coldside.errors import BadInput, nearest

SEEN = "seen"
IN_PART = "seen in part"
COMPUTED = "computed"
MEMORY = "from memory"
OWN = "own"
PRACTICE = "common practice"


@dataclass(frozen=True)
class Source:
    """One reference: citation key, full text, and how far it was read (one of the constants above)."""

    key: str
    reference: str
    standing: str


def _table(*rows: tuple[str, str, str]) -> dict[str, Source]:
    """Rows as a mapping; a key twice would be our own mistake and fails at import."""
    table = {key: Source(key, reference, standing) for key, reference, standing in rows}
    if len(table) != len(rows):
        raise ValueError("a citation key occurs twice in sources.py")
    return table


SOURCES = _table(
    # Air, atmosphere, humid air
    (
        "ISO2533",
        "ISO 2533:1975, Standard Atmosphere (same model as ICAO Doc 7488); numbers checked with the library ambiance",
        MEMORY,
    ),
    (
        "HylandWexler1983",
        (
            "Hyland R. W., Wexler A.: Formulations for the thermodynamic properties of the saturated phases of "
            "H2O from 173.15 K to 473.15 K. ASHRAE Transactions 89(2A), 1983; as in ASHRAE Handbook "
            "Fundamentals 2017, chapter 1, equations 5 and 6 (constants seen in PsychroLib)"
        ),
        IN_PART,
    ),
    (
        "McBride1993",
        (
            "McBride B. J., Gordon S., Reno M. A.: Coefficients for Calculating Thermodynamic and Transport "
            "Properties of Individual Species. NASA TM-4513, 1993 (the 200 to 6000 K set, as shipped with Cantera: "
            "nasa_gas.yaml)"
        ),
        IN_PART,
    ),
    (
        "LemmonJacobsen2004",
        (
            "Lemmon E. W., Jacobsen R. T.: Viscosity and Thermal Conductivity Equations for Nitrogen, Oxygen, Argon, "
            "and Air. International Journal of Thermophysics 25(1), 2004, 21-69 (dilute-gas terms)"
        ),
        MEMORY,
    ),
    (
        "SAEJ1349",
        (
            "SAE J1349 (June 1990), Engine Power Test Code, Spark Ignition and Compression Ignition, Net Power Rating; "
            "formula from a secondary text"
        ),
        IN_PART,
    ),
    ("ISO1585", "ISO 1585 and UN Regulation 85, net power of engines; exponents from a secondary code", IN_PART),
    ("DIN70020", "DIN 70020 (superseded), engine power; formula from a secondary text", IN_PART),
    # Coolants
    (
        "Melinder2010",
        (
            "Melinder A.: Properties of Secondary Working Fluids for Indirect Systems. International Institute of "
            "Refrigeration, 2010; through CoolProp 8.0.0, fluids INCOMP::MEG, INCOMP::MPG and INCOMP::MMA"
        ),
        COMPUTED,
    ),
    (
        "IAPWS95",
        "IAPWS Formulation 1995 for water, with the IAPWS transport equations; through CoolProp 8.0.0, HEOS::Water",
        COMPUTED,
    ),
    ("SAEJ300", "SAE J300, Engine Oil Viscosity Classification: 5W and 30 grades", MEMORY),
    ("ASTMD341", "ASTM D341, viscosity-temperature chart for liquid petroleum products (Walther's line)", MEMORY),
    (
        "Incropera2007",
        (
            "Incropera F. P., DeWitt D. P., Bergman T. L., Lavine A. S.: Fundamentals of Heat and Mass Transfer, 6th "
            "edition. Wiley, 2007; table A.5, engine oil (unused)"
        ),
        MEMORY,
    ),
    (
        "PerryHandbook",
        "Perry's Chemical Engineers' Handbook, liquid-vapour equilibrium of methanol and water at one atmosphere",
        MEMORY,
    ),
    # Fuels
    (
        "AFDC",
        "US Department of Energy, Alternative Fuels Data Center: Fuel Properties Comparison (table)",
        SEEN,
    ),
    (
        "USOctane",
        (
            "United States Code, title 15, section 2821: octane rating, half the sum of research and motor octane "
            "number (definition, as quoted by a law dictionary)"
        ),
        IN_PART,
    ),
    ("EN228", "EN 228, unleaded petrol: least octane numbers of the 95 grade", MEMORY),
    (
        "AndersonWallington2020",
        (
            "Anderson J. E., Wallington T. J.: octane numbers of ethanol blends by molar share. Energy & Fuels 2020, "
            "doi 10.1021/acs.energyfuels.9b04204 (abstract)"
        ),
        IN_PART,
    ),
    (
        "NISTWebBook",
        (
            "NIST Chemistry WebBook: Antoine parameters of ethanol (273 to 352 K) and methanol (288 to 357 K); figures "
            "checked with the library CoolProp"
        ),
        MEMORY,
    ),
    (
        "KasserisHeywood2012",
        (
            "Kasseris E., Heywood J. B.: charge cooling by direct injection of gasoline and ethanol. SAE 2012-01-1275 "
            "(abstract): about 70 % of the largest possible drop, 14 K for gasoline and 49 K for E85"
        ),
        IN_PART,
    ),
    ("Heywood1988", "Heywood J. B.: Internal Combustion Engine Fundamentals. McGraw-Hill, 1988", MEMORY),
    # Burn and knock
    (
        "DouaudEyzat1978",
        (
            "Douaud A. M., Eyzat P.: Four-octane-number method for predicting the anti-knock behavior of fuels and "
            "engines. SAE 780080, 1978 (constants as in Heywood1988)"
        ),
        MEMORY,
    ),
    (
        "Cancino2010",
        (
            "Cancino L. R. and others: ignition delay of ethanol and air in a shock tube, 10 to 50 bar, 650 to 1220 K "
            "(author's page; it prints seconds where microseconds must be meant)"
        ),
        IN_PART,
    ),
    (
        "RussSAE960497",
        (
            "Russ S.: A review of the effect of engine operating conditions on borderline knock. SAE 960497, 1996: "
            "1 octane number per 7 K of intake, per degree of spark, 3 to 4 per 10 kPa, 5 per unit of compression ratio"
        ),
        SEEN,
    ),
    (
        "OctaneIndex",
        "octane index RON - K (RON - MON), as defined in the abstract of SAE 2017-01-0666 (after Kalghatgi, 2001)",
        IN_PART,
    ),
    (
        "Woschni1967",
        (
            "Woschni G.: A universally applicable equation for the instantaneous heat transfer coefficient in the "
            "internal combustion engine. SAE 670931, 1967; as Heywood1988 eq. 12.19"
        ),
        MEMORY,
    ),
    ("Yamamoto1981", "Yamamoto K.: Rotary Engine. 1981 (chamber volume against shaft angle)", MEMORY),
    (
        "NUIGHexane2015",
        (
            "n-hexane mechanism with ethanol chemistry of 2015, as shipped with Cantera 3.2.0: ignition delays at 800 "
            "to 1000 K, 10 to 80 bar, and our fit through six of them, 4 %"
        ),
        COMPUTED,
    ),
    # Exchangers, films, friction
    ("KaysLondon1984", "Kays W. M., London A. L.: Compact Heat Exchangers, 3rd edition. McGraw-Hill, 1984", MEMORY),
    (
        "Mason1954",
        (
            "Mason J. L.: Heat transfer in crossflow. Proceedings of the 2nd US National Congress of Applied "
            "Mechanics, 1954, 801-803 (double series of incomplete gamma functions, both streams unmixed)"
        ),
        MEMORY,
    ),
    (
        "Baclic1978",
        (
            "Baclic B. S.: A simplified formula for cross-flow heat exchanger effectiveness. Journal of Heat Transfer "
            "100, 1978, 746-747 (Bessel form)"
        ),
        MEMORY,
    ),
    (
        "Churchill1977",
        "Churchill S. W.: Friction-factor equation spans all fluid-flow regimes. Chemical Engineering 84, 1977, 91-92",
        MEMORY,
    ),
    (
        "Gnielinski1976",
        (
            "Gnielinski V.: New equations for heat and mass transfer in turbulent pipe and channel flow. International "
            "Chemical Engineering 16, 1976, 359-368; friction factor of Petukhov"
        ),
        MEMORY,
    ),
    (
        "Gnielinski2013",
        (
            "Gnielinski V.: On heat transfer in tubes. International Journal of Heat and Mass Transfer 63, 2013, "
            "134-140 (linear transition from 2300 to 4000)"
        ),
        MEMORY,
    ),
    (
        "BaehrStephan2006",
        (
            "Baehr H. D., Stephan K.: Heat and Mass Transfer, 2nd edition. Springer, 2006 (mean Nusselt number of "
            "laminar flow that develops in velocity and temperature); form seen in the library ht"
        ),
        IN_PART,
    ),
    (
        "RanzMarshall1952",
        (
            "Ranz W. E., Marshall W. R.: Evaporation from drops. Chemical Engineering Progress 48, 1952, 141-146 and "
            "173-180 (film on a sphere)"
        ),
        MEMORY,
    ),
    (
        "ChurchillChu1975",
        (
            "Churchill S. W., Chu H. H. S.: Correlating equations for laminar and turbulent free convection from a "
            "vertical plate. International Journal of Heat and Mass Transfer 18, 1975, 1323-1329"
        ),
        MEMORY,
    ),
    (
        "ManglikBergles1995",
        (
            "Manglik R. M., Bergles A. E.: Heat transfer and pressure drop correlations for the rectangular offset "
            "strip fin compact heat exchanger. Experimental Thermal and Fluid Science 10, 1995, 171-180 (seen in "
            "public codes)"
        ),
        IN_PART,
    ),
    (
        "Cengel2003",
        (
            "Cengel Y. A.: Heat Transfer, a Practical Approach, 2nd edition. McGraw-Hill, 2003 (chapter 12, radiation "
            "shields: the example of two plates with an aluminium sheet between)"
        ),
        MEMORY,
    ),
    # Charge tract
    (
        "Shapiro1953",
        (
            "Shapiro A. H.: The Dynamics and Thermodynamics of Compressible Fluid Flow, volume 1. Ronald Press, 1953 "
            "(isentropic flow from rest, choking, Fliegner's formula)"
        ),
        MEMORY,
    ),
    (
        "ChangWang1997",
        (
            "Chang Y. J., Wang C. C.: A generalized heat transfer correlation for louver fin geometry. International "
            "Journal of Heat and Mass Transfer 40, 1997, 533-544 (seen in public codes)"
        ),
        IN_PART,
    ),
    (
        "ChangHsuLinWang2000",
        (
            "Chang Y. J., Hsu K. C., Lin Y. T., Wang C. C.: A generalized friction correlation for louver fin "
            "geometry. International Journal of Heat and Mass Transfer 43, 2000, 2237-2243 (seen in public codes)"
        ),
        IN_PART,
    ),
    (
        "Chang2006",
        (
            "Chang Y. J. and others: Amendment of the generalized friction correlation for louver fin geometry. "
            "International Journal of Heat and Mass Transfer 49, 2006, 4250-4253 (blend seen in one public code)"
        ),
        IN_PART,
    ),
    (
        "ShahLondon1978",
        (
            "Shah R. K., London A. L.: Laminar Flow Forced Convection in Ducts. Academic Press, 1978, with the "
            "apparent friction of Shah 1978 (Nusselt number at uniform flux seen in the library ht, else from memory)"
        ),
        IN_PART,
    ),
    # Loop
    (
        "TodiniPilati1988",
        (
            "Todini E., Pilati S.: A gradient method for the solution of looped pipe networks, 1988; as described in "
            "the EPANET 2.2 User Manual, chapter 12"
        ),
        IN_PART,
    ),
    (
        "RoemerDurbin1967",
        (
            "Roemer M. H., Durbin L. D.: Transient response and moments analysis of backflow cell models for flow "
            "systems with longitudinal mixing. Industrial & Engineering Chemistry Fundamentals 6, 1967"
        ),
        MEMORY,
    ),
    ("Taylor1944", "Taylor G. I.: Air resistance of a flat plate of very porous material. ARC R&M 2236, 1944", MEMORY),
    # Measured data that tests are held against (origin and licence: README of the folder in tests/data)
    (
        "IceTankNIST",
        (
            "Melting runs of an ice-filled tank with a coil of glycol, Intelligent Building Agents Laboratory of NIST; "
            "data in the Modelica Buildings library; described by Li G. et al.: An Ice Storage Tank Modelica Model, "
            "2021 (not seen)"
        ),
        SEEN,
    ),
    (
        "KantorExchanger",
        "Counter-flow double pipe, student laboratory; figures in Kantor J. C.: course book CBE 31358, notebook 4",
        SEEN,
    ),
    (
        "LiegePipe",
        (
            "Hot-water fronts through a 39 m steel pipe, University of Liege, 2015-2016; data in the Modelica IBPSA "
            "library"
        ),
        SEEN,
    ),
    (
        "PumpSheets",
        "Head, flow and power of 11 small circulators from makers' sheets; as digitised in the Modelica IBPSA library",
        SEEN,
    ),
    (
        "WeberRoadLogs",
        (
            "Weber M.: Automotive OBD-II Dataset. Karlsruhe Institute of Technology, 2023, doi 10.35097/1130, "
            "CC BY 4.0; 25 logs of one turbocharged passenger car, as in tests/data/road-logs"
        ),
        SEEN,
    ),
    # Fittings
    ("Crane2009", "Crane Co.: Flow of Fluids Through Valves, Fittings and Pipe, TP 410M. 2009", MEMORY),
    ("Rennels2012", "Rennels D. C., Hudson H. M.: Pipe Flow, a Practical and Comprehensive Guide. Wiley, 2012", MEMORY),
    # Numerics
    (
        "SpiteriRuuth2002",
        (
            "Spiteri R. J., Ruuth S. J.: A new class of optimal high-order strong-stability-preserving time "
            "discretization methods. SIAM Journal on Numerical Analysis 40, 2002, 469-491"
        ),
        MEMORY,
    ),
    # Car, road and sensors
    (
        "LenzoRossi2020",
        (
            "Lenzo B., Rossi V.: quasi-steady lap time of a point mass by speed in bends, forward and backward passes. "
            "Applied Sciences 10(4), 2020, 1498 (abstract and a summary of the method; its title not seen)"
        ),
        IN_PART,
    ),
    (
        "UNGTR15",
        (
            "UN Global Technical Regulation No. 15, annex 1, and Commission Regulation (EU) 2017/1151, annex XXI: "
            "speeds of the cycle of class 3b (from a public data file), its checksum and its distances by phase"
        ),
        IN_PART,
    ),
    (
        "EPASchedules",
        (
            "United States Environmental Protection Agency: dynamometer drive schedules UDDS, HWFET and US06 (public "
            "domain); distances as published, from memory"
        ),
        SEEN,
    ),
    ("Gillespie1992", "Gillespie T. D.: Fundamentals of Vehicle Dynamics. SAE, 1992, chapter on road loads", MEMORY),
    (
        "SteinhartHart1968",
        "Steinhart J. S., Hart S. R.: Calibration curves for thermistors. Deep-Sea Research 15, 1968, 497-503",
        MEMORY,
    ),
    # Ours, and the trade's
    ("Own", "made in this project; the text beside it says how", OWN),
    ("Practice", "common practice, no source", PRACTICE),
    # Libraries that check cases were computed with
    ("CoolProp", "CoolProp 8.0.0: Bell I. H. et al., Industrial & Engineering Chemistry Research 53, 2014", COMPUTED),
    ("Cantera", "Cantera 3.2.0: Goodwin D. G. et al.", COMPUTED),
    ("SciPy", "SciPy 1.17: Virtanen P. et al. (quad, solve_ivp)", COMPUTED),
    ("PsychroLib", "PsychroLib 2.5.0, after ASHRAE Handbook Fundamentals 2017, chapter 1", COMPUTED),
    ("Ambiance", "ambiance 1.3.1, ICAO standard atmosphere", COMPUTED),
    ("Ht", "ht 1.2.0: Heat transfer component of Chemical Engineering Design Library", COMPUTED),
    ("Fluids", "fluids 1.3.1: Fluid dynamics component of Chemical Engineering Design Library", COMPUTED),
    ("Analytic", "exact arithmetic from the stated inputs", COMPUTED),
)


def cite(key: str) -> str:
    """The full reference of `key` with its standing in brackets; BadInput for an unknown key, with the nearest."""
    if key not in SOURCES:
        hint = nearest(key, SOURCES)
        raise BadInput(f"no source {key!r}" + (f"; nearest: {hint!r}" if hint else ""))
    source = SOURCES[key]
    return f"{source.reference} [{source.standing}]"
