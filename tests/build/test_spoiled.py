# ruff: noqa: E501  (stored texts stand unbroken)
"""Spoiled builds, sessions and files of limits: one message a fault, with file and line, compared whole.

The texts are ours (no outside source); each case spoils a valid file in one place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from typer.testing import CliRunner

from coldside.build.files import load_build
from coldside.cli import app
from coldside.duty.phases import load_limits, load_session
from coldside.errors import BadInput, ManyBadInputs
from words.files import BUILD, LIMITS, MAP, SESSION, spoiled

TEXTS = {"build": BUILD, "session": SESSION, "limits": LIMITS}
READERS: dict[str, Callable[[Path], Any]] = {"build": load_build, "session": load_session, "limits": load_limits}
BYTES: dict[str, Callable[[str], bytes]] = {
    "": lambda text: text.encode(),
    "latin": lambda text: text.encode("latin-1"),
    "utf16": lambda text: text.encode("utf-16"),
    "null": lambda text: text.encode().replace(b"%", b"\0"),
    "large": lambda text: text.encode() + b"# more\n" * 150_000,
}


class Case(NamedTuple):
    """`file` is "build", "session" or "limits", "+map" with a map beside it, "-latin" etc. for its bytes."""

    kind: str
    file: str
    edits: tuple[tuple[str, str], ...]
    messages: tuple[str, ...]


CASES: tuple[Case, ...] = (
    Case(
        "syntax",
        "build",
        (("cylinders = 4", "cylinders = 4 L"),),
        ('hill.toml:8: cylinders = 4 L: a text needs quotes: cylinders = "4 L"',),
    ),
    Case(
        "syntax",
        "build",
        (('volume = "9 L" ', "volume = “9 L” "),),
        ('hill.toml:78: has the quotes of a text processor (“ ”), straight ones are needed: volume = "9 L"',),
    ),
    Case(
        "syntax",
        "build",
        (("lambda = 0.82  ", "lambda = 0,82  "),),
        ("hill.toml:11: lambda = 0,82 has a comma; write a decimal point: 0.82",),
    ),
    Case(
        "syntax",
        "build",
        (('displacement = "2.0 L"', "displacement = 2,0 L"),),
        ('hill.toml:7: displacement = 2,0 L has a comma; write a decimal point: "2.0 L"',),
    ),
    Case(
        "syntax",
        "build",
        (("[bay]", "[car]\ngears = [3,46, 2,05]   # first, second\n[bay]"),),
        ("hill.toml:15: has decimal commas; write points: gears = [3.46, 2.05]",),
    ),
    Case(
        "range",
        "build",
        (("[bay]", "[car]\ngears = [3,46, 2,15]\n[bay]"),),
        (
            "hill.toml:15: car.gears, number 2: 46 is out of range; it must be from 0.3 to 20; if these are decimal commas, write points: [3.46, 2.15]",
        ),
    ),
    Case(
        "build rules",
        "build",
        (("[bay]", "[car]\ngears = [3,4, 2,1]\n[bay]"),),
        (
            "hill.toml:15: car.gears: run from first to top, so each is smaller than the one before; number 2 is not; if these are decimal commas, write points: [3.4, 2.1]",
        ),
    ),
    Case(
        "wrong file",
        "build",
        (("[bay]", '[ambient]\ntemperature = "31 degC"\n[bay]'),),
        ("hill.toml:14: ambient: belongs to a session, but this is a build",),
    ),
    Case(
        "wrong file",
        "session",
        (("[ambient]", '[engine]\nkind = "piston"\n[ambient]'),),
        ("hill.toml:6: engine: belongs to a build, but this is a session",),
    ),
    Case(
        "wrong file",
        "limits",
        (('schema = "coldside.limits/1"\n', 'schema = "coldside.limits/1"\nstart = "soaked"\n'),),
        ("hill.toml:2: start: belongs to a session, but this is a file of limits",),
    ),
    Case(
        "misspelt",
        "session",
        (('duration = "10 s"', 'lenght = "10 s"'),),
        ('hill.toml:20: phases.2.lenght: is not a key of a pull; nearest: "duration"',),
    ),
    Case(
        "misspelt",
        "session",
        (('to = "7000 rpm"', 'to_speed = "7000 rpm"'),),
        ('hill.toml:19: phases.2.to_speed: is not a key of a pull; nearest: "to"',),
    ),
    Case(
        "misspelt",
        "session",
        (('speed = "60 mph"', 'velocity = "60 mph"'),),
        ('hill.toml:31: phases.3.velocity: is not a key of a cruise; nearest: "speed"',),
    ),
    Case(
        "misspelt",
        "session",
        (('altitude = "240 m"', 'elevation = "240 m"'),),
        ('hill.toml:8: ambient.elevation: is not a key of the ambient; nearest: "altitude"',),
    ),
    Case(
        "syntax",
        "build",
        (('volume = "9 L" ', 'volume = "9 L '),),
        ('hill.toml:78: a quote is not closed: volume = "9 L # behind the driver',),
    ),
    Case(
        "syntax",
        "build",
        (("[parts.tank]", "[parts.tank"),),
        ("hill.toml:76: a table is written [name] or [[name]], but here stands: [parts.tank",),
    ),
    Case(
        "syntax",
        "build",
        (('["28 L/min", "1 m"]]', '["28 L/min", "1 m"]'),),
        (
            'hill.toml:86: a list opened with [ above is not closed before: control = "above 40 degC charge, 4 K hysteresis"',
        ),
    ),
    Case(
        "syntax",
        "build",
        (('height = "0.5 m"', "height"),),
        ("hill.toml:79: no [table], no key = value and no # comment: height",),
    ),
    Case(
        "syntax",
        "build",
        (('height = "0.5 m"', "height = "),),
        ('hill.toml:79: height has no value behind the "="',),
    ),
    Case(
        "syntax",
        "build",
        (('height = "0.5 m"', 'volume = "8 L"'),),
        ('hill.toml:79: this key or table stands twice in the file: volume = "8 L"',),
    ),
    Case(
        "syntax",
        "session",
        (("[groups.lap]", "[ambient]"),),
        ("hill.toml:38: this key or table stands twice in the file: [ambient]",),
    ),
    Case(
        "syntax",
        "build",
        (('height = "0.5 m"', 'height == "0.5 m"'),),
        ('hill.toml:79: not valid TOML at column 9: height == "0.5 m"',),
    ),
    Case(
        "form",
        "build",
        (('height = "0.5 m"', 'tap.height = "0.5 m"'),),
        ("hill.toml:79: parts.tank.tap.height is a dotted key; write height = ... in a table [parts.tank.tap]",),
    ),
    Case(
        "form",
        "build",
        (('[parts.throttle]\nkind = "throttle"', '[parts]\nthrottle = { kind = "throttle" }'),),
        ("hill.toml:68: parts.throttle is an inline table; write it as a table [parts.throttle]",),
    ),
    Case(
        "form",
        "build",
        (('name = "Kestrel"', 'name = """Kes\ntrel"""'),),
        ("hill.toml:3: name is a text over several lines; write it on one line",),
    ),
    Case(
        "form",
        "session",
        (("[ambient]", "[[ambient]]"),),
        ("hill.toml:6: ambient: must be one table [ambient]",),
    ),
    Case(
        "form",
        "session",
        (
            (
                '[[phases]]\nkind = "idle"\nduration = "2 min"\n\n[[phases]]\nkind = "pull"\non = "dyno"\nfrom = "3000 rpm"\nto = "7000 rpm"\nduration = "10 s"\nrepeat = 3\nrest = "4 min"\nfans = "60 %"\n[phases.air]\nnose = "8 m/s"\n\n[[phases]]\nkind = "cruise"\ngroup = "lap"\nduration = "30 s"\nspeed = "60 mph"\n\n[[phases]]\nkind = "cooldown"\ngroup = "lap"\nduration = "20 s"\n\n[groups.lap]\nrepeat = 2\n',
                '[phases]\nkind = "idle"\nduration = "2 min"\n',
            ),
        ),
        ("hill.toml:11: phases: must be tables [[phases]], in double brackets, one for each",),
    ),
    Case(
        "unit",
        "build",
        (('volume = "9 L" ', 'volume = "9" '),),
        ('hill.toml:78: parts.tank.volume = "9" has no unit; a volume is needed, such as "9 L" or "9 US gal"',),
    ),
    Case(
        "unit",
        "build",
        (('volume = "9 L" ', "volume = 9 "),),
        ('hill.toml:78: parts.tank.volume = 9 has no unit; a volume is needed, such as "9 L" or "9 US gal"',),
    ),
    Case(
        "unit",
        "build",
        (('volume = "9 L" ', 'volume = "9 litrs" '),),
        (
            'hill.toml:78: parts.tank.volume = "9 litrs" has the unknown unit "litrs" (nearest: "litres"); a volume takes L, US gal, mL, in3, imp gal',
        ),
    ),
    Case(
        "unit",
        "build",
        (('"3.2 US gal/min"', '"3.2 gpm"'),),
        (
            'hill.toml:58: parts.right_core.bench_coolant_flow = "3.2 gpm" is unclear: a US or an imperial measure? write "3.2 US gal/min" or "3.2 imp gal/min"',
        ),
    ),
    Case(
        "unit",
        "build",
        (('volume = "9 L" ', 'volume = "9 gal" '),),
        (
            'hill.toml:78: parts.tank.volume = "9 gal" is unclear: a US or an imperial measure? write "9 US gal" or "9 imp gal"',
        ),
    ),
    Case(
        "unit",
        "session",
        (('"60 mph"', '"60"'),),
        ('hill.toml:31: phases.3.speed = "60" has no unit; a speed is needed, such as "60 km/h" or "60 mph"',),
    ),
    Case(
        "unit",
        "session",
        (('"31 degC"', "31"),),
        ('hill.toml:7: ambient.temperature = 31 has no unit; a temperature is needed, such as "31 degC" or "88 degF"',),
    ),
    Case(
        "unit",
        "build",
        (('"20 lb/min"', '"280 scfm"'),),
        (
            'hill.toml:57: parts.right_core.bench_charge_flow = "280 scfm" counts air at conditions that scfm leaves open; a mass flow is needed, such as "0.25 kg/s" or "33 lb/min"',
        ),
    ),
    Case(
        "gauge word",
        "build",
        (('"0.9 bar gauge"', '"0.9 bar"'),),
        ('hill.toml:23: loops.charge.cap_pressure = "0.9 bar" does not say gauge; write "0.9 bar gauge"',),
    ),
    Case(
        "gauge word",
        "build",
        (('"0.9 bar gauge"', '"1.9 bar abs"'),),
        (
            'hill.toml:23: loops.charge.cap_pressure = "1.9 bar abs" is abs, but a gauge pressure is needed here; say gauge',
        ),
    ),
    Case(
        "gauge word",
        "build",
        (('bench_charge_loss = "4 kPa"', 'bench_charge_loss = "4 kPa gauge"'),),
        (
            'hill.toml:50: parts.left_core.bench_charge_loss = "4 kPa gauge" says gauge or abs, but a difference has neither; a pressure difference is needed, such as "9 kPa" or "1.3 psi"',
        ),
    ),
    Case(
        "gauge word",
        "build",
        (('bench_charge_loss = "4 kPa"', 'bench_charge_pressure = "28 psi"\nbench_charge_loss = "4 kPa"'),),
        (
            'hill.toml:50: parts.left_core.bench_charge_pressure = "28 psi" does not say gauge or abs; write "28 psi gauge" or "28 psi abs"',
        ),
    ),
    Case(
        "gauge word",
        "session",
        (('altitude = "240 m"', 'pressure = "98.5 kPa"'),),
        ('hill.toml:8: ambient.pressure = "98.5 kPa" does not say abs; write "98.5 kPa abs"',),
    ),
    Case(
        "gauge word",
        "session",
        (('altitude = "240 m"', 'pressure = "0.2 bar gauge"'),),
        ('hill.toml:8: ambient.pressure = "0.2 bar gauge" is gauge, but an absolute pressure is needed here; say abs',),
    ),
    Case(
        "gauge word",
        "build",
        (('"20 psi"', '"-20 psi"'),),
        ('hill.toml:9: engine.boost, row 2: "-20 psi" is at or below vacuum',),
    ),
    Case(
        "kind",
        "build",
        (('volume = "9 L" ', 'volume = "9 kg" '),),
        ('hill.toml:78: parts.tank.volume = "9 kg" is a mass; here a volume is needed, such as "9 L" or "2.4 US gal"',),
    ),
    Case(
        "kind",
        "build",
        (('"35 degF rise"', '"35 degF"'),),
        (
            'hill.toml:15: bay.temperature_rise = "35 degF" is a temperature, but a difference is needed here; write "35 degF rise"',
        ),
    ),
    Case(
        "kind",
        "session",
        (('at_most = "60 degC"', 'at_most = "60 degF rise"'),),
        (
            'hill.toml:43: limits.1.at_most = "60 degF rise" is a difference, but a temperature is needed here, such as "31 degC" or "88 degF"',
        ),
    ),
    Case(
        "kind",
        "build",
        (('"20 lb/min"', '"280 cfm"'),),
        (
            'hill.toml:57: parts.right_core.bench_charge_flow = "280 cfm" is a volume flow; here a mass flow is needed: of air at 20 degC (68 degF) and sea level it is "0.159 kg/s" or "21 lb/min"',
        ),
    ),
    Case(
        "kind",
        "build",
        (("cylinders = 4", "cylinders = 4.5"),),
        ('hill.toml:8: engine.cylinders = 4.5 is not a whole number; a whole number is needed, such as "4"',),
    ),
    Case(
        "kind",
        "build",
        (("cylinders = 4", "cylinders = true"),),
        ('hill.toml:8: engine.cylinders = true cannot be read; a whole number is needed, such as "4"',),
    ),
    Case(
        "kind",
        "build",
        (('coolant = "ethylene glycol 30 % by volume"', "coolant = 30"),),
        ('hill.toml:21: loops.charge.coolant = 30 is no text; write "water" or "ethylene glycol 30 % by volume"',),
    ),
    Case(
        "kind",
        "build",
        (('curve = [["0 m3/s", "190 Pa"], ["0.4 m3/s", "0 Pa"]]', 'curve = "0 m3/s"'),),
        ('hill.toml:105: parts.nose_fan.curve = "0 m3/s" is no curve; write pairs [["0.3 m3/s", "150 Pa"], ...]',),
    ),
    Case(
        "kind",
        "session",
        (('fans = "60 %"', 'fans = "sometimes"'),),
        (
            'hill.toml:23: phases.2.fans = "sometimes" does not start with a number; a command is needed, such as "on", "off" or "60 %"',
        ),
    ),
    Case(
        "kind",
        "build",
        (('control = "above 40 degC charge, 4 K hysteresis"', 'control = "above 40 degC charge, 4 degC hysteresis"'),),
        (
            'hill.toml:86: parts.pump.control = "above 40 degC charge, 4 degC hysteresis": "4 degC" is a temperature, but a difference is needed here; write "4 degC rise"',
        ),
    ),
    Case(
        "kind",
        "build",
        (('control = "above 40 degC charge, 4 K hysteresis"', 'control = "above 40 degC air"'),),
        (
            'hill.toml:86: parts.pump.control = "above 40 degC air" is no control; write "always", "schedule", "off" or "above 40 degC charge, 4 K hysteresis" (or coolant for charge)',
        ),
    ),
    Case(
        "range",
        "build",
        (('volume = "9 L" ', 'volume = "9000 L" '),),
        ('hill.toml:78: parts.tank.volume = "9000 L" is out of range; it must be from 0.2 L to 500 L',),
    ),
    Case(
        "range",
        "build",
        (('bench_effectiveness = "0.80 +- 0.03"', "bench_effectiveness = 80"),),
        (
            'hill.toml:49: parts.left_core.bench_effectiveness = 80 is out of range; it must be from 5 % to 99.9 %; did you mean "80 %"?',
        ),
    ),
    Case(
        "range",
        "build",
        (('metal_mass = "5 lb"', 'metal_mass = "-5 lb"'),),
        ('hill.toml:64: parts.right_core.metal_mass = "-5 lb" is out of range; it must be from 0.11 lb to 441 lb',),
    ),
    Case(
        "range",
        "session",
        (('humidity = "45 %"', 'humidity = "145 %"'),),
        ('hill.toml:9: ambient.humidity = "145 %" is out of range; it must be from 0 % to 100 %',),
    ),
    Case(
        "range",
        "session",
        (('to = "7000 rpm"', 'to = "2000 rpm"'),),
        ("hill.toml:19: phases.2.to: must be above from, 3000 rpm",),
    ),
    Case(
        "range",
        "session",
        (('rest = "4 min"', 'rest = "4 min"\ngear = 0'),),
        ("hill.toml:23: phases.2.gear = 0 is out of range; it must be from 1 to 12",),
    ),
    Case(
        "range",
        "session",
        (("repeat = 2", "repeat = 900"),),
        ("hill.toml:27: phases.3: with it the session lasts over 6 h, the longest that is solved",),
    ),
    Case(
        "range",
        "build",
        (('"20 psi"', '"2000 psi"'),),
        ('hill.toml:9: engine.boost, row 2: "2000 psi" is out of range; it must be from 1.45 psi abs to 218 psi abs',),
    ),
    Case(
        "range",
        "build",
        (('bench_charge_in = "140 degC"', 'bench_charge_in = "25 degC"'),),
        ("hill.toml:47: parts.left_core.bench_charge_in: must be hotter than bench_coolant_in",),
    ),
    Case(
        "nearest name",
        "build",
        (('volume = "9 L" ', 'volum = "9 L" '),),
        ('hill.toml:78: parts.tank.volum: is not a key of a reservoir; nearest: "volume"',),
    ),
    Case(
        "nearest name",
        "build",
        (('kind = "reservoir"', 'kind = "resevoir"'),),
        ('hill.toml:77: parts.tank.kind = "resevoir" is no kind of part; nearest: "reservoir"',),
    ),
    Case(
        "nearest name",
        "build",
        (('["tank", "pump", "feed_hose"', '["tnak", "pump", "feed_hose"'),),
        ('hill.toml:22: loops.charge.path: "tnak" is no part of this build; nearest: "tank"',),
    ),
    Case(
        "nearest name",
        "build",
        (('place = "nose"', 'place = "noze"'),),
        ('hill.toml:27: ducts.nose.place = "noze" is not one of "nose", "side", "rear", "roof"; nearest: "nose"',),
    ),
    Case(
        "nearest name",
        "build",
        (('place = "nose"', 'place = "front"'),),
        ('hill.toml:27: ducts.nose.place = "front" is not one of "nose", "side", "rear", "roof"; nearest: "nose"',),
    ),
    Case(
        "nearest name",
        "session",
        (('quantity = "intake"', 'quantity = "iat"'),),
        (
            (
                'hill.toml:42: limits.1.quantity = "iat" is not one of "intake", "sensor", "over_ambient", "coolant", '
                '"spread", "margin"; nearest: "intake"'
            ),
        ),
    ),
    Case(
        "nearest name",
        "build",
        (("[charge]", "[chrge]"),),
        ('hill.toml:17: chrge: is not a key of a build; nearest: "charge"',),
    ),
    Case(
        "nearest name",
        "build",
        (('coolant = "ethylene glycol 30 % by volume"', 'coolant = "ethylen glycol 30 % by volume"'),),
        (
            'hill.toml:21: loops.charge.coolant: coolant \'ethylen glycol 30 % by volume\' is not known; write "water", "ethylene glycol 50 % by volume", "propylene glycol 40 % by mass", "methanol 30 % by volume" (any share) or "engine oil"; nearest: \'ethylene glycol 30 % by volume\'',
        ),
    ),
    Case(
        "nearest name",
        "session",
        (('quantity = "intake"', 'quantity = "intke"'),),
        (
            'hill.toml:42: limits.1.quantity = "intke" is not one of "intake", "sensor", "over_ambient", "coolant", "spread", "margin"; nearest: "intake"',
        ),
    ),
    Case(
        "nearest name",
        "session",
        (('group = "lap"\nduration = "30 s"', 'gruop = "lap"\nduration = "30 s"'),),
        ('hill.toml:29: phases.3.gruop: is not a key of a cruise; nearest: "group"',),
    ),
    Case(
        "path twice",
        "build",
        (('"plenum", "intake_sensor"]', '"plenum", "intake_sensor", "hot_pipe"]'),),
        ('hill.toml:18: charge.path: "hot_pipe" stands twice: it is already on this path',),
    ),
    Case(
        "path twice",
        "build",
        (('path = ["nose_hx", "nose_fan"]', 'path = ["nose_hx", "nose_fan", "nose_hx"]'),),
        ('hill.toml:26: ducts.nose.path: "nose_hx" stands twice: its cooling side is already on this path',),
    ),
    Case(
        "path twice",
        "build",
        (("[ducts.nose]", '[loops.second]\ncoolant = "water"\npath = ["pump"]\n\n[ducts.nose]'),),
        ('hill.toml:27: loops.second.path: "pump" stands twice: it is already on loops.charge.path',),
    ),
    Case(
        "path twice",
        "build",
        (('"nose_hx"]\ncap', '"nose_hx", "intake_sensor"]\ncap'),),
        ('hill.toml:22: loops.charge.path: "intake_sensor" stands twice: it is already on charge.path',),
    ),
    Case(
        "missing side",
        "build",
        (
            ('path = ["nose_hx", "nose_fan"]', 'path = ["nose_fan", "spare_hx"]'),
            (
                "[parts.nose_fan]",
                '[parts.spare_hx]\nkind = "exchanger"\nheat = "3 kW"\nbench_cooling_flow = "0.9 kg/s"\nbench_cooling_loss = "150 Pa"\n\n[parts.nose_fan]',
            ),
        ),
        ("hill.toml:93: parts.nose_hx: its cooling side is on no path; name it in a duct",),
    ),
    Case(
        "missing side",
        "build",
        (('"hot_pipe", ["left_core", "right_core"]', '"hot_pipe", "left_core"'),),
        ("hill.toml:55: parts.right_core: its charge side is on no path; name it in the charge path",),
    ),
    Case(
        "missing side",
        "build",
        (('"feed_hose", [', "["),),
        ("hill.toml:88: parts.feed_hose: is on no path; name it in a loop, or take it out",),
    ),
    Case(
        "missing side",
        "build",
        ((', "intake_sensor"]', "]"),),
        (
            "hill.toml:73: parts.intake_sensor: is on no path; name the sensor in the charge path or in a loop, at the place where it reads",
        ),
    ),
    Case(
        "group",
        "build",
        (('"hot_pipe", ["left_core", "right_core"]', '"hot_pipe", [], "left_core", "right_core"'),),
        ("hill.toml:18: charge.path: holds an empty group []; name its branches or take it out",),
    ),
    Case(
        "group",
        "build",
        (('path = ["nose_hx", "nose_fan"]', "path = []"),),
        ("hill.toml:26: ducts.nose.path: is empty; name the parts in flow order",),
    ),
    Case(
        "group",
        "build",
        (('"feed_hose", ["left_core", "right_core"]', '"feed_hose", [["left_core", "right_core"]]'),),
        (
            'hill.toml:22: loops.charge.path: holds a group of one, [["left_core", "right_core"]]; a list inside a path is a group of two branches or more',
        ),
    ),
    Case(
        "group",
        "build",
        (('"hot_pipe", ["left_core", "right_core"]', '"hot_pipe", ["left_core", "right_core", []]'),),
        ("hill.toml:18: charge.path: holds an empty branch []; name its parts or take it out",),
    ),
    Case(
        "group",
        "build",
        (('"hot_pipe", ["left_core", "right_core"]', '"hot_pipe", ["left_core", "right_core", 3]'),),
        ("hill.toml:18: charge.path: holds 3; a path holds names of parts and lists of them",),
    ),
    Case(
        "group",
        "build",
        (('path = ["nose_hx", "nose_fan"]', 'path = "nose_hx"'),),
        ('hill.toml:26: ducts.nose.path = "nose_hx" is no list; write ["part", "part", ...]',),
    ),
    Case(
        "group",
        "build",
        (
            (
                '["left_core", "right_core"], "throttle", "plenum", "intake_sensor"]',
                '["left_core", "right_core", "intake_sensor"], "throttle", "plenum"]',
            ),
        ),
        (
            'hill.toml:18: charge.path: "intake_sensor" is alone in a branch; a sensor needs a part beside it that the stream passes',
        ),
    ),
    Case(
        "wrong path",
        "build",
        (('"turbo", "hot_pipe", ', '"turbo", "hot_pipe", "pump", '),),
        ('hill.toml:18: charge.path: "pump" is a pump and carries coolant, not charge air; it belongs on a loop',),
    ),
    Case(
        "wrong path",
        "build",
        (('["tank", "pump", "feed_hose"', '["tank", "pump", "hot_pipe", "feed_hose"'),),
        (
            'hill.toml:22: loops.charge.path: "hot_pipe" is a pipe and carries charge air, not coolant; it belongs on the charge path; a coolant line is of kind hose',
        ),
    ),
    Case(
        "wrong path",
        "build",
        (('["tank", "pump", "feed_hose"', '["engine.coolant", "tank", "pump", "feed_hose"'),),
        (
            'hill.toml:22: loops.charge.path: "engine.coolant": write "engine"; which liquid is meant follows from the loop\'s coolant',
        ),
    ),
    Case(
        "wrong path",
        "build",
        (('path = ["nose_hx", "nose_fan"]', 'path = ["nose_hx", "nose_fan", "intake_sensor"]'),),
        ('hill.toml:26: ducts.nose.path: "intake_sensor" is a sensor; it may stand on the charge path or in a loop',),
    ),
    Case(
        "wrong path",
        "build",
        (
            ('["tank", "pump", "feed_hose"', '["tank", "feed_hose"'),
            (
                '[parts.pump]\nkind = "pump"\ncurve = [["0 L/min", "8 m"],\n         ["15 L/min", "6 m"],\n         ["28 L/min", "1 m"]]\ncontrol = "above 40 degC charge, 4 K hysteresis"\n\n',
                "",
            ),
        ),
        ("hill.toml:22: loops.charge.path: holds no pump; nothing moves its coolant",),
    ),
    Case(
        "wrong path",
        "build",
        (('["filter", "turbo", "hot_pipe"', '["turbo", "filter", "hot_pipe"'),),
        ('hill.toml:18: charge.path: "filter" is a filter; it belongs before the compressor',),
    ),
    Case(
        "wrong path",
        "build",
        (('"throttle", "plenum", "intake_sensor"', '"plenum", "throttle", "intake_sensor"'),),
        ('hill.toml:18: charge.path: "throttle" stands behind the plenum "plenum"; only a sensor may',),
    ),
    Case(
        "wrong path",
        "build",
        (
            ('["filter", "turbo", "hot_pipe"', '["filter", "turbo", "second", "third", "hot_pipe"'),
            (
                "[parts.hot_pipe]",
                (
                    '[parts.second]\nkind = "compressor"\nefficiency = "72 %"\n\n'
                    '[parts.third]\nkind = "compressor"\nefficiency = "72 %"\n\n[parts.hot_pipe]'
                ),
            ),
        ),
        ('hill.toml:18: charge.path: "third" is compressor number 3; two stages in series are the most',),
    ),
    Case(
        "wrong path",
        "build",
        (
            ('"throttle", "plenum", "intake_sensor"', '"throttle", "second", "plenum", "intake_sensor"'),
            ("[parts.hot_pipe]", '[parts.second]\nkind = "compressor"\nefficiency = "72 %"\n\n[parts.hot_pipe]'),
        ),
        ('hill.toml:18: charge.path: "throttle" is a throttle; it belongs behind the last compressor',),
    ),
    Case(
        "curve",
        "build",
        (('["15 L/min", "6 m"]', '["15 L/min", "9 m"]'),),
        ('hill.toml:84: parts.pump.curve, row 2: the head must not rise along the curve, but "9 m" follows "8 m"',),
    ),
    Case(
        "curve",
        "build",
        (('["15 L/min", "6 m"]', '["30 L/min", "6 m"]'),),
        (
            'hill.toml:85: parts.pump.curve, row 3: the volume flow must rise from row to row, but "28 L/min" follows "30 L/min"',
        ),
    ),
    Case(
        "curve",
        "build",
        (('[["2500 rpm", "8 psi"], ["7500 rpm", "20 psi"]]', '[["2500 rpm", "8 psi"]]'),),
        ('hill.toml:9: engine.boost has 1 point; a curve needs at least two, [["6000 rpm", "1.5 bar"], ...]',),
    ),
    Case(
        "curve",
        "build",
        (('["15 L/min", "6 m"]', '["15 L/min", "6 bar"]'),),
        (
            'hill.toml:84: parts.pump.curve, row 2: "6 bar" is a pressure; here a head of the pumped fluid is needed: of water it is "61.2 m" or "201 ft" (1 psi is 2.31 ft, 1 bar is 10.2 m of water)',
        ),
    ),
    Case(
        "curve",
        "build",
        (('["15 L/min", "6 m"]', '["15 L/min"]'),),
        ('hill.toml:84: parts.pump.curve, row 2: ["15 L/min"] is no pair; write ["14 L/min", "8 m"]',),
    ),
    Case(
        "curve",
        "build",
        (('["0.4 m3/s", "0 Pa"]', '["0.4 m3/s", "200 Pa"]'),),
        (
            'hill.toml:105: parts.nose_fan.curve, row 2: the pressure difference must not rise along the curve, but "200 Pa" follows "190 Pa"',
        ),
    ),
    Case(
        "curve",
        "build",
        (('["15 L/min", "6 m"]', '["15 L/min +- 1 L/min", "6 m"]'),),
        (
            'hill.toml:84: parts.pump.curve, row 2: "15 L/min +- 1 L/min" has a +-; only the second number of a pair may have one',
        ),
    ),
    Case(
        "map",
        "build+map",
        (
            ('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6', 'map = "wheel.csv"'),
            ("# reference_temperature: 298.15 K\n", ""),
        ),
        (
            'wheel.csv:1: the map does not say its reference_temperature; maps differ in it, so put a line like "# reference_temperature: 298.15 K" on top',
        ),
    ),
    Case(
        "map",
        "build+map",
        (
            ('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6', 'map = "wheel.csv"'),
            ("# reference_pressure: 100 kPa abs\n", ""),
        ),
        (
            'wheel.csv:1: the map does not say its reference_pressure; maps differ in it, so put a line like "# reference_pressure: 100 kPa" on top',
        ),
    ),
    Case(
        "map",
        "build+map",
        (
            ('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6', 'map = "wheel.csv"'),
            ("# reference_temperature: 298.15 K", "# reference_temperature: 298.15"),
        ),
        (
            'wheel.csv:2: reference_temperature: "298.15" has no unit; a temperature is needed, such as "31 degC" or "88 degF"',
        ),
    ),
    Case(
        "map",
        "build+map",
        (('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6', 'map = "wheal.csv"'),),
        (
            'hill.toml:35: parts.turbo.map = "wheal.csv" does not exist; it is looked for beside this file; nearest: "wheel.csv"',
        ),
    ),
    Case(
        "map",
        "build+map",
        (('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6', 'map = "wheel.csv"\nefficiency = "72 %"'),),
        (
            "hill.toml:33: parts.turbo: has both map and efficiency; keep one of map, design_flow with design_pressure_ratio, efficiency",
        ),
    ),
    Case(
        "map",
        "build",
        (('design_flow = "0.30 kg/s"\ndesign_pressure_ratio = 2.6\n', ""),),
        ("hill.toml:33: parts.turbo: needs one of: map; design_flow with design_pressure_ratio; efficiency",),
    ),
    Case(
        "map",
        "build",
        (("design_pressure_ratio = 2.6\n", ""),),
        (
            "hill.toml:33: parts.turbo: design_pressure_ratio is missing: the generic family needs design_flow and design_pressure_ratio",
        ),
    ),
    Case(
        "encoding",
        "build-latin",
        (("# behind the driver", "# größer"),),
        ("hill.toml:78: is not UTF-8 text (byte 0xf6); save it as UTF-8",),
    ),
    Case(
        "encoding",
        "session-utf16",
        (),
        ("hill.toml:1: is UTF-16 text; save it as UTF-8",),
    ),
    Case(
        "encoding",
        "limits-null",
        (),
        ('hill.toml:10: holds a control character (0x00); take it out: at_most = "15 ?"',),
    ),
    Case(
        "size",
        "build-large",
        (),
        ("hill.toml: is larger than 1 MB; a file of ours is a few kB",),
    ),
    Case(
        "size",
        "session-large",
        (),
        ("hill.toml: is larger than 1 MB; a file of ours is a few kB",),
    ),
    Case(
        "size",
        "limits-large",
        (),
        ("hill.toml: is larger than 1 MB; a file of ours is a few kB",),
    ),
    Case(
        "nonsense",
        "build",
        (('volume = "9 L" ', 'volume = "nan L" '),),
        (
            'hill.toml:78: parts.tank.volume = "nan L" is not a finite number; a volume is needed, such as "9 L" or "2.4 US gal"',
        ),
    ),
    Case(
        "nonsense",
        "build",
        (('volume = "9 L" ', 'volume = "1e999 L" '),),
        (
            'hill.toml:78: parts.tank.volume = "1e999 L" is not a finite number; a volume is needed, such as "9 L" or "2.4 US gal"',
        ),
    ),
    Case(
        "nonsense",
        "build",
        (("lambda = 0.82", "lambda = inf"),),
        ('hill.toml:11: engine.lambda = inf is not a finite number; a plain number is needed, such as "0.6"',),
    ),
    Case(
        "nonsense",
        "build",
        (('volume = "9 L" ', 'volume = "9.00000000000000000000000000000000000000 L" '),),
        (
            'hill.toml:78: parts.tank.volume = "9.00000000000000000000000000000000000000 L" is absurdly long for a number; a volume is needed, such as "9 L" or "2.4 US gal"',
        ),
    ),
    Case(
        "nonsense",
        "build",
        (('volume = "9 L" ', 'volume = "1,5 L" '),),
        ('hill.toml:78: parts.tank.volume = "1,5 L" has a comma; write a decimal point: "1.5 L"',),
    ),
    Case(
        "nonsense",
        "build",
        (('bore = "2.5 in"', 'bore = "5/2 in"'),),
        ('hill.toml:41: parts.hot_pipe.bore = "5/2 in" is a fraction; write it as a decimal number: "2.5 in"',),
    ),
    Case(
        "nonsense",
        "session",
        (('duration = "10 s"', 'duration = "ten s"'),),
        (
            'hill.toml:20: phases.2.duration = "ten s" does not start with a number; a time is needed, such as "11 s" or "4 min"',
        ),
    ),
    Case(
        "nonsense",
        "build",
        (('"0.80 +- 0.03"', '"0.80 +- -0.03"'),),
        (
            'hill.toml:49: parts.left_core.bench_effectiveness = "0.80 +- -0.03" has a negative standard deviation behind +-',
        ),
    ),
    Case(
        "nonsense",
        "build",
        (('"0.80 +- 0.03"', '"0.80 +- 0.03 +- 1"'),),
        (
            'hill.toml:49: parts.left_core.bench_effectiveness = "0.80 +- 0.03 +- 1" has more than one +-; one standard deviation follows one value',
        ),
    ),
    Case(
        "missing key",
        "build",
        (('volume = "9 L"                      # behind the driver\n', ""),),
        ('hill.toml:76: parts.tank: volume is missing: coolant in the tank, such as "9 L" or "2.4 US gal"',),
    ),
    Case(
        "missing key",
        "build",
        (('displacement = "2.0 L"\n', ""),),
        ("hill.toml:5: engine: displacement is missing: a piston engine needs displacement and cylinders",),
    ),
    Case(
        "missing key",
        "build",
        (('bench_heat = "14 kW +- 5 %"\n', ""),),
        (
            "hill.toml:93: parts.nose_hx: bench_heat or bench_effectiveness is missing: one of them rates the bench point",
        ),
    ),
    Case(
        "missing key",
        "build",
        (('kind = "reservoir"\n', ""),),
        (
            "hill.toml:76: parts.tank: kind is missing: one of filter, compressor, supercharger, pipe, hose, water_core, air_core, exchanger, throttle, plenum, injection, pump, reservoir, valve, thermostat, fan, chiller, oil_cooler, sensor",
        ),
    ),
    Case(
        "missing key",
        "build",
        (('name = "Kestrel"\n', ""),),
        ('hill.toml:1: there is no name = "..."; a build has one of your own',),
    ),
    Case(
        "missing key",
        "build",
        (('path = ["nose_hx", "nose_fan"]\n', ""),),
        ('hill.toml:25: ducts.nose: path is missing: the parts in flow order, path = ["part", "part", ...]',),
    ),
    Case(
        "missing key",
        "session",
        (('duration = "10 s"\n', ""),),
        (
            "hill.toml:15: phases.2: duration is missing: a pull on a dyno lasts so long, or as long as drum_mass, its rollers, takes",
        ),
    ),
    Case(
        "missing key",
        "session",
        (('speed = "60 mph"\n', ""),),
        ("hill.toml:27: phases.3: a cruise needs speed, or engine_speed and load",),
    ),
    Case(
        "missing key",
        "session",
        (("[groups.lap]\nrepeat = 2\n", ""),),
        ('hill.toml:29: phases.3.group = "lap" has no table [groups.lap] with repeat = ...',),
    ),
    Case(
        "missing key",
        "session",
        (('[ambient]\ntemperature = "31 degC"\naltitude = "240 m"\nhumidity = "45 %"\n', ""),),
        ("hill.toml:1: there is no table [ambient]: a session needs the day's temperature",),
    ),
    Case(
        "schema",
        "build",
        (("coldside.build/1", "coldside.session/1"),),
        (
            'hill.toml:2: schema = "coldside.session/1" is a session, but a build is needed here (schema = "coldside.build/1")',
        ),
    ),
    Case(
        "schema",
        "build",
        (('schema = "coldside.build/1"\n', ""),),
        ('hill.toml:1: has no schema; write schema = "coldside.build/1" on top if this is a build',),
    ),
    Case(
        "schema",
        "session",
        (("coldside.session/1", "coldside.session/2"),),
        ('hill.toml:2: schema = "coldside.session/2" is not known; write schema = "coldside.session/1"',),
    ),
    Case(
        "schema",
        "limits",
        (("coldside.limits/1", "coldside.build/1"),),
        (
            'hill.toml:1: schema = "coldside.build/1" is a build, but a file of limits is needed here (schema = "coldside.limits/1")',
        ),
    ),
    Case(
        "unused key",
        "session",
        (('duration = "2 min"', 'duration = "2 min"\nspeed = "10 mph"'),),
        (
            "hill.toml:14: phases.1.speed: is not used by an idle; its keys: duration, engine_speed, kind, name, pumps, fans, group, air",
        ),
    ),
    Case(
        "unused key",
        "session",
        (('speed = "60 mph"', 'speed = "60 mph"\nrest = "3 s"'),),
        (
            "hill.toml:32: phases.3.rest: is not used by a cruise; its keys: duration, speed, engine_speed, load, grade, gear, headwind, kind, name, pumps, fans, group, air",
        ),
    ),
    Case(
        "unused key",
        "build",
        (("cylinders = 4", "cylinders = 4\nrotors = 2"),),
        ("hill.toml:9: engine.rotors: belongs to a rotary engine, but this one is piston",),
    ),
    Case(
        "unused key",
        "build",
        (('bench_heat = "14 kW +- 5 %"', 'bench_heat = "14 kW +- 5 %"\nbench_effectiveness = 0.6'),),
        ("hill.toml:100: parts.nose_hx.bench_effectiveness: is given beside bench_heat; keep one of them",),
    ),
    Case(
        "unused key",
        "session",
        (('altitude = "240 m"', 'altitude = "240 m"\npressure = "98.5 kPa abs"'),),
        ("hill.toml:9: ambient.pressure: is given beside altitude; keep one of them",),
    ),
    Case(
        "unused key",
        "build",
        (('kind = "plenum"', 'kind = "plenum"\nspacer_area = "60 cm2"'),),
        ("hill.toml:72: parts.plenum.spacer_area: means nothing without spacer, its thickness",),
    ),
    Case(
        "unused key",
        "build",
        (('kind = "plenum"', 'kind = "plenum"\nsurroundings = "bay"\nspacer = "10 mm"'),),
        ('hill.toml:73: parts.plenum.spacer: keeps no heat away, because surroundings is not "engine"',),
    ),
    Case(
        "missing key",
        "build",
        (('kind = "plenum"', 'kind = "plenum"\nleak_test_from = "15 psi gauge"\nleak_test_time = "30 s"'),),
        (
            "hill.toml:70: parts.plenum: leak_test_to missing: a pressure-decay test needs leak_test_from, leak_test_to, leak_test_time",
        ),
    ),
    Case(
        "range",
        "build",
        (
            (
                'kind = "plenum"',
                'kind = "plenum"\nleak_test_from = "15 psi gauge"\nleak_test_to = "18 psi gauge"\nleak_test_time = "30 s"',
            ),
        ),
        (
            "hill.toml:73: parts.plenum.leak_test_to: a pressure-decay test falls from a higher pressure to a lower one, both above ambient pressure",
        ),
    ),
    Case(
        "unused key",
        "build",
        (("design_pressure_ratio = 2.6", 'design_pressure_ratio = 2.6\nspeed_limit = "140000 rpm"'),),
        ("hill.toml:37: parts.turbo.speed_limit: means nothing without design_speed; give both or neither",),
    ),
    Case(
        "session rules",
        "session",
        (
            (
                'group = "lap"\nduration = "20 s"',
                'duration = "20 s"\n\n[[phases]]\nkind = "idle"\ngroup = "lap"\nduration = "5 s"',
            ),
        ),
        (
            'hill.toml:39: phases.5.group = "lap" was closed by another phase; phases of one group stand one behind the other',
        ),
    ),
    Case(
        "session rules",
        "session",
        (("[groups.lap]\nrepeat = 2\n", "[groups.lap]\nrepeat = 2\n\n[groups.heat]\nrepeat = 3\n"),),
        ('hill.toml:41: groups.heat: no phase is in it; write group = "heat" in its phases',),
    ),
    Case(
        "session rules",
        "session",
        (('speed = "60 mph"', 'engine_speed = "5000 rpm"'),),
        ("hill.toml:27: phases.3: a cruise needs speed, or engine_speed and load",),
    ),
    Case(
        "session rules",
        "session",
        (('kind = "idle"', 'kind = "idel"'),),
        (
            'hill.toml:12: phases.1.kind = "idel" is not one of "idle", "traffic", "cruise", "pull", "pass", "lap", "cycle", "staging", "paddock", "cooldown", "parked", "replay"; nearest: "idle"',
        ),
    ),
    Case(
        "session rules",
        "session",
        (('nose = "8 m/s"', 'nose = "8 m"'),),
        ('hill.toml:24: phases.2.air.nose = "8 m" is a length; here a speed is needed, such as "8 m/s" or "18 mph"',),
    ),
    Case(
        "session rules",
        "session",
        (('at_most = "60 degC"', 'at_most = "60 degC +- 1 K"'),),
        ('hill.toml:43: limits.1.at_most = "60 degC +- 1 K" has a +-, but a limit is exact',),
    ),
    Case(
        "bounds of a limit",
        "session",
        (('quantity = "intake"', 'quantity = "margin"'),),
        (
            (
                "hill.toml:43: limits.1.at_most: is of quantities that must stay low; a margin must stay up: "
                'write at_least = "8 K"'
            ),
        ),
    ),
    Case(
        "bounds of a limit",
        "session",
        (('at_most = "60 degC"', 'at_least = "60 degC"'),),
        ("hill.toml:43: limits.1.at_least: is only of a limit on margin; what must stay low, as intake, has at_most",),
    ),
    Case(
        "bounds of a limit",
        "session",
        (('quantity = "intake"\nat_most = "60 degC"', 'quantity = "margin"\nmin = "8 K"'),),
        ('hill.toml:43: limits.1.min: is not a key of a limit; nearest: "at_least"',),
    ),
    Case(
        "bounds of a limit",
        "session",
        (
            (
                'quantity = "intake"\nat_most = "60 degC"\nduring = "boost"',
                'quantity = "margin"\nat_least = "8 K"\nduring = "always"',
            ),
        ),
        ("hill.toml:44: limits.1.during: means nothing for margin: an engine knocks under load; take it out",),
    ),
    Case(
        "session rules",
        "session",
        (('start = "soaked"', 'start = "soaked"\nlimits_file = "limits.toml"'),),
        (
            'hill.toml:5: limits_file = "limits.toml" does not exist; it is looked for beside this file; nearest: "hill.toml"',
        ),
    ),
    Case(
        "session rules",
        "session",
        (('kind = "idle"\nduration = "2 min"', 'kind = "replay"\nsamples = "log.csv"'),),
        ('hill.toml:13: phases.1.samples = "log.csv" does not exist; it is looked for beside this file',),
    ),
    Case(
        "build rules",
        "build",
        (
            ('control = "schedule"', 'control = "above 45 degC coolant, 5 K hysteresis"'),
            ('path = ["nose_hx", "nose_fan"]', 'path = ["nose_hx"]'),
            (
                "[parts.filter]",
                '[ducts.oil]\nplace = "side"\ninlet_area = "90 cm2"\npath = ["oil_hx", "nose_fan"]\n\n[parts.oil_hx]\nkind = "exchanger"\nheat = "5 kW"\nbench_cooling_flow = "0.3 kg/s"\nbench_cooling_loss = "150 Pa"\n\n[parts.filter]',
            ),
        ),
        ("hill.toml:117: parts.nose_fan.control: watches the coolant, but no exchanger of a loop stands in ducts.oil",),
    ),
    Case(
        "build rules",
        "build",
        (('bench_heat = "14 kW +- 5 %"', 'heat = "14 kW"'),),
        (
            "hill.toml:99: parts.nose_hx.heat: makes it a face in a duct alone, without a coolant side; take it out, or bench_coolant_flow, bench_coolant_in, bench_cooling_in, bench_coolant_loss",
        ),
    ),
    Case(
        "build rules",
        "build",
        (("[bay]", "[car]\ngears = [3.0, 2.0, 2.1]\n\n[bay]"),),
        ("hill.toml:15: car.gears: run from first to top, so each is smaller than the one before; number 3 is not",),
    ),
    Case(
        "build rules",
        "build",
        (("[parts.throttle]", "[parts.engine]"),),
        (
            'hill.toml:18: charge.path: "throttle" is no part of this build; write a table [parts.throttle]',
            "hill.toml:67: parts.engine: engine is the name of the engine itself; choose another",
        ),
    ),
    Case(
        "build rules",
        "build",
        (("lambda = 0.82", 'lambda = 0.82\ntop_speed = "1600 rpm"\nidle_speed = "1700 rpm"'),),
        ("hill.toml:12: engine.top_speed: must be above idle_speed",),
    ),
    Case(
        "build rules",
        "build",
        (('[ducts.nose]\npath = ["nose_hx", "nose_fan"]', '[ducts.nose]\npath = ["nose_fan"]'),),
        (
            "hill.toml:26: ducts.nose.path: holds no exchanger and no air_core; a duct without a face cools nothing",
            "hill.toml:93: parts.nose_hx: its cooling side is on no path; name it in a duct",
        ),
    ),
)


def write(case: Case, folder: Path) -> Callable[[], Any]:
    """Write the spoiled file (and the map) into `folder`; returns the call that reads it."""
    name, _, how = case.file.partition("-")
    name, _, beside = name.partition("+")
    text, map_text = TEXTS[name], MAP
    for old, new in case.edits:
        if old in text:
            text = spoiled(text, (old, new))
        else:
            map_text = spoiled(map_text, (old, new))
    if beside:
        (folder / "wheel.csv").write_text(map_text)
    (folder / "hill.toml").write_bytes(BYTES[how](text))
    return lambda: READERS[name](Path("hill.toml"))


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.kind}-{case.file}")
def test_each_fault_is_told_once_with_file_and_line(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    read = write(case, tmp_path)
    with pytest.raises(BadInput) as refused:
        read()
    error = refused.value
    assert error.exit_code == 2
    assert tuple(str(error).split("\n")) == case.messages
    faults = error.faults if isinstance(error, ManyBadInputs) else (error,)
    assert len(faults) == len(case.messages)
    for fault in faults:
        file, _, line = fault.where.partition(":")
        assert file in ("hill.toml", "wheel.csv")
        assert line.isdigit() or case.kind == "size"  # a file too large to read has no line


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.kind}-{case.file}")
def test_the_command_says_it_on_stderr_and_exits_2(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    write(case, tmp_path)
    good = {"build": BUILD, "session": SESSION}
    for name, text in good.items():
        (tmp_path / f"good_{name}.toml").write_text(text)
    kind = case.file.partition("+")[0].partition("-")[0]
    files = {"build": "good_build.toml", "session": "good_session.toml", kind: "hill.toml"}
    command = ["forecast", files["build"], files["session"], "--json"]
    if kind == "limits":
        command += ["--limits", "hill.toml"]
    seen = CliRunner().invoke(app, command)
    assert seen.exit_code == 2
    assert seen.stdout == ""
    assert tuple(seen.stderr.rstrip("\n").split("\n")) == case.messages


def test_there_are_three_of_each_class() -> None:
    counts = Counter(case.kind for case in CASES)
    assert len(counts) >= 15
    assert min(counts.values()) >= 3, counts


def test_all_faults_of_a_file_come_together_in_its_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    text = spoiled(
        BUILD,
        ('volume = "9 L" ', 'volume = "9" '),
        ('displacement = "2.0 L"', 'displacement = "2.0"'),
        ('["nose_hx", "nose_fan"]', '["nose_hx", "nose_fam"]'),
        ('kind = "throttle"', 'kind = "throtle"'),
    )
    (tmp_path / "hill.toml").write_text(text)
    with pytest.raises(ManyBadInputs) as refused:
        load_build("hill.toml")
    assert str(refused.value) == (
        'hill.toml:7: engine.displacement = "2.0" has no unit; a volume is needed, such as "2 L" or "2 US gal"\n'
        'hill.toml:26: ducts.nose.path: "nose_fam" is no part of this build; nearest: "nose_fan"\n'
        'hill.toml:68: parts.throttle.kind = "throtle" is no kind of part; nearest: "throttle"\n'
        'hill.toml:78: parts.tank.volume = "9" has no unit; a volume is needed, such as "9 L" or "9 US gal"'
    )
    assert [fault.key for fault in refused.value.faults] == [
        "engine.displacement",
        "ducts.nose.path",
        "parts.throttle.kind",
        "parts.tank.volume",
    ]


@pytest.mark.parametrize(
    ("override", "message"),
    [
        ("parts.tank.volume=40", '--set: parts.tank.volume = 40 has no unit; a volume is needed, such as "40 L" or "40 US gal"'),
        ("parts.tank.volum=40 L", '--set: parts.tank.volum: is not a key of a reservoir; nearest: "volume"'),
        ("parts.tnak.volume=40 L", '--set: "parts.tnak.volume=40 L": hill.toml has no table [parts.tnak]; nearest: "parts.tank"'),
        ("parts.tank.volume", '--set: "parts.tank.volume" is not of the form "parts.tank.volume=40 L"'),
        ("ambient.temperature=40 degC", '--set: "ambient.temperature=40 degC": ambient belongs to the session; --set changes the build alone, so edit the session (point has --ambient, --altitude and --humidity)'),
        ("start=soaked", '--set: "start=soaked": start belongs to the session; --set changes the build alone, so edit the session'),
        ("parts.tank.volume=", '--set: "parts.tank.volume=" is not of the form "parts.tank.volume=40 L"'),
        ("parts.throttle.kind=throtle", '--set: parts.throttle.kind = "throtle" is no kind of part; nearest: "throttle"'),
        ("engine.cylinders=four", '--set: engine.cylinders = "four" does not start with a number; a whole number is needed, such as "4"'),
    ],
)  # fmt: skip
def test_overrides_are_refused_by_name(
    override: str, message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hill.toml").write_text(BUILD)
    with pytest.raises(BadInput) as refused:
        load_build("hill.toml", [override])
    assert str(refused.value) == message


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("hil.toml", 'hil.toml: there is no such file; nearest: "hill.toml"'),
        ("folder", "folder: is a folder; name a file in it"),
        ("no/such.toml", "no/such.toml: there is no such file"),
        ("a\0b.toml", "a\0b.toml: cannot be read: not a file name"),
    ],
)
def test_files_that_cannot_be_opened(name: str, message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "hill.toml").write_text(BUILD)
    (tmp_path / "folder").mkdir()
    with pytest.raises(BadInput) as refused:
        load_build(name)
    assert str(refused.value) == message
