"""Signals at their edges: both ways alike, the last word inside, time in seconds, a partly silent panel."""

from __future__ import annotations

from math import isnan, nan
from typing import Any

import pytest

from controller.core.frames import Frame, Quality, RawInputs
from controller.core.points import Point
from controller.core.signals import signals
from controller.core.signals.signals import SignalPlan, SignalsConfig, SignalState
from controller.errors import ConfigError

EXACT = {"lo": 0.0, "hi": 62.5, "rate_per_s_max": 3.125}  # over 16 mA: 256 uA a kelvin, 800 uA a second sharp
CURRENT = {"signal": "4-20mA", "raw_lo": 4000, "raw_hi": 20000, "lo": -10.0, "hi": 60.0}
NUMBER = {"signal": "raw", "raw_lo": -100, "raw_hi": 600, "lo": -10.0, "hi": 60.0, "type": "int16"}


def point(tag: str, **given: Any) -> Point:
    return Point(**{"tag": tag, "kind": "AI", "text": tag, "device": "p", "address": 0, **CURRENT, **given})


def bound(*points: Point, **config: Any) -> SignalPlan:
    return signals.bind(SignalsConfig(**config), points)


def words(*given: float, on: tuple[bool, ...] = (True, False), **ages: Any) -> RawInputs:
    return RawInputs(given, on, **ages)


def lived(plan: SignalPlan, *scans: RawInputs, dt_s: float = 1.0) -> tuple[SignalState, Frame]:
    state = signals.initial(plan)
    for scan in scans:
        state, frame = signals.evaluate(plan, state, scan, dt_s)
    return state, frame


def test_at_first_nothing_was_read_suspected_or_silent() -> None:
    assert signals.initial(bound(point("TT-1"))) == SignalState((), 0.0, (), (), ())


TWO = (point("TT-1", rate_per_s_max=2.0), point("FT-1"))


@pytest.mark.parametrize(
    "scans",
    [
        [words(12000, 12000)], [words(12000, 12000)] * 2, [words(12000, 3000)],
        [words(12000, 3000), words(12000, 12000)],
        [words(12000, 12000), words(12000, 12000, age_scans=2)],
        [words(12000, 12000), words(12000, 12000, age_scans=9)],
        [words(12000, 12000), words(12000, 12000, analog_ages=(0, 3))],
        [words(12000, 3000), words(12000, 3000, analog_ages=(0, 3))],
    ],
)
def test_contacts_and_the_age_of_the_link_go_through_whatever_the_readings_are(scans: list[RawInputs]) -> None:
    _state, frame = lived(bound(*TWO), *scans)
    assert frame.discrete == (True, False)
    assert frame.age_scans == scans[-1].age_scans


def test_the_quick_way_shares_its_qualities_and_reasons() -> None:
    plan = bound(*TWO)
    _state, frame = lived(plan, words(12000, 12000), words(12001, 12000))
    assert frame.qualities is plan.good
    assert frame.reasons is plan.silent
    assert (frame.qualities, frame.reasons) == ((0, 0), ("", ""))


@pytest.mark.parametrize("dt_s", [0.5, 2.0])
def test_a_rate_is_per_second_and_its_limit_itself_is_physics(dt_s: float) -> None:
    plan = bound(point("TT-1", **EXACT), point("FT-1"))
    step = round(800 * dt_s)
    assert lived(plan, words(9000, 9000), words(9000 + step, 9000), dt_s=dt_s)[1].reasons[0] == ""
    assert lived(plan, words(9000, 9000), words(9000 - step, 9000), dt_s=dt_s)[1].reasons[0] == ""
    state, frame = lived(plan, words(9000, 9000), words(9001 + step, 9000), dt_s=dt_s)
    assert frame.reasons == (signals.JUMPED, "")
    assert state.suspect_s == (10.0, 0.0)
    assert lived(plan, words(9000, 9000), words(8999 - step, 9000), dt_s=dt_s)[1].reasons[0] == signals.JUMPED


