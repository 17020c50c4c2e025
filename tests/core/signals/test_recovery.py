"""A broken reading that comes back is believed only after a while, whatever broke it, and counts anew each time."""

from __future__ import annotations

import pytest

from controller.core.frames import Frame, Quality, RawInputs
from controller.core.points import Point
from controller.core.signals import signals
from controller.core.signals.signals import BACK, SignalsConfig, SignalState
from controller.errors import ConfigError

POINTS = (
    Point(tag="TT-1", kind="AI", text="air", device="p", address=0, signal="4-20mA", raw_lo=4000, raw_hi=20000, hi=60,
          rate_per_s_max=2.0),
    Point(tag="FT-1", kind="AI", text="flow", device="p", address=1, signal="4-20mA", raw_lo=4000, raw_hi=20000, hi=15),
    Point(tag="TT-2", kind="AI", text="board", device="p", address=2, signal="raw", raw_lo=-100, raw_hi=600, lo=-10,
          hi=60, type="int16", fault_codes="32767"),
)
GOOD = (12000, 12000, 250)


def run(*scans: tuple[tuple[int, int, int], int], recover_s: float = 10.0) -> list[Frame]:
    """Frames of scans of a second: (words, how often)."""
    plan = signals.bind(SignalsConfig(recover_s=recover_s), POINTS)
    state: SignalState = signals.initial(plan)
    frames = []
    for words, times in scans:
        for _ in range(times):
            state, frame = signals.evaluate(plan, state, RawInputs(words, ()), 1.0)
            frames.append(frame)
    return frames


@pytest.mark.parametrize(
    ("column", "broken"), [(1, (12000, 3500, 250)), (1, (12000, 22000, 250)), (2, (12000, 12000, 32767))]
)
def test_a_channel_that_comes_back_is_uncertain_for_a_while(column: int, broken: tuple[int, int, int]) -> None:
    """Also one whose rate is not judged: a flow, a module with fault codes. The value is shown all the while."""
    frames = run((GOOD, 3), (broken, 5), (GOOD, 15))
    qualities = [frame.qualities[column] for frame in frames]
    assert qualities == [Quality.GOOD] * 3 + [Quality.BAD] * 5 + [Quality.UNCERTAIN] * 9 + [Quality.GOOD] * 6
    assert {frame.reasons[column] for frame in frames[8:17]} == {BACK}
    assert frames[10].values[column] == frames[0].values[column]
    assert all(frame.qualities[0] == Quality.GOOD for frame in frames)


def test_a_loose_contact_is_never_believed_while_it_comes_and_goes() -> None:
    broken = (12000, 3500, 250)
    frames = run((GOOD, 3), *[(broken, 1), (GOOD, 4)] * 10, (GOOD, 6))
    believed = [number for number, frame in enumerate(frames) if frame.qualities[1] == Quality.GOOD]
    assert believed == [0, 1, 2, 58]


def test_no_delay_is_a_choice_too() -> None:
    frames = run((GOOD, 1), ((12000, 3500, 250), 2), (GOOD, 2), recover_s=0.0)
    assert [frame.qualities[1] for frame in frames] == [0, 2, 2, 0, 0]


def test_the_quick_way_is_taken_again_once_all_is_well() -> None:
    """The qualities are then the one object that a first look knows."""
    frames = run((GOOD, 2), ((12000, 3500, 250), 1), (GOOD, 12))
    assert frames[-1].qualities is frames[1].qualities


def test_a_day_of_an_offset_needs_its_offset() -> None:
    fits = SignalsConfig(offset={"TT-1": 0.1}, offset_on={"TT-1": "2026-03-01"})
    assert signals.bind(fits, POINTS).config is fits
    with pytest.raises(ConfigError, match=r"signals\.offset_on\.TT-2 = 2026-03-01: has no offset"):
        signals.bind(SignalsConfig(offset={"TT-1": 0.1}, offset_on={"TT-2": "2026-03-01"}), POINTS)
