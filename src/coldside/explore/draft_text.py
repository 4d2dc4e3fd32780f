"""A starter build and its session as text: the rules of `build/sizing.py` put into tables, each size with its rule.

What is here: `build_text` (a kind of cooling, a brief and how far its first sizes have been grown -> TOML and the
rules used), `session_text`, `KINDS`, `LEVERS`.  What is not: running them (`draft.py`).

Sizes never leave the room of the brief: what grows stops at its walls.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from coldside.build import sizing
from coldside.build.brief import (
    AS_IT_IS,
    BOTH,
    DRAG,
    DYNO,
    EXCHANGER_AS_IT_IS,
    HILL,
    STREET,
    TANK_AS_IT_IS,
    TRACK,
    Brief,
)  # fmt: skip
from coldside.build.sizing import FILLING, Need, Rule
from coldside.media.coolants import parse_coolant
from coldside.parts.compressor import CompressorSpec
from coldside.parts.engine import RPM
from coldside.units.kinds import ZERO_CELSIUS

AIR, WATER, HYBRID = "air-to-air", "water-to-air", "hybrid"
KINDS = (AIR, WATER, HYBRID)
LEVERS: Mapping[str, tuple[str, ...]] = {  # what may grow, by kind
    AIR: ("face", "depth", "inlet", "pipe"),
    WATER: ("core", "exchanger", "exchanger_depth", "tank", "pump", "inlet"),
    HYBRID: ("face", "depth", "core", "exchanger", "tank", "pump", "inlet"),
}
LEVER_WORDS = {
    "face": "face of the air-to-air core",
    "depth": "depth of the air-to-air core",
    "inlet": "inlet of the duct",
    "pipe": "bore of the charge pipes",
    "core": "water core",
    "exchanger": "face of the remote exchanger",
    "exchanger_depth": "depth of the remote exchanger",
    "tank": "tank",
    "pump": "pump",
    "fan": "fan at the nose",
}
RADIATOR = (0.66, 0.38)  # m, face of the engine's radiator behind the nose (assumed)
COVERED = 0.6  # of it that may stand behind a face where engine cooling must not be lost (common practice)
END_TANK, SIDE_TANK, COOLANT_TANK = 0.05, 0.04, 0.02  # m that a core's tanks take at each end
FRAME = 0.02  # m of an exchanger's height that its side sheets take
AIR_DEPTH, EXCHANGER_DEPTH, DEEPEST_TUBES = 0.065, 0.040, 0.056  # m
TURNED = "turned"  # growth above 0: the charge goes down through an air core, not across
ASIDE = "aside"  # growth above 0: no exchanger at the nose, all of it in the side pods
FRONT_SHARE = 0.4  # of the nose's depth that a hybrid's exchanger takes, ahead of its air core
INLET_MOST = 0.8  # of the face
ALL_INLET = INLET_MOST / sizing.INLET_SHARE  # growth of an inlet that is as large as it goes
WIDEST, STRONGEST = 1.3, 2.2  # growth at which pipes and pumps stop
STRONGEST_FAN = 1.7  # growth of flow and of pressure at which the fan at the nose stops: some 60 A (common practice)
FEED_SHARE = 3.0 / 7.0  # of the hoses there and back that runs from the tank to the charge core (own)
LEAST_TANK, ELSEWHERE = 1e-3, 2e-3  # m3: a filler and breather; coolant that cores and lines hold beside the tank
RADIATOR_SHARE, RADIATOR_DUTY = 0.20, 0.07  # of the fuel's heat to the engine's coolant; least mean load
HYBRID_HEAT = 0.35  # of the charge's heat that reaches the water core behind an air core (own estimate)

Growth = Mapping[str, float]


@dataclass(frozen=True)
class Face:
    """A face in a duct, m: `width` across, `height`, `depth` along the air; tanks included."""

    width: float
    height: float
    depth: float

    @property
    def area(self) -> float:
        """Of the whole face, m2."""
        return self.width * self.height

    def within(self, area: float) -> Face:
        """The same face with no more than this area, its sides in the same ratio."""
        share = min(1.0, math.sqrt(area / self.area))
        return Face(self.width * share, self.height * share, self.depth)


class _Text:
    """Lines of a build in the making, and the rules behind its sizes."""

    def __init__(self) -> None:
        self.lines: list[str] = []
        self.rules: list[Rule] = []
        self.table = ""

    def open(self, table: str, kind: str = "") -> None:
        """A new table."""
        self.table = table
        self.lines += ["", f"[{table}]"]
        if kind:
            self.put("kind", kind)

    def put(self, key: str, value: object, comment: str = "") -> None:
        """One key; a text gets quotes, a list its brackets."""
        self.lines.append(f"{key} = {_toml(value)}" + (f"  # {comment}" if comment else ""))

    def size(self, key: str, value: object, sentence: str, source: str, words: str = "") -> None:
        """One size that a rule gave; `words` of a curve for a person."""
        rule = Rule(f"{self.table}.{key}", str(value), sentence, source, words)
        self.rules.append(rule)
        self.put(key, value, f"{sentence} ({rule.source_words})")


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return f"{value:g}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return '"' + str(value).replace("\\", "/").replace('"', "'") + '"'


def _mm(value: float) -> str:
    return f"{1e3 * value:.0f} mm"


def _exact(value: float) -> str:
    return f"{1e3 * value:.5g} mm"  # of what is bought: three inches stay three inches


def _litres(value: float) -> str:
    return f"{1e3 * value:.1f} L"


def _cm2(value: float) -> str:
    return f"{1e4 * value:.0f} cm2"


def _flow(value: float) -> str:
    return f"{6e4 * value:.0f} L/min"


def _kg_s(value: float) -> str:
    return f"{value:.3f} kg/s"


def _degC(value: float) -> str:
    return f"{value - ZERO_CELSIUS:.0f} degC"


@dataclass(frozen=True)
class Draft:
    """One starter's cooling in the making: `brief`, its `need`, the `kind`, the `growth` of its sizes by lever."""

    brief: Brief
    need: Need
    kind: str
    growth: Growth
    coolant: str

    def grown(self, lever: str) -> float:
        """Factor of a lever, 1 at first."""
        return self.growth.get(lever, 1.0)

    @property
    def pods(self) -> int:
        """Side pods."""
        return self.brief.spec.side_pods

    @property
    def nose(self) -> Face:
        """Room at the nose; an exchanger as it is takes all of it, an air core in its place may be deeper."""
        s = self.brief.spec
        if self.exchanger_stands:
            deep = max(s.nose_depth, AIR_DEPTH) if self.kind == AIR else s.nose_depth
            return Face(s.nose_width + 2.0 * SIDE_TANK, s.nose_height + FRAME, deep)
        return Face(s.nose_width, s.nose_height, s.nose_depth)

    @property
    def exchanger_stands(self) -> bool:
        """True where the exchanger at the nose is bought and stays as it is."""
        return self.brief.spec.exchanger == EXCHANGER_AS_IT_IS

    @property
    def pod(self) -> Face:
        """Room in one side pod."""
        s = self.brief.spec
        return Face(s.side_width, s.side_height, s.side_depth)

    @property
    def air_in_pods(self) -> bool:
        """An air-to-air car with two pods that hold more face than the nose has its cores there."""
        return self.kind == AIR and self.pods == 2 and 2.0 * self.pod.area > self.nose.area


