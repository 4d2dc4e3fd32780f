"""Check cases of `coldside.media.air`; numbers of the design notes on charge, heat and loop."""

from __future__ import annotations

from cases.record import Case
from coldside.media import air
from coldside.units import Pressure

ATM = 101325.0  # Pa
PSI = 6894.757  # Pa
DIGITS = "five digits stated, properties of two sources differ by less"
TENTH_K = "stated to 0.01 K; gas data of the two sources differ by up to 0.02 K"


def degF(value: float) -> float:
    """Kelvin of a temperature in degF."""
    return (value - 32.0) / 1.8 + 273.15


def _atmosphere(altitude: float) -> dict[str, float]:
    T, p = air.standard_atmosphere(altitude)
    return {"T": T, "p": p, "density": air.density(T, p)}


def _humid(T: float, p: float, relative_humidity: float) -> dict[str, float]:
    W = air.humidity_ratio(T, p, relative_humidity)
    rho = air.density(T, p, W)
    return {
        "density": rho,
        "humidity_ratio": W,
        "density_dry_part": rho / (1.0 + W),
        "dew_point": air.dew_point(T, p, relative_humidity),
    }


def _neglected_humidity(T: float, p: float, relative_humidity: float) -> dict[str, float]:
    dry = air.density(T, p)
    return {
        "density_dry_air": dry,
        "oxygen_over_dry_air": _humid(T, p, relative_humidity)["density_dry_part"] / dry,
    }


def _factor(T: float, p: float, relative_humidity: float, standard: str) -> dict[str, float]:
    vapour = relative_humidity * air.saturation_pressure(T)
    return {"factor": air.power_correction(T, p, vapour, standard=standard), "vapour_pressure": vapour}


def _diesel_factors(T: float, p: float, relative_humidity: float) -> dict[str, float]:
    vapour = relative_humidity * air.saturation_pressure(T)
    names = {"factor": 1.0, "factor_at_0.3": 0.3}
    return {name: air.diesel_correction(T, p, vapour, engine_factor=share) for name, share in names.items()}


def _cp(T: float) -> dict[str, float]:
    return {"cp": air.cp(T)}


def _boost_ratio(gauge: float, altitude: float) -> dict[str, float]:
    ambient = air.standard_atmosphere(altitude)[1]
    return {"pressure_ratio": Pressure(gauge, gauge=True).absolute(ambient) / ambient}


def _compressed(T1: float, pressure_ratio: float, efficiency: float, humidity_ratio: float = 0.0) -> dict[str, float]:
    return {"T2": air.compressed_temperature(T1, pressure_ratio, efficiency, humidity_ratio)}


def _isentropic(T1: float, pressure_ratio: float) -> dict[str, float]:
    return {"T2": air.isentropic_temperature(T1, pressure_ratio)}


def _constant_gamma_excess(T1: float, pressure_ratio: float, efficiency: float) -> dict[str, float]:
    constant = T1 * (1.0 + (pressure_ratio ** (0.4 / 1.4) - 1.0) / efficiency)
    return {"excess": constant - air.compressed_temperature(T1, pressure_ratio, efficiency)}


def _polytropic(T1: float, pressure_ratio: float, efficiency: float) -> dict[str, float]:
    return {"T2": air.isentropic_temperature(T1, pressure_ratio ** (1.0 / efficiency))}


def _density_ratio(T_cold: float, T_hot: float, p: float) -> dict[str, float]:
    return {"ratio": air.density(T_cold, p) / air.density(T_hot, p)}


def _system(altitude: float, T1: float, p_plenum: float, loss_in: float, loss_out: float) -> dict[str, float]:
    ambient = air.standard_atmosphere(altitude)[1]
    ratio = (p_plenum + loss_out) / (ambient - loss_in)
    return {"pressure_ratio": ratio, "T2": air.compressed_temperature(T1, ratio, 0.74)}


def _dew_at_boost(T: float, p: float, relative_humidity: float, p_boost: float) -> dict[str, float]:
    W = air.humidity_ratio(T, p, relative_humidity)
    return {
        "humidity_ratio": W,
        "dew_ambient_C": air.dew_point(T, p, relative_humidity) - 273.15,
        "dew_boost_C": air.dew_point_at(p_boost, W) - 273.15,
    }


