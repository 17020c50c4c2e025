"""Faults by frame number: each does to controller and device what its name says, and repeats exactly."""

from __future__ import annotations

from typing import Any

import pytest

from controller.errors import LinkError
from controller.link.direct import DirectLink
from controller.link.faulty import Fault, FaultyLink


def block(heartbeat: int) -> list[int]:
    return [heartbeat, 1000, 0, 0, 0, 0]


def run(device: Any, schedule: dict[int, Fault], turns: int) -> tuple[FaultyLink, list[Any]]:
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
        (Fault(kind="wrong-length"), "wrong-length", [1, 2, 3]),
        (Fault(kind="disconnected"), "refused", [1, 3]),
    ],
)
def test_a_fault_hits_its_frame_only(device: Any, fault: Fault, kind: str, taken: list[int]) -> None:
    link, seen = run(device, {2: fault}, 3)
    assert seen[2] == kind
    assert [frame for frame, words in enumerate(seen) if isinstance(words, str)] == [2]
    assert beats(device) == taken
    assert link.counts[kind] == 1


def test_a_bit_flip_changes_one_bit_of_the_reply_and_nothing_in_the_device(device: Any) -> None:
    _, seen = run(device, {1: Fault(kind="bit-flip", word=8, bit=15)}, 2)
    assert (seen[0][8], seen[1][8], seen[2][8]) == (4000, 4000 ^ 0x8000, 4000)
    assert device.words[8] == 4000


def test_a_stale_reply_stands_still_while_the_device_goes_on(device: Any) -> None:
    _, seen = run(device, {2: Fault(kind="stale", frames=2)}, 4)
    assert [words[5] for words in seen] == [0, 1, 1, 1, 4]
    assert beats(device) == [1, 2, 3, 4]


def test_a_fault_lasts_for_its_frames_and_a_later_one_takes_over(device: Any) -> None:
    schedule = {1: Fault(kind="disconnected", frames=5), 3: Fault(kind="exception", frames=1)}
    _, seen = run(device, schedule, 5)
    assert [words if isinstance(words, str) else "ok" for words in seen] == [
        "ok",
        "refused",
        "refused",
        "exception-4",
        "ok",
        "ok",
    ]


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
