"""One channel: raw word -> value, quality and reason (span, NE43, rate, age of the link)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import dist, inf, nan
from operator import getitem
from typing import Annotated, Any

from annotated_types import Ge, Gt, Le, Len

from controller.core.binding import Binder
from controller.core.frames import STALE_SCANS_MAX, Frame, Quality, RawInputs, all_good
from controller.core.points import NO_NUMBER, RANGES, Point, faults_of, of_kind, registers_of
from controller.core.quick import maker
from controller.core.signals.scaling import Wide, table

# NAMUR NE 43, in uA: measuring from 3.8 to 20.5 mA, fault at or below 3.6 and at or above 21 mA.
FAULT_LOW_UA, MEASURE_LOW_UA, MEASURE_HIGH_UA, FAULT_HIGH_UA = 3600, 3800, 20500, 21000
BELOW, ABOVE = 0.2 / 16.0, 0.5 / 16.0  # the same measuring range in shares of the span

OPEN = "current at or below 3.6 mA: broken wire or failed probe"
SHORT = "current at or above 21 mA: short circuit or failed probe"
UNDER = "current below 3.8 mA: below the measuring range"
OVER = "current above 20.5 mA: above the measuring range"
OUTSIDE = "raw word outside its range"
FAULT_CODE = "the module reports a broken sensor"
NOT_A_NUMBER = "the module gives no number"
JUMPED = "changes faster than is physical"
BACK = "was broken a moment ago"
HELD = "last value held, the link is silent"
STALE = "no fresh reading"

_GOOD, _UNCERTAIN, _BAD = int(Quality.GOOD), int(Quality.UNCERTAIN), int(Quality.BAD)


@dataclass(frozen=True, slots=True, kw_only=True)
class SignalsConfig:
    """Section [signals] of the chamber file.

    hold_last_scans: so long after the last frame values are held, UNCERTAIN; later they are BAD, and contacts of a
    silent device count as open.
    rate_hold_s: so long after an impossible jump a channel stays UNCERTAIN; recover_s: so long after a broken reading
    has come back (a loose contact comes back again and again).
    offset: table [signals.offset], tag = offset in the unit of the point, added after scaling (equalisation).
    offset_on: table [signals.offset_on], tag = day on which that offset was found (2026-03-01).
    """

    hold_last_scans: Annotated[int, Ge(0), Le(STALE_SCANS_MAX)] = 5
    rate_hold_s: Annotated[float, Gt(0), Le(3600)] = 10.0
    recover_s: Annotated[float, Ge(0), Le(3600)] = 10.0
    offset: Mapping[str, Annotated[float, Ge(-20), Le(20)]] = field(default_factory=dict)
    offset_on: Mapping[str, Annotated[str, Len(10, 10)]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class SignalPlan:
    """Everything about the AI columns, computed once.

    scales: per column (gain, base), value = word * gain + base.
    limits: per column (fault low, measure low, measure high, fault high) in raw words, for "raw" channels (lo, lo,
    hi, hi) one word wide.  faults: per column, raw numbers that mean a broken sensor.  tables: per column, value by
    word, NaN where the word is not GOOD: one look-up scales and judges (numbers of 32 bits are computed).
    rates: largest change of the raw word per second, for the columns up to the last that is judged; rate_min: least.
    """

    config: SignalsConfig
    scales: tuple[tuple[float, float], ...]
    limits: tuple[tuple[int, int, int, int], ...]
    faults: tuple[frozenset[int], ...]
    tables: tuple[Any, ...]
    rates: tuple[float, ...]
    rate_min: float
    good: tuple[int, ...]
    silent: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SignalState:
    """raw: the last fresh words (empty before the first).  silent_s: time since they came.

    suspect_s: per column, what is left of the time a channel stays suspect after a jump; empty when none is.
    broken_s: the same after a broken reading, whole while it is broken.
    ages: per column, scans since its own device answered; empty while all do.
    """

    raw: tuple[int | float, ...]
    silent_s: float
    suspect_s: tuple[float, ...]
    ages: tuple[int, ...] = ()
    broken_s: tuple[float, ...] = ()


_frame = maker(Frame)
_state = maker(SignalState)


def bind(config: SignalsConfig, points: tuple[Point, ...]) -> SignalPlan:
    """Precompute scaling and limits of every AI point. ConfigError for an offset of a tag that is none."""
    binder = Binder("signals", points)
    for tag in config.offset:
        binder.column(f"offset.{tag}", tag)
    for tag, day in config.offset_on.items():
        if tag not in config.offset:
            binder.refuse(f"offset_on.{tag}", day, "has no offset", "add it to [signals.offset] or take the day out")
    analog = of_kind(points, "AI")
    for point in analog:
        if point.raw_hi == point.raw_lo:
            binder.refuse(point.tag, str(point.raw_lo), "raw_lo and raw_hi must differ", "correct the point list")
    binder.done()
    gains = [(point.hi - point.lo) / (point.raw_hi - point.raw_lo) for point in analog]
    bases = [
        point.lo - gain * point.raw_lo + config.offset.get(point.tag, 0.0)
        for point, gain in zip(analog, gains, strict=True)
    ]
    scales = tuple(zip(gains, bases, strict=True))
    limits = tuple(_limits_of(point) for point in analog)
    faults = tuple(faults_of(point) for point in analog)
    rates = [
        point.rate_per_s_max / abs(gain) if point.rate_per_s_max > 0.0 else inf
        for point, gain in zip(analog, gains, strict=True)
    ]
    while rates and rates[-1] == inf:  # the columns after the last judged one need no look
        rates.pop()
    return SignalPlan(
        config=config,
        scales=scales,
        limits=limits,
        faults=faults,
        tables=tuple(
            table(*scale, *limit[1:3], broken) if registers_of(point) == 1 else Wide(*scale, *limit[1:3], broken)
            for point, scale, limit, broken in zip(analog, scales, limits, faults, strict=True)
        ),
        rates=tuple(rates),
        rate_min=min(rates, default=inf),
        good=all_good(len(analog)),
        silent=("",) * len(analog),
    )


def initial(_plan: SignalPlan) -> SignalState:
    """Nothing has been read yet."""
    return SignalState(raw=(), silent_s=0.0, suspect_s=())


def evaluate(plan: SignalPlan, state: SignalState, raw: RawInputs, dt_s: float) -> tuple[SignalState, Frame]:
    """Scale and judge one scan's words. BAD channels are NaN; GOOD ones may be used for control."""
    words = raw.analog
    if raw.analog_ages or raw.discrete_ages:
        return _partly(plan, state, raw, dt_s)
    if raw.age_scans > 0:
        return _aged(plan, state, raw, dt_s)
    noted = state.suspect_s or state.broken_s or state.ages or state.silent_s
    if not noted and len(state.raw) == len(words):
        values = _all_good(plan, state.raw, words, dt_s)
        if values:
            return _state(words, 0.0, ()), _frame(values, plan.good, plan.silent, raw.discrete, 0)
    suspect_s = _suspects(plan, state, words, dt_s)
    frame = _judge(plan, words, suspect_s, raw.discrete)
    broken_s = _broken(plan, state.broken_s, frame.qualities, dt_s)
    return SignalState(words, 0.0, suspect_s, (), broken_s), _recovering(frame, broken_s) if broken_s else frame


