"""Raw words to values: scaling, NE43, jumps, a silent link; the quick way and the slow way are one."""

from __future__ import annotations

import json
from dataclasses import astuple
from math import isnan, nan
from typing import Literal

import pytest

from controller.core.frames import Frame, Quality, RawInputs
from controller.core.points import NO_NUMBER, Point
from controller.core.signals import signals
from controller.errors import ConfigError


def point(
    tag: str,
    address: int,
    *,
    rate: float = 0.0,
    signal: Literal["4-20mA", "raw"] = "4-20mA",
    raw: tuple[int, int] = (4000, 20000),
) -> Point:
    return Point(
        tag=tag,
        kind="AI",
        text=tag,
        device="panel",
        address=address,
        signal=signal,
        raw_lo=raw[0],
        raw_hi=raw[1],
        lo=-10.0,
        hi=60.0,
        unit="degC",
        rate_per_s_max=rate,
    )


POINTS = (point("TT-1", 0, rate=2.0), point("TT-2", 1), point("TT-3", 2, rate=2.0))
PLAN = signals.bind(signals.SignalsConfig(), POINTS)


def raw(*words: int, age: int = 0) -> RawInputs:
    return RawInputs(words, (True,), age_scans=age)


def run(*scans: RawInputs, plan: signals.SignalPlan = PLAN) -> tuple[signals.SignalState, Frame]:
    """The last of several scans of one second."""
    state = signals.initial(plan)
    for scan in scans:
        state, frame = signals.evaluate(plan, state, scan, 1.0)
    return state, frame


@pytest.mark.parametrize(("word", "value"), [(4000, -10.0), (12000, 25.0), (20000, 60.0)])
def test_words_become_values_along_the_span(word: int, value: float) -> None:
    for scans in ([raw(word, word, word)], [raw(word, word, word)] * 2):  # the first scan goes the slow way
        _, frame = run(*scans)
        assert frame.values == pytest.approx((value,) * 3)
        assert frame.qualities == (0, 0, 0)
        assert frame.discrete == (True,)


@pytest.mark.outside(
    "published: NAMUR NE 43 as summarised by several makers: fault <= 3.6, measuring 3.8-20.5, >= 21 mA"
)
@pytest.mark.parametrize(
    ("word", "quality", "reason"),
    [
        (0, Quality.BAD, signals.OPEN),
        (3600, Quality.BAD, signals.OPEN),
        (3601, Quality.UNCERTAIN, signals.UNDER),
        (3799, Quality.UNCERTAIN, signals.UNDER),
        (3800, Quality.GOOD, ""),
        (20500, Quality.GOOD, ""),
        (20501, Quality.UNCERTAIN, signals.OVER),
        (20999, Quality.UNCERTAIN, signals.OVER),
        (21000, Quality.BAD, signals.SHORT),
        (65535, Quality.BAD, signals.SHORT),
    ],
)
def test_current_is_judged_by_ne43(word: int, quality: Quality, reason: str) -> None:
    """On the column without a rate limit, after a healthy scan, so that the quick way must give up by itself."""
    _, frame = run(raw(12000, 12000, 12000), raw(12000, word, 12000))
    assert (frame.qualities[1], frame.reasons[1]) == (quality, reason)
    assert isnan(frame.values[1]) == (quality == Quality.BAD)
    assert frame.qualities[0] == frame.qualities[2] == Quality.GOOD


@pytest.mark.parametrize("word", [-1, -20000, 65536, 10**9])
def test_a_word_that_is_none_is_bad_and_does_not_raise(word: int) -> None:
    _, frame = run(raw(12000, 12000, 12000), raw(12000, word, 12000))
    assert frame.qualities[1] == Quality.BAD


def test_raw_channels_are_judged_by_their_own_range() -> None:
    plan = signals.bind(signals.SignalsConfig(), (point("TT-9", 0, signal="raw", raw=(-100, 600)),))
    for word, quality in ((-101, Quality.BAD), (-100, Quality.GOOD), (600, Quality.GOOD), (601, Quality.BAD)):
        _, frame = run(raw(0), raw(word), plan=plan)
        assert frame.qualities == (quality,)
    assert run(raw(0), raw(250), plan=plan)[1].values == pytest.approx((25.0,))