def build_text(brief: Brief, need: Need, kind: str, growth: Growth, coolant: str) -> tuple[str, tuple[Rule, ...]]:
    """A complete build as TOML with its comments, and the rules behind its sizes.

    `growth` are factors on first sizes by lever (see `LEVERS`), `coolant` as of `sizing.coolant_for`.
    """
    draft = Draft(brief, need, kind, growth, coolant)
    text = _Text()
    name = f"{brief.name}, {kind}"
    text.lines += [
        f"# {brief.name}: a STARTER drafted from {_plain(brief.file)}, not a measured car.  First sizes by rules,",
        "# then grown by the solver within the room until the session's limits held or the room was used up.",
        "# Put what you buy and measure in place of it, part by part.",
    ]
    text.put("schema", "coldside.build/1")
    text.put("name", name)
    _engine(text, draft)
    {AIR: _air, WATER: _water, HYBRID: _hybrid}[kind](text, draft)
    return "\n".join(text.lines) + "\n", tuple(text.rules)


def _plain(file: str) -> str:
    return file.replace("\\", "/").rsplit("/", 1)[-1]


# ---------------------------------------------------------------- what every kind shares


def _engine(text: _Text, d: Draft) -> None:
    spec, need = d.brief.spec, d.need
    redline = spec.redline or 0.0
    text.open("engine")
    if d.brief.rotary:
        text.put("kind", "rotary")
        text.put("chamber_volume", f"{1e6 * spec.chamber_volume:.0f} cm3")
        text.put("rotors", spec.rotors)
        firing = 2 * spec.rotors
    else:
        text.put("kind", "piston")
        text.put("displacement", f"{1e3 * (spec.displacement or 0.0):.3g} L")
        text.put("cylinders", spec.cylinders)
        firing = spec.cylinders
    filling = [[_speed(share * redline), f"{value:.2f}"] for share, value in FILLING]
    shares = [value for _, value in FILLING]
    words = f"{min(shares):g} to {max(shares):g}"
    text.size("volumetric_efficiency", filling, "usual of boosted engines, of the plenum's state", "Practice", words)
    curve = sizing.boost_curve(need, _turbo(d))
    boost = [[_speed(share * redline), f"{1e-5 * value:.3f} bar"] for share, value in curve]
    rule = "as the brief gives it" if need.given else "what the power takes"
    rule += (
        f": {need.air:.3f} kg/s of air for {1e-3 * need.power:.0f} kW at brake efficiency {need.efficiency:.2f} "
        f"and lambda {need.rich:.2f}, charge {sizing.CHARGE_RISE:.0f} K over ambient: p = m R T/(VE V n); "
        "below, 6 % from surge"
    )
    full = [share for share, value in curve if value >= 0.995 * need.boost]
    words = f"{1e-5 * need.boost:.4g} bar from {_speed(full[0] * redline)} to {_speed(full[-1] * redline)}"
    text.size("boost", boost, rule, "Heywood1988", words)
    text.put("fuel", spec.fuel)
    text.put("lambda", round(need.rich, 3))
    text.size("brake_efficiency", f"{need.efficiency:.2f} +- 0.02", "usual of boosted engines at full load", "Practice")
    if need.asked is not None and not need.assumed:
        text.put("asked_power", f"{1e-3 * need.asked:.4g} kW", "as the brief gives it")
    count, each = sizing.injectors_for(need.fuel_flow, firing)
    if spec.injectors is not None:
        count, each = spec.injectors, need.fuel_flow / (sizing.DUTY * spec.injectors)
    text.put("injectors", count, "as bought" if spec.injectors is not None else "")
    if spec.injector_capacity is not None:
        text.put("injector_capacity", f"{1e3 * spec.injector_capacity:.3g} g/s", "as bought")
    else:
        text.size("injector_capacity", f"{1e3 * each:.3g} g/s", "the greatest fuel flow at 85 % duty", "Practice")
    text.put("top_speed", _speed(redline))
    text.open("car")
    text.put("mass", f"{spec.car_mass:.0f} kg")
    text.open("bay")
    text.put("temperature_rise", "20 K", "assumed: log it")


