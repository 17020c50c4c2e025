"""Faults by frame number: each does to controller and device what its name says, and repeats exactly."""

from __future__ import annotations

from typing import Any, get_args

import pytest

from controller.errors import LinkError
from controller.link.direct import DirectLink
from controller.link.faulty import Fault, FaultyLink
from controller.link.wirefaults import FaultKind, Schedule


def block(heartbeat: int) -> list[int]:
    return [heartbeat, 1000, 0, 0, 0, 0]


def run(device: Any, schedule: Schedule, turns: int) -> tuple[FaultyLink, list[Any]]:
    """First a read (frame 0), then turns with heartbeats 1, 2, ...; per frame the words or the kind of error."""
    link = FaultyLink(DirectLink(device), schedule)
    seen: list[Any] = []
    for frame in range(turns + 1):
        try:
            seen.append(link.read() if frame == 0 else link.turn(block(frame)))
        except LinkError as trouble:
            seen.append(trouble.kind)
    return link, seen


def beats(device: Any) -> list[int]:
    return [words[0] for words in device.taken]


@pytest.mark.parametrize(
    ("fault", "kind", "taken"),
    [
        (Fault(kind="lost-request"), "timeout", [1, 3]),
        (Fault(kind="lost-reply"), "timeout", [1, 2, 3]),
        (Fault(kind="late-request"), "timeout", [1, 3, 2]),
        (Fault(kind="exception", code=6), "exception-6", [1, 3]),
        (Fault(kind="disconnected"), "refused", [1, 3]),
        (Fault(kind="broken-frame"), "timeout", [1, 2, 3]),
        (Fault(kind="wrong-unit"), "wrong-header", [1, 2, 3]),
        (Fault(kind="wrong-transaction"), "wrong-header", [1, 2, 3]),
        (Fault(kind="wrong-protocol"), "wrong-header", [1, 2, 3]),
        (Fault(kind="wrong-function"), "wrong-function", [1, 2, 3]),
        (Fault(kind="fewer-registers"), "wrong-length", [1, 2, 3]),
        (Fault(kind="more-registers"), "wrong-length", [1, 2, 3]),
        (Fault(kind="reset"), "closed", [1, 2, 3]),
    ],
    ids=lambda value: value.kind if isinstance(value, Fault) else "",
)
def test_a_fault_hits_its_frame_only(device: Any, fault: Fault, kind: str, taken: list[int]) -> None:
    link, seen = run(device, {2: fault}, 3)
    assert seen[2] == kind
    assert [frame for frame, words in enumerate(seen) if isinstance(words, str)] == [2]
    assert beats(device) == taken
    assert link.counts[kind] == 1


@pytest.mark.parametrize(
    ("fault", "shown", "taken"),
    [
        (Fault(kind="slow-reply"), [0x5A1E, 1, 0, 2, 4, 2, 0, 0, 4000], [1, 2, 3]),
        (Fault(kind="duplicated"), [0x5A1E, 1, 0, 2, 4, 2, 0, 0, 4000], [1, 2, 2, 3]),
        (Fault(kind="stale"), [0x5A1E, 1, 0, 1, 4, 1, 0, 0, 4000], [1, 2, 3]),
        (Fault(kind="stuck-register", word=3), [0x5A1E, 1, 0, 1, 4, 2, 0, 0, 4000], [1, 2, 3]),
        (Fault(kind="byte-swapped"), [0x1E5A, 0x100, 0, 0x200, 0x400, 0x200, 0, 0, 0xA00F], [1, 2, 3]),
        (Fault(kind="word-swapped"), [1, 0x5A1E, 2, 0, 2, 4, 0, 0, 4001], [1, 2, 3]),
        (Fault(kind="bit-flip", word=8, bit=1), [0x5A1E, 1, 0, 2, 4, 2, 0, 0, 4002], [1, 2, 3]),
    ],
    ids=lambda value: value.kind if isinstance(value, Fault) else "",
)
def test_a_reply_in_good_form_shows_what_its_fault_makes_of_it(
    device: Any, fault: Fault, shown: list[int], taken: list[int]
) -> None:
    """The first nine words; the frames before and after are those of a healthy run."""
    link, seen = run(device, {2: fault}, 3)
    assert seen[2][:9] == shown
    assert (seen[1][5], seen[3][5]) == (1, 3)
    assert beats(device) == taken
    assert link.counts[fault.kind] == 1