def test_a_rate_slower_than_one_unit_a_second_is_judged_too() -> None:
    plan = bound(point("TT-1", rate_per_s_max=0.5), point("FT-1"))
    assert lived(plan, words(9000, 9000), words(9200, 9000))[1].reasons[0] == signals.JUMPED


def test_only_columns_up_to_the_last_with_a_rate_are_looked_at() -> None:
    plan = bound(point("FT-1"), point("TT-1", rate_per_s_max=2.0), point("FT-2"), point("FT-3"))
    assert len(plan.rates) == 2
    assert lived(plan, words(*[9000] * 4), words(19000, 9000, 19000, 4000))[1].qualities == (0, 0, 0, 0)
    assert lived(plan, words(*[9000] * 4), words(9000, 9900, 9000, 9000))[1].reasons[1] == signals.JUMPED
    assert bound(point("FT-1"), point("FT-2")).rates == ()


@pytest.mark.parametrize("word", [3600, 3601, 20999, 21000])
def test_a_reading_that_breaks_or_comes_back_is_no_jump_but_one_beyond_its_range_is(word: int) -> None:
    plan = bound(*TWO, recover_s=0.0)
    state, _frame = lived(plan, words(12000, 12000), words(word, 12000))
    assert state.suspect_s == ((10.0, 0.0) if word in (3601, 20999) else ())


@pytest.mark.parametrize(("word", "jumps"), [(-101, False), (601, False), (-100, True), (600, True)])
def test_a_number_outside_its_range_is_no_jump_either(word: int, jumps: bool) -> None:
    plan = bound(point("TT-1", **{**NUMBER, "rate_per_s_max": 2.0}), recover_s=0.0)
    state, _frame = lived(plan, words(250), words(word))
    assert state == SignalState((word,), 0.0, (10.0,) if jumps else (), (), ())


@pytest.mark.parametrize("dt_s", [0.25, 1.0])
def test_only_what_was_broken_has_to_recover(dt_s: float) -> None:
    state, frame = lived(bound(*TWO), words(12000, 12000), words(12000, 3000), dt_s=dt_s)
    assert state.broken_s == (0.0, 10.0)
    assert frame.qualities == (Quality.GOOD, Quality.BAD)


def test_a_silence_of_one_device_gives_its_channels_the_time_to_change_in_seconds() -> None:
    """Three scans of two seconds unseen and one seen: in 8 s 6400 uA are physics, for the other 1600."""
    plan = bound(point("TT-1", **EXACT), point("TT-2", **EXACT))
    before = [words(9000, 9000), *[words(9000, 9000, analog_ages=(age, 0)) for age in (1, 2, 3)]]
    for change, jumps in ((6400, False), (6401, True)):
        frame = lived(plan, *before, words(9000 + change, 9000), dt_s=2.0)[1]
        assert (frame.reasons[0] == signals.JUMPED) is jumps
    assert lived(plan, *before, words(9000, 10601), dt_s=2.0)[1].reasons[1] == signals.JUMPED


def test_while_all_devices_answer_nothing_is_granted() -> None:
    """A channel that is not healthy sends every scan the slow way; there too a second is a second."""
    plan = bound(point("TT-1", **EXACT), point("TT-2"))
    frame = lived(plan, words(9000, 3000), words(9801, 3000))[1]
    assert frame.reasons == (signals.JUMPED, signals.OPEN)