def _turbo(d: Draft) -> CompressorSpec:
    """The turbo's design point; two alike where one would be very large."""
    design = sizing.design_flow(d.need.corrected, d.brief.spec.turbo_flow)
    count = 2 if design > sizing.TWIN else 1
    ratio = round(max(d.need.ratio, 1.2), 2)
    return CompressorSpec(design_flow=round(design / count, 3), design_pressure_ratio=ratio, count=count)


def _speed(value: float) -> str:
    return f"{round(value / RPM / 10.0) * 10:.0f} rpm"


def _tract(text: _Text, d: Draft, hot: float, cold: float) -> tuple[float, float]:
    """Filter, turbo and both charge pipes of these lengths [m]; returns their bores [m]."""
    spec, need = d.brief.spec, d.need
    text.open("parts.filter", "filter")
    text.put("loss", "2 kPa")
    text.put("bench_flow", _kg_s(need.air))
    text.open("parts.turbo", "compressor")
    turbo = _turbo(d)
    if turbo.count > 1:
        text.put("count", turbo.count)
    rule = "three quarters of the most that the bought turbo can pass"
    if spec.turbo_flow is None:
        rule = f"0.92 of the greatest corrected flow of {need.corrected:.3f} kg/s: clear of surge and choke"
    text.size("design_flow", _kg_s(turbo.design_flow or 0.0), rule, "Own")
    text.size(
        "design_pressure_ratio",
        turbo.design_pressure_ratio,
        "plenum and charge loss over ambient less intake loss",
        "Analytic",
    )
    bores = []
    for name, length, temperature in (("hot_pipe", hot, need.hot), ("cold_pipe", cold, need.ambient + 25.0)):
        text.open(f"parts.{name}", "pipe")
        text.put("length", f"{length:.2g} m", "assumed: measure it")
        bore = spec.pipe_bore or sizing.pipe_bore(need.air, temperature, need.plenum, min(d.grown("pipe"), WIDEST))
        if spec.pipe_bore is not None:
            text.put("bore", _exact(bore), "as bought")
        else:
            text.size("bore", _mm(bore), "charge at no more than 50 m/s, the next bore sold", "Practice")
        text.put("losses", 1.1 if name == "hot_pipe" else 0.8)
        bores.append(bore)
    text.open("parts.throttle", "throttle")
    text.put("loss", "1.5 kPa")
    text.put("bench_flow", _kg_s(need.air))
    text.open("parts.plenum", "plenum")
    text.put("metal_mass", "4.5 kg", "assumed: weigh it")
    text.open("parts.intake_sensor", "sensor")
    text.put("time_constant", "3 s")
    return bores[0], bores[1]


def _charge_path(text: _Text, cores: list[object]) -> None:
    text.open("charge")
    text.put("path", ["filter", "turbo", "hot_pipe", *cores, "cold_pipe", "throttle", "plenum", "intake_sensor"])


def _nose_duct(text: _Text, d: Draft, faces: list[str], area: float) -> None:
    """The duct at the nose: these faces, the engine's radiator behind them, its fan."""
    spec = d.brief.spec
    radiator = RADIATOR[0] * RADIATOR[1]
    text.open("ducts.nose")
    text.put("path", [*faces, "engine_radiator", "nose_fan"])
    text.put("place", "nose")
    _openings(text, d, max(area, radiator))
    text.open("parts.engine_radiator", "exchanger")
    fuel_heat = d.need.power / d.need.efficiency
    duty = max(sizing.USED[spec.use].fuel, RADIATOR_DUTY)
    heat = RADIATOR_SHARE * duty * min(d.need.rich, 1.0) * fuel_heat
    rule = f"a fifth of the heat set free, at {100 * duty:.0f} % of full-load fuel: the mean of that use while it moves"
    text.size("heat", f"{1e-3 * heat:.0f} kW", rule, "Practice")
    text.put("bench_cooling_flow", "2.0 kg/s", f"a face of {_mm(RADIATOR[0])} x {_mm(RADIATOR[1])}, assumed")
    text.put("bench_cooling_loss", "160 Pa")
    text.put("face_height", _mm(RADIATOR[1]))
    _fan(text, d, "nose_fan", radiator, "always")