def for_control(frame: Frame) -> tuple[float, ...]:
    """Values that control may use, NaN elsewhere: GOOD ones, and those held over a short silence of their device."""
    return tuple(
        [
            value if quality == _GOOD or reason == HELD else nan
            for value, quality, reason in zip(frame.values, frame.qualities, frame.reasons, strict=True)
        ]
    )


def judged(plan: SignalPlan, column: int, value: float) -> tuple[float, int, str]:
    """Value, quality and reason that a reading of `value`, in the point's unit, has; beyond its span it is bad."""
    gain, base = plan.scales[column]
    return _judge_one(plan, column, round((value - base) / gain))


def _all_good(
    plan: SignalPlan, before: tuple[int | float, ...], words: tuple[int | float, ...], dt_s: float
) -> tuple[float, ...] | None:
    """Values when every channel is GOOD, else None: what a healthy chamber takes in every scan, so it is quick."""
    try:
        values = tuple(map(getitem, plan.tables, words))
    except IndexError:
        return None
    if not sum(values) < inf or len(values) != len(words):  # one NaN makes the sum NaN
        return None
    judged = len(plan.rates)
    # The distance is never less than the largest single change, so most scans need no look at each.
    if dist(words[:judged], before[:judged]) > plan.rate_min * dt_s:
        for word, was, rate in zip(words, before, plan.rates, strict=False):  # only the judged columns
            if abs(word - was) > rate * dt_s:
                return None
    return values