def test_a_jump_faster_than_physics_is_uncertain_for_a_while_and_then_believed() -> None:
    """2 K/s is 457 uA/s; the jump lasts, so after ten seconds it is what the probe reads."""
    step = [raw(12000, 12000, 12000)] + [raw(13000, 12000, 12000)] * 12
    qualities = [run(*step[: count + 1])[1].qualities[0] for count in range(len(step))]
    assert qualities == [0] + [Quality.UNCERTAIN] * 10 + [0, 0]
    assert run(*step[:2])[1].reasons[0] == signals.JUMPED
    assert run(*step[:2])[1].qualities[1:] == (0, 0)


def test_a_change_just_within_the_rate_is_good_even_when_all_change_together() -> None:
    """All columns together are farther apart than the limit of one: the quick test must not refuse that."""
    _, frame = run(raw(12000, 12000, 12000), raw(12450, 19000, 11550))
    assert frame.qualities == (0, 0, 0)


def test_a_channel_without_a_rate_may_jump() -> None:
    assert run(raw(12000, 4000, 12000), raw(12000, 20000, 12000))[1].qualities == (0, 0, 0)


def test_a_silent_link_holds_what_was_good_and_then_knows_nothing() -> None:
    last = raw(12000, 3000, 12000)
    for age in range(1, 6):
        _, frame = run(last, raw(12000, 3000, 12000, age=age))
        assert frame.qualities == (Quality.UNCERTAIN, Quality.BAD, Quality.UNCERTAIN)
        assert frame.reasons == (signals.HELD, signals.OPEN, signals.HELD)
        assert frame.values[0] == pytest.approx(25.0)
        assert frame.age_scans == age
        assert signals.for_control(frame)[0] == pytest.approx(25.0)
        assert isnan(signals.for_control(frame)[1])
    _, frame = run(last, raw(12000, 3000, 12000, age=6))
    assert frame.qualities == (Quality.BAD,) * 3
    assert set(frame.reasons) == {signals.STALE}
    assert all(isnan(value) for value in frame.values)


def test_nothing_is_held_when_nothing_ever_came() -> None:
    assert run(raw(0, 0, 0, age=1))[1].qualities == (Quality.BAD,) * 3


def test_after_a_silence_a_change_has_had_the_whole_silence_to_happen() -> None:
    """1,000 uA in one second is no physics, in four it is."""
    silence = [raw(12000, 12000, 12000, age=age) for age in (1, 2, 3)]
    assert run(raw(12000, 12000, 12000), *silence, raw(13000, 12000, 12000))[1].qualities == (0, 0, 0)


def test_uncertain_for_other_reasons_is_not_for_control() -> None:
    _, frame = run(raw(12000, 20600, 12000))
    assert isnan(signals.for_control(frame)[1])


def test_an_offset_is_added_in_the_unit_of_the_point() -> None:
    plan = signals.bind(signals.SignalsConfig(offset={"TT-2": -0.25}), POINTS)
    for scans in ([raw(12000, 12000, 12000)], [raw(12000, 12000, 12000)] * 2):
        assert run(*scans, plan=plan)[1].values == pytest.approx((25.0, 24.75, 25.0))


def test_offsets_and_ranges_that_do_not_fit_are_refused_all_at_once() -> None:
    config = signals.SignalsConfig(offset={"TT-8": 0.1, "TT-9": 0.1})
    with pytest.raises(ConfigError) as refused:
        signals.bind(config, (*POINTS, point("TT-4", 3, raw=(5, 5))))
    assert [problem.field for problem in refused.value.problems] == [
        "signals.offset.TT-8",
        "signals.offset.TT-9",
        "signals.TT-4",
    ]


def test_the_state_survives_a_checkpoint() -> None:
    state, _ = run(raw(12000, 12000, 12000), raw(14000, 12000, 12000), raw(14000, 12000, 12000, age=1))
    words, silent_s, suspect_s, ages, broken_s = json.loads(json.dumps(astuple(state)))
    restored = signals.SignalState(tuple(words), silent_s, tuple(suspect_s), tuple(ages), tuple(broken_s))
    assert restored == state
    scan = raw(14000, 12000, 12000)
    assert signals.evaluate(PLAN, restored, scan, 1.0) == signals.evaluate(PLAN, state, scan, 1.0)