def _openings(text: _Text, d: Draft, area: float) -> None:
    """Inlet and exit of a duct with faces of this area."""
    inlet = min(sizing.INLET_SHARE * d.grown("inlet"), INLET_MOST) * area
    text.size("inlet_area", _cm2(inlet), "from 0.40 of the face; a third feeds a dense face at speed", "Taylor1944")
    text.size("exit_area", _cm2(sizing.EXIT_SHARE * inlet), "1.8 times the inlet", "Practice")


def _fan(text: _Text, d: Draft, name: str, area: float, control: str) -> None:
    bought = d.brief.spec.fan_flow
    stronger = min(d.grown("fan"), STRONGEST_FAN) if name == "nose_fan" else 1.0
    flow = bought if bought is not None and name == "nose_fan" else sizing.FAN_SPEED * stronger * area
    text.open(f"parts.{name}", "fan")
    rise = sizing.FAN_RISE * (1.0 if flow is bought else stronger)
    curve = [
        ["0 m3/s", f"{rise:.0f} Pa"],
        [f"{0.5 * flow:.2f} m3/s", f"{0.65 * rise:.0f} Pa"],
        [f"{flow:.2f} m3/s", "0 Pa"],
    ]
    if flow is bought:
        text.put("curve", curve, "open flow as bought")
    else:
        words = f"{flow:.2f} m3/s against nothing, {rise:.0f} Pa shut off"
        rule = f"{sizing.FAN_SPEED * stronger:.2g} m/s on the face against nothing, {rise:.0f} Pa shut off"
        rule += "" if stronger == 1.0 else "; 4 m/s and 200 Pa are usual, more feeds the radiator"
        text.size("curve", curve, rule, "Practice", words)
    text.put("control", control)


def _air_core(text: _Text, d: Draft, name: str, room: Face, flow: float, bore: float) -> Face:
    """One air-to-air core for `flow` [kg/s] in `room`; returns its face."""
    volume = sizing.air_core_volume(flow)
    wanted = _allowed(d, name, volume * d.grown("face") / min(AIR_DEPTH, room.depth))
    face = Face(room.width, room.height, room.depth).within(wanted)
    fins = max((face.width - 2.0 * END_TANK) * face.height, 1e-3)
    depth = min(max(AIR_DEPTH, volume / fins) * d.grown("depth"), room.depth)
    face = Face(face.width, face.height, depth)
    across = d.growth.get(TURNED, 0.0) <= 0.0
    stack, way = (face.height, face.width) if across else (face.width, face.height)
    text.open(f"parts.{name}", "air_core")
    rule = f"{_litres(volume)} of core for {_kg_s(flow)} of charge at first, grown within the room"
    words = "" if across else "; the charge goes down, not across: across it would lose too much pressure"
    text.size("charge_length", _mm(max(way - 2.0 * END_TANK, 0.05)), rule + words, "Own")
    text.size("stack_height", _mm(max(stack - 0.01, 0.03)), rule, "Own")
    text.size("cooling_length", _mm(depth), "60 to 115 mm is usual, within the room", "Practice")
    text.put("charge_bore", _mm(bore))
    text.put("charge_tanks", "diffusing", "cast or well-shaped tanks: plain ones lose twice as much")
    text.put("face_height", _mm(face.height))
    if name != "left_core" and name != "right_core":
        covers = max(0.05, min(1.0, face.area / (RADIATOR[0] * RADIATOR[1])))
        text.put("covers", f"{100.0 * covers:.0f} %", "of the radiator's face")
    text.put("surroundings", "ambient")
    return face


def _allowed(d: Draft, name: str, area: float) -> float:
    """Less face at the nose where the engine's own cooling must not suffer."""
    if d.brief.spec.keep == "engine cooling" and name not in ("left_core", "right_core", "left_hx", "right_hx"):
        return min(area, COVERED * RADIATOR[0] * RADIATOR[1])
    return area


# ---------------------------------------------------------------- the kinds


def _air(text: _Text, d: Draft) -> None:
    if d.air_in_pods:
        sides = ("left", "right")
        _charge_path(text, [[f"{side}_core" for side in sides]])
        half = 0.5 * d.need.air
        faces = _Text()
        bore = sizing.pipe_bore(half, d.need.hot, d.need.plenum)
        for side in sides:
            face = _air_core(faces, d, f"{side}_core", d.pod, half, bore)
            text.open(f"ducts.{side}_side")
            text.put("path", [f"{side}_core", f"{side}_fan"])
            text.put("place", "side")
            _openings(text, d, face.area)
            _fan(faces, d, f"{side}_fan", face.area, "always")
        _tract(text, d, 1.2, 1.0)
        text.lines += faces.lines
        text.rules += faces.rules
        return
    _charge_path(text, ["core"])
    parts = _Text()
    _, bore = _tract(parts, d, 1.4, 1.4)
    face = _air_core(parts, d, "core", d.nose, d.need.air, bore)
    _nose_duct(text, d, ["core"], face.area)
    text.lines += parts.lines
    text.rules += parts.rules