def _dynamic_pressure(T: float, p: float, speed: float) -> dict[str, float]:
    rho = air.density(T, p)
    return {"density": rho, "dynamic_pressure": 0.5 * rho * speed**2}


def _limits() -> dict[str, float]:
    return {
        "rise_at_ratio_1": air.compressed_temperature(300.0, 1.0, 0.7) - 300.0,
        "humidity_ratio_at_0": air.humidity_ratio(300.0, ATM, 0.0),
    }


CASES = [
    Case(
        id="charge-C01",
        what="standard atmosphere at 1500 m",
        inputs={"altitude": 1500.0},
        compute=_atmosphere,
        expected={"T": 278.40, "p": 84560.0, "density": 1.0581},
        tolerance=2e-4,
        tolerance_reason="four to five digits stated",
        source=("ISO2533", "Ambiance"),
        how="computed with ambiance 1.3.1",
    ),
    Case(
        id="charge-C02",
        what="humid air at 35 degC and 60 %",
        inputs={"T": 308.15, "p": ATM, "relative_humidity": 0.60},
        compute=_humid,
        expected={"density": 1.1314, "humidity_ratio": 0.02155, "density_dry_part": 1.1076, "dew_point": 299.22},
        tolerance=5e-4,
        tolerance_reason="digits stated, and the fit of the enhancement factor (0.0005)",
        source=("CoolProp", "PsychroLib"),
        how="computed with CoolProp 8.0.0 HAPropsSI; dew point with PsychroLib 2.5.0",
    ),
    Case(
        id="charge-C03",
        what="the same air with its humidity neglected",
        inputs={"T": 308.15, "p": ATM, "relative_humidity": 0.60},
        compute=_neglected_humidity,
        expected={"density_dry_air": 1.1455, "oxygen_over_dry_air": 1.0 - 0.033},
        tolerance=1e-3,
        tolerance_reason="the share is stated in tenths of a percent",
        source=("Analytic",),
        how="derived from charge-C02",
    ),
    *(
        Case(
            id=number,
            what=f"power correction {standard}, 97 kPa, 32 degC, 50 %",
            inputs={"T": 305.15, "p": 97000.0, "relative_humidity": 0.5, "standard": standard},
            compute=_factor,
            expected={"factor": factor, "vapour_pressure": 2379.3},
            tolerance=5e-4,
            tolerance_reason="four decimals stated",
            source=(key, "PsychroLib"),
            how="derived from the formula with the vapour pressure of PsychroLib 2.5.0",
        )
        for number, standard, factor, key in (
            ("charge-C04", "sae", 1.0690, "SAEJ1349"),
            ("charge-C05", "iso", 1.0706, "ISO1585"),
            ("charge-C06", "din", 1.0655, "DIN70020"),
        )
    ),
    Case(
        id="charge-C07",
        what="power correction of turbocharged compression ignition, same air; engine factor 1 and 0.3",
        inputs={"T": 305.15, "p": 97000.0, "relative_humidity": 0.5},
        compute=_diesel_factors,
        expected={"factor": 1.0695, "factor_at_0.3": 1.0204},
        tolerance=5e-4,
        tolerance_reason="four decimals stated",
        source=("ISO1585", "PsychroLib"),
        how="derived from the formula (exponents from memory) with the vapour pressure of PsychroLib 2.5.0; told "
        "beside the other factors so that a sheet made with it is recognised, no engine here uses it",
    ),
    *(
        Case(
            id="charge-C08",
            part=f"{standard} at its reference",
            what="power correction is 1 at the standard's own reference state",
            inputs={"T": T, "p": p, "relative_humidity": 0.0, "standard": standard},
            compute=_factor,
            expected={"factor": 1.0},
            tolerance=1e-12,
            tolerance_reason="identity",
            source=(key,),
            how="identity",
        )
        for standard, T, p, key in (
            ("sae", 298.0, 99000.0, "SAEJ1349"),
            ("iso", 298.0, 99000.0, "ISO1585"),
            ("din", 293.0, 101300.0, "DIN70020"),
        )
    ),
    Case(
        id="charge-C08",
        part="sae on a good day",
        what="power correction SAE, 101.325 kPa, 20 degC, 40 %",
        inputs={"T": 293.15, "p": ATM, "relative_humidity": 0.4, "standard": "sae"},
        compute=_factor,
        expected={"factor": 0.9739, "vapour_pressure": 935.5},
        tolerance=5e-4,
        tolerance_reason="four decimals stated",
        source=("SAEJ1349", "PsychroLib"),
        how="derived from the formula with the vapour pressure of PsychroLib 2.5.0",
    ),
    *(
        Case(
            id="charge-C09",
            part=f"{T:g} K",
            what="specific heat of dry air",
            inputs={"T": T},
            compute=_cp,
            expected={"cp": value},
            tolerance=5e-4,
            tolerance_reason="two data sets (Cantera, CoolProp) differ by 5e-4",
            source=("Cantera", "McBride1993"),
            how="computed with Cantera 3.2.0, nasa_gas",
        )
        for T, value in ((300.0, 1004.7), (500.0, 1029.7), (1000.0, 1140.3))
    ),
    *(
        Case(
            id="charge-C10",
            part=f"{psi:g} psi at {altitude:g} m",
            what="gauge boost as a pressure ratio",
            inputs={"gauge": psi * PSI, "altitude": altitude},
            compute=_boost_ratio,
            expected={"pressure_ratio": ratio},
            tolerance=2.6e-4,
            tolerance_reason="stated to 0.001: half of the last digit",
            source=("Analytic",),
            how="derived",
        )
        for psi, altitude, ratio in ((14.0, 0.0, 1.953), (14.5, 0.0, 1.987), (15.0, 0.0, 2.021), (14.5, 1500.0, 2.182))
    ),
    *(
        Case(
            id="charge-C11",
            part=f"{psi:g} psi",
            what="isentropic compression from 80 degF",
            inputs={"T1": degF(80.0), "pressure_ratio": 1.0 + psi * PSI / ATM},
            compute=_isentropic,
            expected={"T2": T2},
            tolerance=0.03,
            kind="absolute",
            tolerance_reason=TENTH_K,
            source=("Cantera",),
            how="computed with Cantera 3.2.0, nasa_gas",
        )
        for psi, T2 in ((14.0, 362.84), (14.5, 364.62), (15.0, 366.39))
    ),
    *(
        Case(
            id="charge-C12",
            part=f"{psi:g} psi, efficiency {eta:g}",
            what="real compression from 80 degF",
            inputs={"T1": degF(80.0), "pressure_ratio": 1.0 + psi * PSI / ATM, "efficiency": eta},
            compute=_compressed,
            expected={"T2": T2},
            tolerance=0.03,
            kind="absolute",
            tolerance_reason=TENTH_K,
            source=("Cantera",),
            how="computed with Cantera 3.2.0, nasa_gas",
        )
        for psi, eta, T2 in (
            (14.5, 0.65, 399.36),
            (14.5, 0.70, 392.28),
            (14.5, 0.72, 389.72),
            (14.5, 0.75, 386.14),
            (14.5, 0.78, 382.83),
            (15.0, 0.65, 402.06),
            (14.0, 0.78, 380.55),
        )
    ),
    *(
        Case(
            id="charge-C13",
            part=f"ratio {ratio:g}",
            what="constant ratio of specific heats 1.4 less variable specific heat, efficiency 0.72",
            inputs={"T1": 298.15, "pressure_ratio": ratio, "efficiency": 0.72},
            compute=_constant_gamma_excess,
            expected={"excess": excess},
            tolerance=0.03,
            kind="absolute",
            tolerance_reason=TENTH_K,
            source=("Cantera",),
            how="computed with Cantera 3.2.0, nasa_gas",
        )
        for ratio, excess in ((3.0, 1.09), (5.0, 3.35))
    ),
    Case(
        id="charge-C14",
        part="isentropic",
        what="isentropic compression by 3 from 288.15 K",
        inputs={"T1": 288.15, "pressure_ratio": 3.0},
        compute=_isentropic,
        expected={"T2": 394.03},
        tolerance=0.03,
        kind="absolute",
        tolerance_reason=TENTH_K,
        source=("Cantera",),
        how="computed with Cantera 3.2.0, nasa_gas",
    ),
    Case(
        id="charge-C14",
        part="efficiency 0.75",
        what="compression by 2 from 288.15 K",
        inputs={"T1": 288.15, "pressure_ratio": 2.0, "efficiency": 0.75},
        compute=_compressed,
        expected={"T2": 372.10},
        tolerance=0.03,
        kind="absolute",
        tolerance_reason=TENTH_K,
        source=("Cantera",),
        how="computed with Cantera 3.2.0, nasa_gas",
    ),
    Case(
        id="charge-C15",
        what="polytropic efficiency 0.80, by 2.5 from 298.15 K",
        inputs={"T1": 298.15, "pressure_ratio": 2.5, "efficiency": 0.80},
        compute=_polytropic,
        expected={"T2": 412.99},
        tolerance=0.03,
        kind="absolute",
        tolerance_reason=TENTH_K,
        source=("Cantera",),
        how="computed with Cantera 3.2.0, nasa_gas",
    ),
    *(
        Case(
            id="charge-C16",
            part=f"W {W:g}",
            what="compression of humid and of dry air by 2.2 from 308.15 K, efficiency 0.72",
            inputs={"T1": 308.15, "pressure_ratio": 2.2, "efficiency": 0.72, "humidity_ratio": W},
            compute=_compressed,
            expected={"T2": T2},
            tolerance=0.03,
            kind="absolute",
            tolerance_reason=TENTH_K,
            source=("Cantera",),
            how="computed with Cantera 3.2.0, nasa_gas",
        )
        for W, T2 in ((0.0215, 415.06), (0.0, 415.70))
    ),
    Case(
        id="charge-C17",
        what="charge at 30 against 200 degF at the same boost",
        inputs={"T_cold": degF(30.0), "T_hot": degF(200.0), "p": ATM + 14.7 * PSI},
        compute=_density_ratio,
        expected={"ratio": 1.347},
        tolerance=1e-3,
        tolerance_reason="stated to 0.001; real gas gives 1.349",
        source=("Analytic",),
        how="derived for an ideal gas",
    ),
    *(
        Case(
            id=number,
            part=part,
            what="compressor between losses before and after, efficiency 0.74",
            inputs={"altitude": h, "T1": T1, "p_plenum": 2e5, "loss_in": loss_in, "loss_out": loss_out},
            compute=_system,
            expected={"pressure_ratio": ratio, "T2": T2},
            tolerance=5e-4,
            tolerance_reason="four decimals stated",
            source=("Cantera", "Ambiance"),
            how="computed with Cantera 3.2.0 and ambiance 1.3.1",
        )
        for number, part, h, T1, loss_in, loss_out, ratio, T2 in (
            ("charge-C18", "no losses", 0.0, 303.15, 0.0, 0.0, 1.9738, 390.66),
            ("charge-C18", "with losses", 0.0, 303.15, 3e3, 10e3, 2.1358, 401.89),
            ("charge-C19", "", 2000.0, 288.15, 3e3, 10e3, 2.7450, 417.77),
        )
    ),
    Case(
        id="charge-C46",
        part="air",
        what="no compression gives no rise, no relative humidity no vapour",
        inputs={},
        compute=_limits,
        expected={"rise_at_ratio_1": 0.0, "humidity_ratio_at_0": 0.0},
        tolerance=1e-9,
        kind="absolute",
        tolerance_reason="exact but for round-off",
        source=("Analytic",),
        how="limit",
    ),
    Case(
        id="heat-T38",
        what="dew point at ambient and at boost",
        inputs={"T": 303.15, "p": 1.013e5, "relative_humidity": 0.7, "p_boost": 2.2e5},
        compute=_dew_at_boost,
        expected={"humidity_ratio": 0.018889, "dew_ambient_C": 23.93, "dew_boost_C": 37.439},
        tolerance=1e-3,
        tolerance_reason="five digits stated; the fit of the enhancement factor may add 0.0005",
        source=("CoolProp",),
        how="computed with CoolProp 8.0.0 HAPropsSI",
    ),
    Case(
        id="loop-C22",
        what="density and dynamic pressure of air at 25 degC and 100 km/h",
        inputs={"T": 298.15, "p": ATM, "speed": 100.0 / 3.6},
        compute=_dynamic_pressure,
        expected={"density": 1.184, "dynamic_pressure": 456.9},
        tolerance=1e-3,
        tolerance_reason="four digits stated, and 3e-4 of real-gas effect",
        source=("CoolProp",),
        how="computed with CoolProp 8.0.0 Air",
    ),
]