def test_the_state_of_another_panel_is_not_compared_with() -> None:
    other = signals.SignalState((4000,), 0.0, (3.0,))
    state, frame = signals.evaluate(PLAN, other, raw(12000, 12000, 12000), 1.0)
    assert frame.qualities == (0, 0, 0)
    assert state.suspect_s == ()


def module(tag: str, **given: object) -> Point:
    """A channel of a module that gives numbers of its own and codes for a broken sensor."""
    return Point(**{  # type: ignore[arg-type]
        "tag": tag, "kind": "AI", "text": tag, "device": "module", "address": 0, "signal": "raw", "raw_lo": -100,
        "raw_hi": 600, "lo": -10.0, "hi": 60.0, "type": "int16", "fault_codes": "32767 0x8000", "rate_per_s_max": 2.0,
        **given,
    })


TYPED = signals.bind(
    signals.SignalsConfig(hold_last_scans=2),
    (
        module("TT-1"),
        module("JT-1", type="float32", raw_lo=0, raw_hi=120, lo=0.0, hi=120.0, fault_codes="", rate_per_s_max=0.0),
        module("FT-1", type="int32", raw_lo=0, raw_hi=150000, lo=0.0, hi=15.0, fault_codes="", rate_per_s_max=0.0),
    ),
)


@pytest.mark.parametrize(
    ("words", "values", "reason"),
    [
        ((-55, 36.5, 90000), (-5.5, 36.5, 9.0), ""),
        ((32767, 36.5, 90000), (nan, 36.5, 9.0), signals.FAULT_CODE),
        ((-32768, 36.5, 90000), (nan, 36.5, 9.0), signals.FAULT_CODE),
        ((-109, 123.0, 90000), (-10.9, 123.0, 9.0), ""),
        ((-110, 36.5, 90000), (nan, 36.5, 9.0), signals.OUTSIDE),
        ((623, 36.5, 90000), (nan, 36.5, 9.0), signals.OUTSIDE),
        ((0, 124.5, 90000), (0.0, nan, 9.0), signals.OUTSIDE),
        ((0, NO_NUMBER, 90000), (0.0, nan, 9.0), signals.NOT_A_NUMBER),
        ((0, 0.25, -1), (0.0, 0.25, nan), signals.OUTSIDE),
    ],
)
def test_numbers_of_every_type_are_scaled_and_judged(
    words: tuple[float, ...], values: tuple[float, ...], reason: str
) -> None:
    for scans in (1, 3):  # the first scan goes the slow way
        _, frame = run(*[RawInputs(words, ())] * scans, plan=TYPED)
        assert frame.values == pytest.approx(values, nan_ok=True)
        assert max(frame.reasons) == reason


def test_a_silent_device_ages_only_its_own_channels_and_contacts() -> None:
    """Device 1 carries the first channel and the second contact; it is silent for four scans, then answers again."""
    words, on = (250, 36.5, 90000), (True, True)
    state, _ = signals.evaluate(TYPED, signals.initial(TYPED), RawInputs(words, on), 1.0)
    seen = []
    for age in (1, 2, 3, 4):
        raw = RawInputs(words, on, analog_ages=(age, 0, 0), discrete_ages=(0, age))
        state, frame = signals.evaluate(TYPED, state, raw, 1.0)
        seen.append((frame.reasons, frame.qualities, frame.discrete, isnan(signals.for_control(frame)[0])))
        assert frame.values[1:] == (36.5, 9.0)
        assert frame.age_scans == 0
    assert seen[1] == ((signals.HELD, "", ""), (1, 0, 0), (True, True), False)
    assert seen[2] == ((signals.STALE, "", ""), (2, 0, 0), (True, False), True)
    # Two kelvin a second may have passed unseen for five seconds: 8 K are no jump, 12 K are one.
    _, back = signals.evaluate(TYPED, state, RawInputs((330, 36.5, 90000), on), 1.0)
    assert back.qualities == (0, 0, 0)
    _, jumped = signals.evaluate(TYPED, state, RawInputs((370, 36.5, 90000), on), 1.0)
    assert jumped.reasons == (signals.JUMPED, "", "")