def _limits_of(point: Point) -> tuple[int, int, int, int]:
    if point.signal == "4-20mA":
        return FAULT_LOW_UA, MEASURE_LOW_UA, MEASURE_HIGH_UA, FAULT_HIGH_UA
    low, high = min(point.raw_lo, point.raw_hi), max(point.raw_lo, point.raw_hi)
    if point.fault_codes or point.type == "float32":
        # A module that says itself when a sensor is broken measures beyond its span as far as a current loop does.
        span = point.raw_hi - point.raw_lo
        beyond = (point.raw_lo - round(span * BELOW), point.raw_hi + round(span * ABOVE))
        least, most = RANGES[point.type]
        low, high = int(max(min(beyond), least)), int(min(max(beyond), most))
    return low - 1, low, high, high + 1


def _suspects(
    plan: SignalPlan, state: SignalState, words: tuple[int | float, ...], dt_s: float
) -> tuple[float, ...]:
    """What is left of each channel's suspicion; a new jump starts it again, a fault is no jump."""
    before = state.raw
    if len(before) != len(words):  # nothing read yet, or a record of another panel
        return ()
    left = [max(0.0, time_s - dt_s) for time_s in state.suspect_s] or [0.0] * len(words)
    reach_s = dt_s + state.silent_s
    for column, rate in enumerate(plan.rates):
        low, _, _, high = plan.limits[column]
        was, word = before[column], words[column]
        silent_s = state.ages[column] * dt_s if state.ages else 0.0
        if abs(word - was) > rate * (reach_s + silent_s) and low < word < high and word not in plan.faults[column]:
            left[column] = plan.config.rate_hold_s
    return tuple(left) if any(left) else ()


def _judge(
    plan: SignalPlan, words: tuple[int | float, ...], suspect_s: tuple[float, ...], discrete: tuple[bool, ...]
) -> Frame:
    """Every channel on its own: the slow way, taken while anything is wrong."""
    values: list[float] = []
    qualities: list[int] = []
    reasons: list[str] = []
    for column, word in enumerate(words):
        value, quality, reason = _judge_one(plan, column, word)
        if quality == _GOOD and suspect_s and suspect_s[column] > 0.0:
            quality, reason = _UNCERTAIN, JUMPED
        values.append(value)
        qualities.append(quality)
        reasons.append(reason)
    return Frame(tuple(values), tuple(qualities), tuple(reasons), discrete, 0)


def _broken(
    plan: SignalPlan, before: tuple[float, ...], qualities: tuple[int, ...], dt_s: float
) -> tuple[float, ...]:
    """What is left of each channel's time after a broken reading: whole while it is broken."""
    if _BAD not in qualities and not before:
        return ()
    left = before or (0.0,) * len(qualities)
    whole = plan.config.recover_s
    now = [whole if quality == _BAD else max(0.0, s - dt_s) for s, quality in zip(left, qualities, strict=True)]
    return tuple(now) if any(now) else ()