def _loop(text: _Text, d: Draft, heat: float) -> float:
    """Loop, tank, pump and hoses; returns the bore of the lines [m]."""
    spec, need = d.brief.spec, d.need
    coolant = parse_coolant(d.coolant)
    use = sizing.USED[spec.use]
    wanted = sizing.pump_flow(need.air, coolant) * min(d.grown("pump"), STRONGEST)
    wanted = wanted if spec.pump_flow is None else spec.pump_flow / sizing.OPEN_FLOW
    text.open("parts.tank", "reservoir")
    volume = sizing.tank_volume(heat, use.stretch, coolant) * d.grown("tank") - ELSEWHERE
    volume = min(max(volume, LEAST_TANK), spec.tank_room)
    rule = f"coolant warms by 8 K in {use.stretch:.0f} s of full load, less what cores and lines hold, within the room"
    if spec.tank == TANK_AS_IT_IS:
        volume = spec.tank_room
        text.put("volume", f"{1e3 * volume:.4g} L", "as it is")
    else:
        text.size("volume", _litres(volume), rule, "Analytic")
    text.put("nodes", 2 if volume > 3e-3 else 1)
    text.put("height", "0.75 m")
    away = spec.cabin == "allowed" and spec.keep != "boot space"
    text.put(
        "surroundings", "ambient" if away else "bay", "" if away else "it stands in the bay: nothing in cabin or boot"
    )
    text.open("parts.pump", "pump")
    head, share = sizing.PUMP_HEAD, sizing.PUMP_LEFT
    curve = [
        ["0 L/min", f"{head:g} m"],
        [_flow(wanted), f"{share * head:.1f} m"],
        [_flow(sizing.OPEN_FLOW * wanted), "0 m"],
    ]
    if spec.pump_flow is not None:
        text.put("curve", curve, "open flow as bought; its heads are assumed")
    else:
        ratio = sizing.CAPACITY_RATIO * min(d.grown("pump"), STRONGEST)
        rule = f"{_flow(wanted)} against {share * head:.1f} m: {ratio:.1f} times the heat capacity rate of the charge"
        words = f"{_flow(wanted)} against {share * head:.1f} m, {_flow(sizing.OPEN_FLOW * wanted)} against nothing"
        text.size("curve", curve, rule, "Own", words)
    text.put("control", "always")
    text.put("height", "0.25 m")
    bore = spec.line_bore or sizing.line_bore(wanted)
    known = "hose_run" in d.brief.known
    for name, share in (("feed_hose", FEED_SHARE), ("return_hose", 1.0 - FEED_SHARE)):
        text.open(f"parts.{name}", "hose")
        comment = "of the run there and back, as the brief gives it" if known else "assumed: measure it"
        text.put("length", f"{2.0 * share * spec.hose_run:.3g} m", comment)
        if spec.line_bore is not None:
            text.put("bore", _exact(bore), "as bought")
        else:
            text.size("bore", _mm(bore), "coolant at no more than 1.8 m/s, the next bore sold", "Own")
        text.put("losses", 3.5)
        text.put("height", "0.40 m")
        text.put("high_point", "0.55 m")
    return bore


def _loop_path(text: _Text, d: Draft, exchangers: list[object]) -> None:
    text.open("loops.charge")
    frost = d.brief.spec.winter
    comment = f"liquid to {_degC(parse_coolant(d.coolant).freezing_point)}, winter down to {_degC(frost)}"
    if d.coolant == "water" and frost < ZERO_CELSIUS:
        comment = f"DRAIN it before frost: winter down to {_degC(frost)}; corrosion inhibitor all year"
    text.put("coolant", d.coolant, comment)
    text.put("path", ["tank", "pump", "feed_hose", "core", "return_hose", *exchangers])
    text.put("cap_pressure", "0.9 bar gauge")


def _water_core(text: _Text, d: Draft, flow: float, share: float, bores: tuple[float, float]) -> None:
    """The water core for `flow` [kg/s], of `share` of the usual volume; bores of charge pipe and line [m]."""
    spec = d.brief.spec
    longest = max(spec.core_length - 2.0 * END_TANK, 0.04)
    high, wide = max(spec.core_height - 0.01, 0.03), max(spec.core_width - 2.0 * COOLANT_TANK, 0.03)
    volume = sizing.water_core_volume(flow) * share * d.grown("core")
    area = min(sizing.water_core_face(flow) * math.sqrt(d.grown("core")), high * wide)
    side = math.sqrt(area / (high * wide))
    rule = (
        f"{_litres(sizing.water_core_volume(flow) * share)} of core for {_kg_s(flow)} of charge at first, its face as "
    )
    rule += "large as the passages need for little loss, grown within the room"
    text.open("parts.core", "water_core")
    if spec.core == AS_IT_IS:
        text.put("charge_length", _exact(spec.core_length), "as bought; its fins are assumed: count them")
        text.put("stack_height", _exact(spec.core_height), "as bought")
        text.put("coolant_length", _exact(spec.core_width), "as bought")
    else:
        text.size("charge_length", _mm(min(volume / area, longest)), rule, "Own")
        text.size("stack_height", _mm(side * high), rule, "Own")
        text.size("coolant_length", _mm(side * wide), rule, "Own")
    text.put("charge_bore", _mm(bores[0]))
    text.put("charge_tanks", "diffusing", "cast or well-shaped tanks: plain ones lose twice as much")
    text.put("coolant_bore", _mm(bores[1]))
    text.put("height", "0.70 m")
    text.put("bleed", True, "screw at its top")


