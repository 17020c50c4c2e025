"""Instruments, one a channel: what each sees, what it is made of, where it hangs, and how its signal is read."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le

from plantsim.params.bounds import BAYS_MAX, NotNegative, Share

Sees = Literal[
    "air", "rh", "wet", "dew", "board", "frame", "ceiling", "product", "supply", "return", "hall", "outdoor_t",
    "outdoor_rh", "water", "fan_speed", "airflow", "valve", "damper", "heat_kW", "fan_kW", "fog_kg_per_h",
]  # fmt: skip
Kind = Literal["plain", "pt100", "capacitive", "warmed", "wick"]
Lag = Annotated[float, Gt(0), Le(7200)]
ErrorK = Annotated[float, Ge(-10), Le(10)]
ErrorPct = Annotated[float, Ge(-20), Le(20)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """How a probe in the air differs from its cell. All 0: it sees its cell.

    jet_share: of supply air in what reaches it.  exchange_s: time constant of the air of a dead corner.
    stratified_K: how much warmer than its cell the air there is, at the same moisture.
    wall_share, radiant_share: of the wall's and of the product's surface temperature in that of its body.
    """

    jet_share: Share = 0.0
    exchange_s: Annotated[float, Ge(0), Le(36000)] = 0.0
    stratified_K: ErrorK = 0.0
    wall_share: Share = 0.0
    radiant_share: Share = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pt100:
    """A platinum resistor. grade: class of IEC 60751, within whose tolerance its own error is drawn by tag and draw.

    lead_ohm: each lead; counts in full twice with 2 wires.  imbalance_ohm: of the leads, what 3 wires leave of them.
    self_heating_K: by the measuring current, in air.
    """

    grade: Literal["ideal", "AA", "A", "B", "C"] = "A"
    draw: Annotated[int, Ge(0), Le(2**31)] = 0
    wires: Literal[2, 3, 4] = 3
    lead_ohm: Annotated[float, Ge(0), Le(50)] = 0.0
    imbalance_ohm: Annotated[float, Ge(-5), Le(5)] = 0.0
    self_heating_K: Annotated[float, Ge(0), Le(5)] = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitive:
    """A capacitive humidity probe with the thermometer in its body; the lag of humidity is the probe's lag_s.

    body_s: lag of the body's temperature.  gain_error: relative.  drift_pct_per_year, from age_years on.
    film_most_kg_per_m2, film_W_per_m2_K: water that condenses on a body below the dew point, and its film coefficient.
    memory_pct: reversible rise of the reading after long time above 80..90 %RH, which comes in memory_rise_h and goes
    in memory_fall_h (time constants).
    """

    body_s: Lag = 30.0
    gain_error: Annotated[float, Ge(-0.2), Le(0.2)] = 0.0
    drift_pct_per_year: ErrorPct = 0.5
    age_years: Annotated[float, Ge(0), Le(30)] = 0.0
    film_most_kg_per_m2: Annotated[float, Ge(0), Le(1)] = 0.05
    film_W_per_m2_K: Annotated[float, Gt(0), Le(200)] = 10.0
    memory_pct: Annotated[float, Ge(0), Le(10)] = 2.5
    memory_rise_h: Annotated[float, Gt(0), Le(1000)] = 48.0
    memory_fall_h: Annotated[float, Gt(0), Le(1000)] = 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Warmed:
    """A capacitive element kept warm_K above the air. Gives the dew point, or RH with an air thermometer of its own.

    body_s: lag of its temperature.  rh_error_pct, body_error_K: of the element and of the thermometer in it.
    air_error_K: of the thermometer in the air.
    """

    warm_K: Annotated[float, Ge(0), Le(20)] = 3.0
    body_s: Lag = 60.0
    rh_error_pct: ErrorPct = 0.0
    body_error_K: ErrorK = 0.0
    air_error_K: ErrorK = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wick:
    """The wet bulb of a psychrometer; the thermometer in it is the probe's pt100, the lag its lag_s.

    coefficient_per_K: at 3 m/s; radiation raises it in slower air.  air_m_per_s: of its own fan, 0 = the chamber's air.
    wetted: 1 = wet, 0 = dry.  salt: by how much it lowers the wick's water activity.  reservoir_K: by how much warm
    feed water lifts it.
    """

    coefficient_per_K: Annotated[float, Ge(5e-4), Le(2e-3)] = 6.2e-4
    air_m_per_s: Annotated[float, Ge(0), Le(20)] = 0.0
    wetted: Share = 1.0
    salt: Annotated[float, Ge(0), Le(0.5)] = 0.0
    reservoir_K: ErrorK = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Transmitter:
    """4..20 mA after NAMUR NE 43. Errors at its two calibration points, the ends, in percent of the span."""

    fails: Literal["low", "high"] = "low"
    zero_error_pct: ErrorPct = 0.0
    span_error_pct: ErrorPct = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """Input card: bits over from_mA..to_mA, on beyond the ends with the same counts as far as least_mA and most_mA."""

    bits: Literal[12, 15, 16] = 15
    from_mA: Annotated[float, Ge(0), Le(4)] = 0.0
    to_mA: Annotated[float, Ge(20), Le(25)] = 20.0
    least_mA: Annotated[float, Ge(-5), Le(4)] = 0.0
    most_mA: Annotated[float, Ge(20), Le(30)] = 24.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One analog channel: what it sees and where, time constant, noise (one standard deviation) and constant error.

    bay, level: from 1, where they matter. depth: cell of the depth, from 1 at the front; 0 = the middle one.
    noise and offset in the probe's own unit.
    kind: what it is; the section of that name says the rest, and only that one may be given (a wick has a pt100).
    sees "wet" is the temperature of a wick, "dew" the dew point that a warmed probe gives.
    """

    tag: str
    sees: Sees
    bay: Annotated[int, Ge(0), Le(BAYS_MAX)] = 0
    level: Annotated[int, Ge(0), Le(24)] = 0
    depth: Annotated[int, Ge(0), Le(3)] = 0
    lag_s: NotNegative = 0.0
    noise: NotNegative = 0.0
    offset: float = 0.0
    kind: Kind = "plain"
    pt100: Pt100 = field(default=Pt100())
    capacitive: Capacitive = field(default=Capacitive())
    warmed: Warmed = field(default=Warmed())
    wick: Wick = field(default=Wick())
    place: Place = field(default=Place())
    transmitter: Transmitter = field(default=Transmitter())
    card: Card = field(default=Card())