def _recovering(frame: Frame, broken_s: tuple[float, ...]) -> Frame:
    """The frame with channels that were broken a moment ago uncertain."""
    qualities, reasons = list(frame.qualities), list(frame.reasons)
    for column, left_s in enumerate(broken_s):
        if left_s > 0.0 and qualities[column] == _GOOD:
            qualities[column], reasons[column] = _UNCERTAIN, BACK
    return Frame(frame.values, tuple(qualities), tuple(reasons), frame.discrete, frame.age_scans)


def _judge_one(plan: SignalPlan, column: int, word: float) -> tuple[float, int, str]:
    """Value, quality and reason of one word by itself."""
    fault_low, low, high, fault_high = plan.limits[column]
    gain, base = plan.scales[column]
    current = fault_high == FAULT_HIGH_UA and fault_low == FAULT_LOW_UA
    if word in plan.faults[column]:
        return nan, _BAD, FAULT_CODE
    if word == NO_NUMBER:
        return nan, _BAD, NOT_A_NUMBER
    if word <= fault_low:
        return nan, _BAD, OPEN if current else OUTSIDE
    if word >= fault_high:
        return nan, _BAD, SHORT if current else OUTSIDE
    if not low <= word <= high:
        if not current:  # a broken number between the last one inside and the first one outside
            return nan, _BAD, OUTSIDE
        return word * gain + base, _UNCERTAIN, UNDER if word < low else OVER
    return word * gain + base, _GOOD, ""


def _aged(plan: SignalPlan, state: SignalState, raw: RawInputs, dt_s: float) -> tuple[SignalState, Frame]:
    """No fresh words: hold what was good as UNCERTAIN for a while, then know nothing."""
    count = len(plan.good)
    later = SignalState(state.raw, state.silent_s + dt_s, state.suspect_s, (), state.broken_s)
    if raw.age_scans > plan.config.hold_last_scans or not state.raw:
        frame = Frame((nan,) * count, (_BAD,) * count, (STALE,) * count, raw.discrete, raw.age_scans)
        return later, frame
    last = _judge(plan, state.raw, state.suspect_s, raw.discrete)
    qualities = tuple(quality if quality else _UNCERTAIN for quality in last.qualities)
    reasons = tuple(reason or HELD for reason in last.reasons)
    return later, Frame(last.values, qualities, reasons, raw.discrete, raw.age_scans)


def _partly(plan: SignalPlan, state: SignalState, raw: RawInputs, dt_s: float) -> tuple[SignalState, Frame]:
    """Some devices are silent: their channels are held, then bad; a contact that is not seen any more counts as open.

    Contacts are closed while all is well, so an open one is the safe thing to believe.
    """
    words, hold = raw.analog, plan.config.hold_last_scans
    ages = raw.analog_ages or (0,) * len(words)
    suspect_s = _suspects(plan, state, words, dt_s)
    now = _judge(plan, words, suspect_s, raw.discrete)
    broken_s = _broken(plan, state.broken_s, now.qualities, dt_s)
    now = _recovering(now, broken_s) if broken_s else now
    rows = zip(ages, now.values, now.qualities, now.reasons, strict=True)
    judged = [
        (value, quality, reason)
        if age == 0
        else (nan, _BAD, STALE)
        if age > hold
        else (value, quality or _UNCERTAIN, reason or HELD)
        for age, value, quality, reason in rows
    ]
    values, qualities, reasons = zip(*judged, strict=True) if judged else ((), (), ())
    contacts = raw.discrete
    if raw.discrete_ages:
        contacts = tuple([on and age <= hold for on, age in zip(contacts, raw.discrete_ages, strict=True)])
    after = SignalState(words, 0.0, suspect_s, ages, broken_s)
    return after, Frame(values, qualities, reasons, contacts, raw.age_scans)