def _exchanger(text: _Text, d: Draft, name: str, face: Face, bore: float, rule: str, *, alone: bool = True) -> None:
    """A remote exchanger of flat tubes with this face; `alone`: the radiator stands behind it, not a core."""
    text.open(f"parts.{name}", "exchanger")
    if name == "nose_hx" and d.exchanger_stands:
        text.put(
            "coolant_length", _exact(face.width - 2.0 * SIDE_TANK), "as it is; tubes and fins are assumed: count them"
        )
        text.put("stack_height", _exact(face.height - FRAME), "as it is")
        text.put("cooling_length", _exact(face.depth), "as it is")
    else:
        text.size("coolant_length", _mm(max(face.width - 2.0 * SIDE_TANK, 0.05)), rule, "Practice")
        text.size("stack_height", _mm(max(face.height - FRAME, 0.03)), rule, "Practice")
        text.size("cooling_length", _mm(face.depth), "16 to 60 mm is usual of tubes, within the room", "Practice")
    text.put("tube_rows", max(1, math.ceil(face.depth / 0.032)))
    text.size("coolant_passes", 2, "two passes: flat tubes with glycol are laminar in one", "Own")
    text.put("coolant_bore", _mm(bore))
    text.put("face_height", _mm(face.height))
    if name == "nose_hx" and alone:
        covers = max(0.05, min(1.0, face.area / (RADIATOR[0] * RADIATOR[1])))
        text.put("covers", f"{100.0 * covers:.0f} %", "of the radiator's face")
    text.put("height", "0.45 m")


def _faces(d: Draft, heat: float, nose: Face) -> tuple[Face | None, Face | None]:
    """Faces of the exchanger at the nose and of one in each pod, for the mean heat; None where not needed."""
    depth = EXCHANGER_DEPTH * d.grown("exchanger_depth")
    wanted = sizing.exchanger_face(heat, sizing.USED[d.brief.spec.use]) * d.grown("exchanger")
    if d.exchanger_stands:
        return nose, None
    if d.pods and d.growth.get(ASIDE, 0.0) > 0.0:
        return None, Face(d.pod.width, d.pod.height, min(depth, d.pod.depth, DEEPEST_TUBES))
    front = Face(nose.width, nose.height, min(depth, nose.depth, DEEPEST_TUBES))
    front = front.within(_allowed(d, "nose_hx", wanted))
    left = wanted - front.area
    if not d.pods or left <= 1e-4:
        return front, None
    pod = Face(d.pod.width, d.pod.height, min(depth, d.pod.depth, DEEPEST_TUBES))
    return front, pod.within(max(left / d.pods, 0.3 * pod.area))


def _pod_sides(d: Draft) -> tuple[str, ...]:
    return ("left", "right")[: d.pods]


def _face_rule(d: Draft) -> str:
    use = sizing.USED[d.brief.spec.use]
    speed = f"{3.6 * use.speed:.0f} km/h"
    return f"{100 * use.duty:.0f} % of full-load heat, coolant 12 K over ambient, air at a fifth of {speed}"


def _pod_ducts(text: _Text, parts: _Text, d: Draft, pod: Face, bore: float) -> None:
    for side in _pod_sides(d):
        text.open(f"ducts.{side}_side")
        text.put("path", [f"{side}_hx", f"{side}_fan"])
        text.put("place", "side")
        _openings(text, d, pod.area)
        _exchanger(parts, d, f"{side}_hx", pod, bore, _face_rule(d))
        _fan(parts, d, f"{side}_fan", pod.area, "always")


def _pods_in_loop(d: Draft) -> list[object]:
    names = [f"{side}_hx" for side in _pod_sides(d)]
    return [names] if len(names) > 1 else list(names)


def _water(text: _Text, d: Draft) -> None:
    need = d.need
    _charge_path(text, ["core"])
    parts = _Text()
    _, cold = _tract(parts, d, 0.9, 0.4)
    bore = _loop(parts, d, need.heat)
    _water_core(parts, d, need.air, 1.0, (cold, bore))
    front, pod = _faces(d, need.heat, d.nose)
    at_nose = [] if front is None else ["nose_hx"]
    _loop_path(text, d, [*(_pods_in_loop(d) if pod else []), *at_nose])
    _nose_duct(text, d, at_nose, 0.0 if front is None else front.area)
    if front is not None:
        _exchanger(parts, d, "nose_hx", front, bore, _face_rule(d))
    if pod is not None:
        _pod_ducts(text, parts, d, pod, bore)
    text.lines += parts.lines
    text.rules += parts.rules


