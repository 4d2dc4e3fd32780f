"""The session as read, and the demand sampled from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from coldside.build.model import Given
from coldside.parts.engine import RPM
from coldside.parts.fields import given

SAMPLE_TIME = 0.1  # s between samples of a demand


@dataclass(frozen=True, kw_only=True)
class AmbientSpec:
    """`[ambient]`: give altitude or pressure, not both; it is the air at the start where readings follow."""

    temperature: float = given(
        "temperature",
        "air temperature in the shade; at the start, where [[ambient.readings]] say how it changes",
        low=223.15,
        high=333.15,
    )
    altitude: float | None = given(
        "length", "height over sea level", default=None, low=-450.0, high=6000.0, when_absent="sea level"
    )
    pressure: object = given(
        "pressure",
        "station pressure (not the sea-level value of a weather report)",
        default=None,
        when_absent="standard atmosphere at the altitude",
    )
    humidity: float = given("share", "relative humidity", default=0.5, sd=0.15, low=0.0, high=1.0)


@dataclass(frozen=True, kw_only=True)
class ReadingSpec:
    """`[[ambient.readings]]`: the air once more, later in the session; linear between readings, held after the last."""

    at: float = given("time", "time since the start of the session", low=1.0, high=86400.0)
    temperature: float = given("temperature", "air temperature in the shade then", low=223.15, high=333.15)
    humidity: float | None = given(
        "share",
        "relative humidity then",
        default=None,
        low=0.0,
        high=1.0,
        when_absent="as much water in the air as at the reading before, never more than the air can hold",
    )


@dataclass(frozen=True, kw_only=True)
class PhaseSpec:
    """`[[phases]]`: keys that a kind does not use are refused, naming those it uses."""

    kind: str = given(
        "choice",
        "what the car does",
        choices=(
            "idle",
            "traffic",
            "cruise",
            "pull",
            "pass",
            "lap",
            "cycle",
            "staging",
            "paddock",
            "cooldown",
            "parked",
            "replay",
        ),
    )
    name: str | None = given("text", "a name of your own for this phase", default=None)
    duration: float | None = given("time", "how long it lasts", default=None, low=0.1, high=86400.0)
    on: str = given("choice", "where a pull is made", default="road", choices=("road", "dyno"))
    from_speed: float | None = given(
        "engine_speed",
        "engine speed at the start of a pull",
        default=None,
        low=500 * RPM,
        high=20000 * RPM,
        alias="from",
    )
    to_speed: float | None = given(
        "engine_speed", "engine speed at the end of a pull", default=None, low=500 * RPM, high=20000 * RPM, alias="to"
    )
    gear: int | None = given(
        "count",
        "gear, counted from 1",
        default=None,
        low=1,
        high=12,
        when_absent="third for a pull; else the highest that keeps the engine over 1700 rpm",
    )
    repeat: int = given("count", "how many times", default=1, low=1, high=200)
    rest: float = given("time", "idle between repeats", default=0.0, low=0.0, high=86400.0)
    speed: float | None = given("speed", "road speed", default=None, low=0.0, high=140.0)
    engine_speed: float | None = given(
        "engine_speed",
        "engine speed",
        default=None,
        low=300 * RPM,
        high=20000 * RPM,
        when_absent="from road speed and gearing, or idle speed",
    )
    load: float | None = given(
        "share",
        "share of full-load torque",
        default=None,
        low=0.0,
        high=1.0,
        when_absent="what road speed and grade need",
    )
    grade: float = given("share", "uphill grade", default=0.0, low=-0.3, high=0.3)
    drum_mass: float | None = given(
        "mass",
        "dyno: what its rollers weigh to the tyre (an inertia dyno); the pull then lasts as long as it takes",
        default=None,
        low=50.0,
        high=20000.0,
    )
    cycle: str | None = given(
        "file",
        "road speed against time: CSV with columns t_s and speed_m_s",
        default=None,
        when_absent="a stop-and-go cycle of our own, 12 km/h on average",
    )
    samples: str | None = given("file", "your own samples for replay: CSV, units in the column names", default=None)
    pumps: float | None = given(
        "command",
        "on, off or a share of full speed, for pumps and chillers with control = schedule",
        default=None,
        when_absent="on",
    )
    fans: float | None = given(
        "command", "on, off or a share of full speed, for fans with control = schedule", default=None, when_absent="on"
    )
    distance: float | None = given(
        "length", "from the start line to the finish line of a pass", default=None, low=10.0, high=5000.0
    )
    track: str | None = given(
        "text",
        'a track of our own ("fast loop", "tight loop" or "hill", all invented) or your own CSV beside this file: '
        "s_m, curvature_1_m and, if you like, grade",
        default=None,
    )
    pace: float = given(
        "share", "share of the tyres' grip that the driver uses on a lap", default=0.9, sd=0.05, low=0.2, high=1.0
    )
    out_lap: bool = given(
        "flag",
        "true: a slow lap out before the timed ones and one in after them (a loop); false: a standing start",
        default=True,
    )
    burnout: float = given("time", "how long tyres are spun before a pass", default=0.0, low=0.0, high=60.0)
    launch_hold: float = given(
        "time", "wait on the start line, engine at launch_speed", default=2.0, low=0.0, high=60.0
    )
    launch_speed: float | None = given(
        "engine_speed",
        "engine speed that clutch or converter hold at a standing start",
        default=None,
        low=500 * RPM,
        high=20000 * RPM,
        when_absent="45 % of top speed",
    )
    launch_boost: object = given(
        "boost", "boost held on the start line (gauge unless it says abs)", default=None, when_absent="none"
    )
    return_speed: float = given(
        "speed", "road speed on the way back to the start, between passes", default=30 / 3.6, low=1.0, high=60.0
    )
    headwind: float = given(
        "speed", "wind against the car (with it below 0), in drag and at the ducts", default=0.0, low=-30.0, high=30.0
    )
    schedule: str | None = given(
        "text", "a regulated cycle: UDDS, HWFET, US06 or WLTC (that of cars, 3b)", default=None
    )
    creep_every: float = given("time", "staging: time from one move up to the next", default=40.0, low=5.0, high=3600.0)
    creep_distance: float = given("length", "staging: length of each move", default=8.0, low=0.5, high=200.0)
    engine_off: float | None = given(
        "time",
        "paddock: how long the engine stands before it idles",
        default=None,
        low=0.0,
        high=86400.0,
        when_absent="all but the last two minutes, or all where it is shorter",
    )
    group: str | None = given(
        "text", "consecutive phases of one group are repeated together, see [groups.NAME]", default=None
    )
    air: Mapping[str, float] = given("air", "air speed at a duct or place that does not come from the road", default=())


PHASE_KEYS = {  # keys beyond kind, name, pumps, fans, group, air
    "idle": ("duration", "engine_speed"),
    "traffic": ("duration", "cycle"),
    "cruise": ("duration", "speed", "engine_speed", "load", "grade", "gear", "headwind"),
    "pull": ("on", "from_speed", "to_speed", "duration", "gear", "repeat", "rest", "drum_mass", "grade", "headwind"),
    "pass": (
        "distance", "burnout", "launch_hold", "launch_speed", "launch_boost", "repeat", "rest", "return_speed",
        "grade", "headwind",
    ),
    "lap": ("track", "repeat", "rest", "pace", "out_lap", "launch_hold", "launch_speed"),
    "cycle": ("schedule", "repeat", "grade", "headwind"),
    "staging": ("duration", "creep_every", "creep_distance"),
    "paddock": ("duration", "engine_off"),
    "cooldown": ("duration", "speed"),
    "parked": ("duration",),
    "replay": ("samples",),
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class LimitSpec:
    """`[[limits]]`: one quantity that must stay at or below a value, or, for `margin`, at or above one."""

    quantity: str = given(
        "choice",
        "what is limited",
        choices=("intake", "sensor", "over_ambient", "coolant", "spread", "margin"),
    )
    at_most: float | None = given(
        "by quantity",
        "highest allowed: a temperature for intake, sensor, coolant; a difference for over_ambient; a share for spread",
        default=None,
        when_absent="required, but for margin",
    )
    at_least: float | None = given(
        "by quantity",
        "lowest allowed margin to knock, in kelvin of warmer charge; only for margin, which needs a known "
        "knock-limited point of the engine (knock_speed and its like)",
        default=None,
        when_absent="required for margin",
    )
    during: str = given("choice", "when it counts", default="boost", choices=("boost", "always"))
    loop: str | None = given(
        "text",
        "which loop's coolant or oil, by its name in the build: into the charge cores, or, in a loop without one, "
        "where it leaves a part hottest",
        default=None,
        when_absent="the hottest of the loops with charge cores",
    )

    @property
    def lowest(self) -> bool:
        """True where the quantity must not fall below the bound, False where it must not pass it."""
        return self.at_least is not None

    @property
    def bound(self) -> float:
        """The value that must be kept, SI, whichever way."""
        if (self.at_most is None) == (self.at_least is None):
            raise ValueError("a limit has at_most or at_least, one of them")
        return self.at_least if self.at_most is None else self.at_most  # type: ignore[return-value]  # one of them is

    def room(self, value: float) -> float:
        """What `value` [SI] leaves until the limit breaks; below 0 it is broken."""
        return value - self.bound if self.lowest else self.bound - value

    def moved(self, by: float) -> LimitSpec:
        """The same limit with `by` [SI] added to its bound."""
        if self.lowest:
            return replace(self, at_least=self.bound + by)
        return replace(self, at_most=self.bound + by)


@dataclass(frozen=True)
class Session:
    """A session as read, groups not yet repeated."""

    name: str
    file: str
    start: str  # "ambient" or "soaked"
    ambient: AmbientSpec
    phases: tuple[PhaseSpec, ...]
    groups: Mapping[str, int]  # name -> repeats
    limits: tuple[LimitSpec, ...]
    givens: Mapping[str, Given] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    readings: tuple[ReadingSpec, ...] = ()  # of the air after the start, in time order; none: it stays as it is
    proposed: bool = False  # the limits were proposed to the user, who gave none
    drafted: bool = False  # the limits came with a drafted session

    @property
    def whose(self) -> str:
        """Whose the limits are, in words: "your" where the user gave them."""
        return "the proposed" if self.proposed else "the drafted" if self.drafted else "your"

    @property
    def coldest_air(self) -> float:
        """The lowest ambient temperature that it names, K."""
        return min([self.ambient.temperature, *(reading.temperature for reading in self.readings)])


@dataclass(frozen=True)
class Span:
    """One stretch of the demand: sample indices [first, last], its phase, its words, its repeat."""

    first: int
    last: int
    kind: str
    label: str  # words for the chart's foot: "pull 3", "rest", "stop and go"
    repeat: int  # counts repeats of a pull phase or group from 0; -1 when not repeated
    part: str = ""  # of a phase with several: "burnout", "launch", "run", "back" ...; see `runs.Piece`


@dataclass(frozen=True)
class Run:
    """One timed run of a demand: a pass or a lap."""

    phase: int  # index of its phase in the file, from 0
    repeat: int  # counts this phase's runs from 0 over the whole session, groups included
    label: str  # words: "pass 2", "lap 7"
    first: int  # its samples are first to last
    last: int
    time: float  # s, from the start line to the finish line, between samples
    trap_speed: float  # m/s on the finish line
    length: float  # m
    standing: bool = False  # it begins at rest on a line, as every pass and every run up an open track does


Shares = Mapping[tuple[int, int], tuple[np.ndarray, np.ndarray]]
"""(`Run.phase`, `Run.repeat`) -> (distance from the start line, m, rising; share of full-load power left there)."""


@dataclass(frozen=True)
class Demand:
    """A session sampled every SAMPLE_TIME for one build.  Numbers are linear between samples; commands are held.

    Arrays have n samples; a single figure given for `ambient_temperature` or `humidity` is made one.  Ambient pressure
    stays as it is over a session (a front moves it by 0.1 % an hour).  Neither charge flow nor any charge or coolant
    temperature is here.
    """

    time: np.ndarray  # s
    spans: tuple[Span, ...]
    engine_speed: np.ndarray  # rev/s, 0 when the engine is off
    plenum_target: np.ndarray  # Pa absolute at the place that boost_reference names, boost lag applied
    full_load: np.ndarray  # bool: the driver asks for all there is
    road_speed: np.ndarray  # m/s
    air_speed: Mapping[str, np.ndarray]  # duct -> m/s of air arriving at its inlet
    ambient_temperature: np.ndarray  # K
    ambient_pressure: float  # Pa absolute
    humidity: np.ndarray  # relative, 0 to 1, at that temperature
    bay_temperature: np.ndarray  # K
    command: Mapping[str, np.ndarray]  # pump or fan -> 0 to 1, NaN = its own control decides
    start: str  # "ambient" or "soaked"
    notes: tuple[str, ...] = ()
    distance: np.ndarray = field(default_factory=lambda: np.zeros(0))  # m since its stretch began; empty: not known
    runs: tuple[Run, ...] = ()  # passes and laps, in time order
    drawn_rise: np.ndarray | None = None  # K, air before the compressor over ambient; None: a share of the bay's rise
    # Pa that the car's own trims took off `plenum_target` (`plant/feedback.py`); None: they have not been asked
    boost_taken: np.ndarray | None = None

    def __post_init__(self) -> None:
        for name in ("ambient_temperature", "humidity"):
            values = np.asarray(getattr(self, name), dtype=float)
            if values.shape != self.time.shape:
                object.__setattr__(self, name, np.full(self.time.shape, float(values)))

    @property
    def ambient_changes(self) -> bool:
        """Whether the air's temperature moves in this session."""
        return bool(np.ptp(self.ambient_temperature) > 0.0)

    @property
    def ambient_range(self) -> tuple[float, float]:
        """Lowest and highest ambient temperature, K."""
        return float(self.ambient_temperature.min()), float(self.ambient_temperature.max())

    @property
    def ambient_middle(self) -> float:
        """Midway between the two, K: where the plant takes properties that hardly move."""
        low, high = self.ambient_range
        return 0.5 * (low + high)

    @property
    def asked_target(self) -> np.ndarray:
        """Plenum pressure that would be asked for without the car's own trims, Pa absolute."""
        return self.plenum_target if self.boost_taken is None else self.plenum_target + self.boost_taken

    @property
    def boost(self) -> np.ndarray:
        """True where the target is boost: above 1.05 times ambient pressure (see definitions)."""
        return self.plenum_target > 1.05 * self.ambient_pressure


PHASE_SPECS: tuple[Any, ...] = (AmbientSpec, ReadingSpec, PhaseSpec, LimitSpec)