def test_every_kind_of_fault_is_one_of_those_above() -> None:
    tried = {
        case[0].kind
        for test in (test_a_fault_hits_its_frame_only, test_a_reply_in_good_form_shows_what_its_fault_makes_of_it)
        for mark in test.pytestmark  # type: ignore[attr-defined]
        for case in mark.args[1]
    }
    assert tried == set(get_args(FaultKind))
    assert len(tried) == 20


def test_a_register_sticks_at_the_last_value_before_and_is_free_after(device: Any) -> None:
    _, seen = run(device, {2: Fault(kind="stuck-register", word=5, frames=3)}, 6)
    assert [words[5] for words in seen] == [0, 1, 1, 1, 1, 5, 6]


def test_swapping_twice_is_swapping_back(device: Any) -> None:
    pair = ((1, Fault(kind="byte-swapped")), (1, Fault(kind="byte-swapped", frames=2)))
    _, seen = run(device, pair, 2)
    assert seen[1][:2] == [0x5A1E, 1]
    assert seen[2][:2] == [0x1E5A, 0x100]


def test_an_odd_word_at_the_end_keeps_its_place_when_words_are_swapped(device: Any) -> None:
    device.words.pop()
    _, seen = run(device, {1: Fault(kind="word-swapped")}, 1)
    assert seen[1][-1] == device.words[-1]


def test_a_bit_flip_changes_one_bit_of_the_reply_and_nothing_in_the_device(device: Any) -> None:
    _, seen = run(device, {1: Fault(kind="bit-flip", word=8, bit=15)}, 2)
    assert (seen[0][8], seen[1][8], seen[2][8]) == (4000, 4000 ^ 0x8000, 4000)
    assert device.words[8] == 4000


def test_a_stale_reply_stands_still_while_the_device_goes_on(device: Any) -> None:
    _, seen = run(device, {2: Fault(kind="stale", frames=2)}, 4)
    assert [words[5] for words in seen] == [0, 1, 1, 1, 4]
    assert beats(device) == [1, 2, 3, 4]


def test_a_fault_lasts_for_its_frames_and_of_two_the_later_one_is_seen(device: Any) -> None:
    schedule = {1: Fault(kind="disconnected", frames=4), 3: Fault(kind="exception", frames=1)}
    _, seen = run(device, schedule, 5)
    told = [words if isinstance(words, str) else "ok" for words in seen]
    assert told == ["ok", "refused", "refused", "exception-4", "refused", "ok"]


def test_a_fault_without_an_end_lasts_for_ever(device: Any) -> None:
    _, seen = run(device, {3: Fault(kind="disconnected", frames=None)}, 50)
    assert seen[3:] == ["refused"] * 48


def test_what_keeps_a_request_away_comes_before_what_spoils_its_reply(device: Any) -> None:
    schedule = ((1, Fault(kind="lost-request")), (1, Fault(kind="bit-flip", word=8)))
    assert run(device, schedule, 1)[1][1] == "timeout"
    assert beats(device) == []


def test_a_write_suffers_the_fault_of_the_frame_read_before_it(device: Any) -> None:
    link = FaultyLink(DirectLink(device), {1: Fault(kind="disconnected")})
    link.read()
    link.write(block(1))
    with pytest.raises(LinkError):
        link.read()
    with pytest.raises(LinkError, match="frame 1: connection refused"):
        link.write(block(2))
    link.read()
    link.write(block(3))
    assert beats(device) == [1, 3]


def test_the_first_reply_cannot_be_stale(device: Any) -> None:
    assert run(device, {0: Fault(kind="stale")}, 0)[1] == ["timeout"]


def test_the_same_schedule_gives_the_same_run(device: Any) -> None:
    schedule = {
        1: Fault(kind="lost-reply"),
        3: Fault(kind="stale", frames=3),
        4: Fault(kind="bit-flip", word=20),
        8: Fault(kind="late-request"),
    }
    first = run(type(device)(), schedule, 12)[1]
    assert run(type(device)(), schedule, 12)[1] == first
    assert first != run(type(device)(), {}, 12)[1]