@pytest.mark.parametrize(
    ("given", "inside", "outside"),
    [
        ({**NUMBER}, (-100, 600), (-101, 601)),
        ({**NUMBER, "raw_lo": 600, "raw_hi": -100}, (-100, 600), (-101, 601)),  # counting down
        ({**NUMBER, "fault_codes": "32767"}, (-109, 622), (-110, 623)),  # 1.25 % below, 3.125 % above
        ({**NUMBER, "raw_lo": 600, "raw_hi": -100, "fault_codes": "32767"}, (-122, 609), (-123, 610)),
        ({**NUMBER, "raw_lo": 200, "raw_hi": 1000, "fault_codes": "32767"}, (190, 1025), (189, 1026)),
        ({**NUMBER, "raw_lo": -32768, "raw_hi": 32700, "fault_codes": "32767"}, (-32768, 32766), (32767,)),
        ({**NUMBER, "type": "float32", "raw_lo": 0, "raw_hi": 320}, (-4.0, 330.0), (-4.001, 330.001)),
        ({**NUMBER, "type": "uint32", "raw_lo": 0, "raw_hi": 320}, (0, 320), (-1, 321)),
        ({**NUMBER, "type": "uint32", "raw_lo": 0, "raw_hi": 80000, "fault_codes": "0xFFFFFFFF"}, (0, 82500), (82501,)),
    ],
)
def test_the_last_numbers_inside_and_the_first_ones_outside(
    given: dict[str, Any], inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """Both ways: alone, and beside a broken channel that sends the scan the slow way."""
    plan = bound(point("TT-1", **given), point("FT-1"))
    low, high = float(given["raw_lo"]), float(given["raw_hi"])
    for other in (12000, 3000):
        for word in inside:
            _state, frame = lived(plan, words(word, other), words(word, other))
            assert frame.qualities[0] == Quality.GOOD
            assert frame.values[0] == pytest.approx(-10.0 + 70.0 * (word - low) / (high - low))
        for word in outside:
            frame = lived(plan, words(word, other), words(word, other))[1]
            assert frame.qualities[0] == Quality.BAD
            assert isnan(frame.values[0])


def test_numbers_of_32_bits_are_scaled_and_their_fault_codes_known() -> None:
    """Bound here, two registers wide: computed where a table cannot be listed."""
    plan = bound(point("FT-1", **{**NUMBER, "type": "int32", "raw_lo": 0, "raw_hi": 150000, "lo": 0.0, "hi": 15.0,
                                  "fault_codes": "149999"}))
    assert lived(plan, words(90000), words(90000))[1].values == pytest.approx((9.0,))
    frame = lived(plan, words(90000), words(149999))[1]
    assert (frame.qualities, frame.reasons) == ((Quality.BAD,), (signals.FAULT_CODE,))


def test_a_word_in_a_table_is_listed_once_for_all_16_bits() -> None:
    plan = bound(point("TT-1"), point("FT-1", **{**NUMBER, "type": "int32"}))
    assert len(plan.tables[0]) == 65536
    assert not hasattr(plan.tables[1], "__len__")


@pytest.mark.parametrize(
    ("word", "value", "quality", "reason"),
    [
        (3700, -11.3125, Quality.UNCERTAIN, signals.UNDER), (20600, 62.625, Quality.UNCERTAIN, signals.OVER),
        (3800, -10.875, Quality.GOOD, ""), (20500, 62.1875, Quality.GOOD, ""),
    ],
)
def test_beyond_its_range_a_current_still_has_a_value(word: int, value: float, quality: int, reason: str) -> None:
    frame = lived(bound(*TWO), words(12000, word))[1]
    assert frame.values[1] == pytest.approx(value)
    assert (frame.qualities[1], frame.reasons[1]) == (quality, reason)


def test_a_channel_with_one_limit_of_a_current_loop_is_none() -> None:
    """A module's number whose fault limit happens to be 21000 is outside its range, not short-circuited."""
    for given in ({"raw_lo": 0, "raw_hi": 20999}, {"raw_lo": 3601, "raw_hi": 9000}):
        plan = bound(point("TT-1", **{**NUMBER, "type": "uint16", **given}))
        for word in (given["raw_lo"] - 1, given["raw_hi"] + 1):
            assert lived(plan, words(word))[1].reasons == (signals.OUTSIDE,)


@pytest.mark.parametrize(
    ("value", "judged"),
    [
        (25.0, (25.0, Quality.GOOD, "")), (-10.5, (-10.5, Quality.UNCERTAIN, signals.UNDER)),
        (200.0, (nan, Quality.BAD, signals.SHORT)),
    ],
)
def test_a_value_put_in_by_hand_is_judged_as_the_word_it_would_be(
    value: float, judged: tuple[float, Quality, str]
) -> None:
    plan = bound(point("FT-1", lo=0.0, hi=15.0), point("TT-1"), offset={"TT-1": 0.5})
    found = signals.judged(plan, 1, value)
    assert found[0] == pytest.approx(judged[0], abs=0.01, nan_ok=True)
    assert found[1:] == judged[1:]


def test_a_silence_keeps_what_was_suspect_or_broken_before() -> None:
    """The time after a jump or a broken reading goes on where it stood once the link is back."""
    plan = bound(*TWO)
    jumped, _frame = lived(plan, words(9000, 9000), words(10000, 3000), words(10000, 9000, age_scans=1))
    assert (jumped.suspect_s, jumped.broken_s, jumped.silent_s) == ((10.0, 0.0), (0.0, 10.0), 1.0)
    _state, held = lived(plan, words(9000, 9000), words(10000, 9000), words(10000, 9000, age_scans=1))
    assert held.reasons == (signals.JUMPED, signals.HELD)
    after, frame = signals.evaluate(plan, jumped, words(10000, 9000), 1.0)
    assert (after.suspect_s, after.broken_s) == ((9.0, 0.0), (0.0, 9.0))
    assert frame.reasons == (signals.JUMPED, signals.BACK)


def test_a_partly_silent_panel_still_counts_jumps_and_recoveries_of_the_others() -> None:
    plan = bound(point("TT-1", rate_per_s_max=2.0), point("FT-1"), point("TT-9"))

    def silent(first: int, second: int) -> RawInputs:
        return words(first, second, 9000, analog_ages=(0, 0, 3))

    scans = [words(9000, 9000, 9000), silent(10000, 3000), silent(10000, 9000), silent(10000, 9000)]
    seen = [lived(plan, *scans[: count + 1])[1].reasons for count in range(4)]
    assert seen == [
        ("", "", ""), (signals.JUMPED, signals.OPEN, signals.HELD), (signals.JUMPED, signals.BACK, signals.HELD),
        (signals.JUMPED, signals.BACK, signals.HELD),
    ]
    state, _frame = lived(plan, *scans)
    assert (state.suspect_s, state.broken_s, state.ages) == ((8.0, 0.0, 0.0), (0.0, 8.0, 0.0), (0, 0, 3))


def test_a_partly_silent_panel_that_is_well_has_nothing_to_recover_from() -> None:
    state, frame = lived(bound(*TWO), words(9000, 9000), words(9000, 9000, analog_ages=(0, 2)))
    assert state.broken_s == ()
    assert frame.qualities == (Quality.GOOD, Quality.UNCERTAIN)


def test_contacts_alone_can_be_silent() -> None:
    """A device with contacts only: readings are all fresh, contacts open when it has been silent for too long."""
    plan = bound(*TWO, hold_last_scans=2)
    for age, on in ((2, (True, False)), (3, (False, False))):
        _state, frame = lived(plan, words(9000, 9000), words(9000, 9000, discrete_ages=(age, 0)))
        assert (frame.discrete, frame.qualities) == (on, (0, 0))


def test_a_panel_of_contacts_alone_can_be_partly_silent() -> None:
    plan = bound()
    _state, frame = lived(plan, words(discrete_ages=(9, 0)))
    assert (frame.values, frame.discrete) == ((), (False, False))


@pytest.mark.parametrize(
    ("config", "points", "says"),
    [
        ({"offset": {"TT-8": 0.1}}, TWO,
         "offset.TT-8 = TT-8: not an AI point of the point list; add the point or correct the tag"),
        ({"offset_on": {"TT-1": "2026-03-01"}}, TWO,
         "offset_on.TT-1 = 2026-03-01: has no offset; add it to [signals.offset] or take the day out"),
        ({}, (point("TT-1", raw_lo=7, raw_hi=7),), "TT-1 = 7: raw_lo and raw_hi must differ; correct the point list"),
    ],
)
def test_what_does_not_fit_is_refused_with_its_remedy(
    config: dict[str, Any], points: tuple[Point, ...], says: str
) -> None:
    with pytest.raises(ConfigError) as refused:
        bound(*points, **config)
    assert str(refused.value).partition(": ")[2] == f"signals.{says}"