def _hybrid(text: _Text, d: Draft) -> None:
    need = d.need
    _charge_path(text, ["front_core", "core"])
    shared = not d.pods
    hx_depth = min(EXCHANGER_DEPTH * d.grown("exchanger_depth"), DEEPEST_TUBES)
    hx_depth = min(hx_depth, FRONT_SHARE * d.nose.depth) if shared else min(hx_depth, d.pod.depth)
    room = Face(d.nose.width, d.nose.height, d.nose.depth - (hx_depth if shared else 0.0))
    parts = _Text()
    _, cold = _tract(parts, d, 1.4, 0.6)
    air_face = _air_core(parts, d, "front_core", room, need.air, cold)
    heat = HYBRID_HEAT * need.heat
    bore = _loop(parts, d, heat)
    _water_core(parts, d, need.air, 0.7, (cold, bore))
    wanted = sizing.exchanger_face(heat, sizing.USED[d.brief.spec.use]) * d.grown("exchanger")
    if shared:
        low = Face(air_face.width, air_face.height, hx_depth)
        _loop_path(text, d, ["nose_hx"])
        _nose_duct(text, d, ["nose_hx", "front_core"], air_face.area)
        _exchanger(parts, d, "nose_hx", low, bore, "as large as the air-to-air core that stands behind it", alone=False)
    else:
        pod = Face(d.pod.width, d.pod.height, hx_depth).within(wanted / d.pods)
        _loop_path(text, d, _pods_in_loop(d))
        _nose_duct(text, d, ["front_core"], air_face.area)
        _pod_ducts(text, parts, d, pod, bore)
    text.lines += parts.lines
    text.rules += parts.rules


# ---------------------------------------------------------------- the session


@dataclass(frozen=True)
class Programme:
    """A use as a session: its `name`, what it is in `words`, the lines of its phases."""

    name: str
    words: str
    lines: list[str]


def programme(brief: Brief) -> Programme:
    """The session of a brief's use, as long as the brief says, or as is usual."""
    spec = brief.spec
    redline = spec.redline or 0.0
    made: dict[str, Callable[[float, float | None], Programme]] = {
        STREET: _street,
        TRACK: _track,
        BOTH: _street_and_track,
        DRAG: _drag,
        DYNO: _dyno,
        HILL: _hill,
    }
    return made[spec.use](redline, spec.session_length)


def session_text(brief: Brief, limit: float) -> str:
    """The session for the stated use on the hottest day as TOML; `limit` K of charge in boost."""
    spec, made = brief.spec, programme(brief)
    lines = [
        f"# What {_one_line(brief.name)} is used for, on its hottest day: drafted from the brief, details invented.",
        f"# {made.words}.",
        'schema = "coldside.session/1"',
        f'name = "{made.name}"',
        f'start = "{"soaked" if spec.use in (STREET, BOTH) else "ambient"}"',
        "drafted = true  # the limits: take this line out once they are yours",
        "",
        "[ambient]",
        f'temperature = "{spec.hottest_day - ZERO_CELSIUS:.1f} degC"',
        f'altitude = "{spec.altitude:.0f} m"',
        'humidity = "50 %"',
        *made.lines,
    ]
    limits = [("intake", f'"{limit - ZERO_CELSIUS:.0f} degC"')]
    if spec.use == DYNO:
        limits.append(("spread", '"35 %"'))
    for quantity, value in limits:
        lines += ["", "[[limits]]", f'quantity = "{quantity}"', f"at_most = {value}"]
        lines += ['during = "boost"'] if quantity == "intake" else []
    return "\n".join(lines) + "\n"


def _one_line(text: str) -> str:
    return " ".join(text.split())


def _times(length: float | None, each: float, usual: int) -> int:
    """How many of `each` seconds a session of `length` holds, at least one."""
    return usual if length is None else max(1, round(length / each))


