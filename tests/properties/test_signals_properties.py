"""Any words at all: nothing raises, BAD is NaN and only BAD is, and the quick way equals the slow way."""

from __future__ import annotations

from math import isnan

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.core.frames import Quality, RawInputs
from controller.core.points import Point
from controller.core.signals import signals

POINTS = tuple(
    Point(
        tag=f"TT-{column}",
        kind="AI",
        text="",
        device="panel",
        address=column,
        signal="4-20mA",
        raw_lo=4000,
        raw_hi=20000,
        lo=0.0,
        hi=100.0,
        rate_per_s_max=rate,
    )
    for column, rate in enumerate((2.0, 0.0, 5.0, 20.0, 0.0))
)
PLAN = signals.bind(signals.SignalsConfig(offset={"TT-3": 0.1}), POINTS)
ANY = st.integers(min_value=-40000, max_value=70000)
NEAR = st.integers(min_value=11800, max_value=12200)
EDGE = st.sampled_from([3600, 3601, 3799, 3800, 4000, 20000, 20500, 20501, 20999, 21000])
WORDS = st.tuples(*[st.one_of(ANY, NEAR, EDGE)] * len(POINTS))
CALM = st.tuples(*[NEAR] * len(POINTS))
SCANS = st.lists(st.tuples(st.one_of(WORDS, CALM), st.integers(min_value=0, max_value=8)), min_size=1, max_size=12)


@settings(max_examples=150, deadline=None)
@given(scans=SCANS)
def test_bad_is_nan_and_only_bad_is(scans: list[tuple[tuple[int, ...], int]]) -> None:
    state = signals.initial(PLAN)
    for words, age in scans:
        state, frame = signals.evaluate(PLAN, state, RawInputs(words, (), age_scans=age), 1.0)
        usable = signals.for_control(frame)
        for value, quality, reason, control in zip(frame.values, frame.qualities, frame.reasons, usable, strict=True):
            assert isnan(value) == (quality == Quality.BAD)
            assert (reason == "") == (quality == Quality.GOOD)
            if quality == Quality.BAD:
                assert isnan(control)


@settings(max_examples=150, deadline=None)
@given(scans=st.lists(st.one_of(WORDS, CALM), min_size=1, max_size=12))
def test_the_quick_way_is_the_slow_way(scans: list[tuple[int, ...]]) -> None:
    """A plan without tables never takes the quick way; frames and states must be the same bit for bit."""
    slow_plan = signals.SignalPlan(
        config=PLAN.config,
        scales=PLAN.scales,
        limits=PLAN.limits,
        faults=PLAN.faults,
        tables=(),
        rates=PLAN.rates,
        rate_min=PLAN.rate_min,
        good=PLAN.good,
        silent=PLAN.silent,
    )
    quick = slow = signals.initial(PLAN)
    for words in scans:
        raw = RawInputs(words, (True,))
        quick, frame = signals.evaluate(PLAN, quick, raw, 1.0)
        slow, slow_frame = signals.evaluate(slow_plan, slow, raw, 1.0)
        assert quick == slow
        assert repr(frame) == repr(slow_frame)


@settings(max_examples=100, deadline=None)
@given(words=CALM)
def test_a_calm_scan_twice_is_good(words: tuple[int, ...]) -> None:
    """Nothing ever stays suspect of itself."""
    state = signals.initial(PLAN)
    for _ in range(2):
        state, frame = signals.evaluate(PLAN, state, RawInputs(words, ()), 1.0)
        assert set(frame.qualities) == {Quality.GOOD}