def _count(number: int, one: str, many: str = "") -> str:
    names = ("no", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve")
    told = names[number] if number < len(names) else str(number)
    return f"{told} {one if number == 1 else many or one + 's'}"


def _phase(kind: str, **keys: object) -> list[str]:
    return ["", "[[phases]]", f"kind = {_toml(kind)}", *(f"{key.rstrip('_')} = {_toml(v)}" for key, v in keys.items())]


def _pull(redline: float, low: float, seconds: float, gear: int, **keys: object) -> list[str]:
    rows = _phase("pull", on=keys.pop("on", "road"), from_=_speed(low * redline), to=_speed(0.97 * redline))
    rows += [f'duration = "{seconds:g} s"', f"gear = {gear}"]
    return rows + [f"{key} = {_toml(value)}" for key, value in keys.items()]


PULL, BETWEEN, HIGHWAY, TRAFFIC = 9.0, 60.0, 180.0, 720.0  # s on the street
STRAIGHTS, REST_OF_LAP = (12.0, 9.0), (5.0, 32.0, 4.0, 38.0)  # s at full load; s braking, twisty, braking, sweepers
LAP = sum(STRAIGHTS) + sum(REST_OF_LAP)
STAGING, RETURN, PADDOCK, ENGINE_OFF, PASS = 180.0, 90.0, 480.0, 360.0, 21.0  # s of one round of drag racing
WARM_UP, DYNO_PULL, REST = 180.0, 11.0, 240.0  # s on a dyno
CLIMBS, BEND = (9.0, 12.0, 9.0, 12.0), 6.0  # s at full load on a hill; s between
TO_THE_HILL, DOWN, BELOW = 240.0, 240.0, 480.0  # s


def _minutes(seconds: float) -> str:
    return f"{seconds / 60.0:.3g} min"


def _street(redline: float, length: float | None) -> Programme:
    rest = HIGHWAY + 2.0 * (PULL + BETWEEN)
    traffic = TRAFFIC if length is None else max(60.0, length - rest)
    lines = [
        *_phase("traffic", duration=_minutes(traffic)),
        *_phase("cruise", name="highway", duration=_minutes(HIGHWAY), speed="100 km/h"),
        *_pull(redline, 0.45, PULL, 3),
        *_phase("cruise", name="highway again", duration=f"{BETWEEN:g} s", speed="110 km/h"),
        *_pull(redline, 0.45, PULL, 3),
        *_phase("cruise", name="and again", duration=f"{BETWEEN:g} s", speed="110 km/h"),
    ]
    words = f"{_minutes(traffic)} of traffic, then two pulls at full throttle on the highway, {PULL:g} s each"
    return Programme("Traffic, then two pulls on the highway", words, lines)


def _track(redline: float, length: float | None, usual: int = 12) -> Programme:
    """Laps of 100 s: two full-load stretches, two at part load, braking between."""
    laps = _times(length, LAP, usual)
    n = _speed(0.64 * redline)
    group = {"group": "lap"}
    durations = [f"{seconds:g} s" for seconds in REST_OF_LAP]
    parts = (
        ("braking", "110 km/h", "0 %"),
        ("twisty part", "95 km/h", "40 %"),
        ("braking again", "90 km/h", "0 %"),
        ("sweepers", "120 km/h", "50 %"),
    )
    between = [
        _phase("cruise", name=name, duration=duration, speed=speed, engine_speed=n, load=load, **group)
        for (name, speed, load), duration in zip(parts, durations, strict=True)
    ]
    lines = [
        *_pull(redline, 0.55, STRAIGHTS[0], 4, name="main straight", **group),
        *between[0],
        *between[1],
        *_pull(redline, 0.53, STRAIGHTS[1], 3, name="back straight", **group),
        *between[2],
        *between[3],
        "",
        "[groups.lap]",
        f"repeat = {laps}",
    ]
    words = f"{_count(laps, 'lap')} of {LAP:g} s, full throttle {sum(STRAIGHTS):g} s in {LAP:g}"
    name = "Twenty minutes on track" if length is None else f"{_count(laps, 'lap')} on track"
    return Programme(name, words, lines)


def _street_and_track(redline: float, length: float | None) -> Programme:
    street, track = _street(redline, None), _track(redline, length, 8)
    words = f"{street.words}; then {track.words[:1].lower()}{track.words[1:]}"
    return Programme("Traffic, two pulls, then laps on track", words, street.lines + track.lines)


def _drag(redline: float, length: float | None) -> Programme:
    rounds = _times(length, STAGING + PASS + RETURN + PADDOCK, 3)
    group = {"group": "round"}
    lines = [
        *_phase("staging", duration=_minutes(STAGING), creep_every="45 s", creep_distance="8 m", **group),
        *_phase(
            "pass", distance="0.25 mi", burnout="4 s", launch_hold="3 s", launch_speed=_speed(0.55 * redline), **group
        ),
        *_phase("cruise", name="return road", duration=f"{RETURN:g} s", speed="30 km/h", **group),
        *_phase("paddock", duration=_minutes(PADDOCK), engine_off=_minutes(ENGINE_OFF), **group),
        "",
        "[groups.round]",
        f"repeat = {rounds}",
    ]
    name = _count(rounds, "standing quarter mile")
    words = (
        f"{name}, full throttle all the way; {_minutes(STAGING)} of staging before each, {_minutes(PADDOCK)} in the "
        f"paddock after it, {_minutes(ENGINE_OFF)} of them with the engine off"
    )
    return Programme(name, words, lines)


def _dyno(redline: float, length: float | None) -> Programme:
    pulls = _times(None if length is None else length - WARM_UP, DYNO_PULL + REST, 5)
    air = ["[phases.air]", 'nose = "8 m/s"', 'side = "2 m/s"']
    pull = _pull(redline, 0.42, DYNO_PULL, 4, on="dyno", repeat=pulls, rest=_minutes(REST))
    lines = [*_phase("idle", name="warm up", duration=_minutes(WARM_UP)), *air, *pull, *air]
    name = _count(pulls, "dyno pull")
    return Programme(name, f"{name} of {DYNO_PULL:g} s at full throttle, {_minutes(REST)} of rest after each", lines)


def _hill(redline: float, length: float | None) -> Programme:
    n = _speed(0.64 * redline)
    group = {"group": "run"}
    climb: list[str] = []
    for number, (seconds, gear) in enumerate(zip(CLIMBS, (2, 3, 2, 3), strict=True), 1):
        climb += _pull(redline, 0.55, seconds, gear, name=f"climb {number}", **group)
        climb += _phase(
            "cruise",
            name=f"bend {number}",
            duration=f"{BEND:g} s",
            speed="55 km/h",
            engine_speed=n,
            load="15 %",
            **group,
        )
    up = sum(CLIMBS) + BEND * len(CLIMBS)
    runs = _times(length, TO_THE_HILL + up + DOWN + BELOW, 2)
    lines = [
        *_phase("staging", duration=_minutes(TO_THE_HILL), creep_every="60 s", creep_distance="10 m", **group),
        *climb,
        *_phase("cruise", name="down again", duration=_minutes(DOWN), speed="30 km/h", grade="-8 %", **group),
        *_phase("paddock", duration=_minutes(BELOW), **group),
        "",
        "[groups.run]",
        f"repeat = {runs}",
    ]
    name = _count(runs, "hill climb")
    return Programme(name, f"{name}, full throttle {sum(CLIMBS):g} s in {up:g} of each", lines)
