"""Exactly one outcome for each command, whatever is sent."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.frames import Command, Event
from controller.core.orders.commands import (
    MEMORY,
    PER_SCAN_MAX,
    CommandState,
    argument,
    fresh,
    left_to_people,
    objection,
    outcome,
)
from controller.core.orders.verbs import RESUMING, VERBS


def order(id_: str, verb: str = "hold", **args: str | float | bool) -> Command:
    return Command(id_, verb, "anna", tuple(sorted(args.items())))


def test_a_command_sent_twice_happens_once() -> None:
    state, taken = fresh(CommandState(), (order("a"), order("a"), order("b")))
    assert [command.id for command in taken] == ["a", "b"]
    again, taken = fresh(state, (order("a"), order("c")))
    assert [command.id for command in taken] == ["c"]
    assert (again.outcomes, again.repeats) == (3, 2)


@given(st.lists(st.lists(st.integers(0, 40), max_size=10), max_size=30))
def test_each_id_is_taken_once_over_any_series_of_scans(scans: list[list[int]]) -> None:
    """Goal: exactly once, with memory bounded. Method: any series of repeated ids within the memory."""
    state, seen = CommandState(), []
    for scan in scans:
        state, taken = fresh(state, tuple(order(str(number)) for number in scan))
        seen += [command.id for command in taken]
    assert len(seen) == len(set(seen)) == state.outcomes
    assert set(seen) == {str(number) for scan in scans for number in scan}


def test_memory_is_bounded_and_forgets_the_oldest() -> None:
    state, _ = fresh(CommandState(), tuple(order(str(number)) for number in range(MEMORY + 5)))
    assert len(state.ids) == MEMORY
    assert state.ids[0] == "5"


@pytest.mark.parametrize(
    ("command", "words"),
    [
        (order("a", "explode"), "unknown command"),
        (order("a", "start", age_s=31.0), "stale"),
        (order("a", "abort", age_s=31.0), "stale"),
        (order("a", "start", age_s=-1.0), "stale"),
        (order("a", "start", age_s="young"), "stale"),
        (order("a", "start", age_s=float("nan")), "stale"),
        (order("a", "restart", seen="held"), "given while the chamber was held, it is running"),
    ],
)
def test_refused_with_a_reason_before_its_meaning_is_looked_at(command: Command, words: str) -> None:
    assert words in objection(command, "running", 0, 30.0)


def test_only_the_restart_that_the_controller_gives_itself_is_left_to_people() -> None:
    own = Command("o", "restart", RESUMING, (("age_s", 1.0),))
    others = (order("p", "restart"), Command("h", "hold", RESUMING))
    refused, *kept = left_to_people((own, *others))
    assert kept == list(others)
    assert refused.args[0] == ("age_s", 1.0)
    assert objection(refused, "held", 0, 30.0) == (
        "a hard-wired circuit has acted: look why, then restart the clock yourself"
    )


def test_a_safe_command_is_never_refused_for_what_its_sender_saw() -> None:
    for verb in ("hold", "stop", "abort", "acknowledge"):
        assert objection(order("a", verb, seen="idle"), "running", 0, 30.0) == ""


def test_a_flood_in_one_scan_is_refused() -> None:
    assert objection(order("a"), "running", PER_SCAN_MAX - 1, 30.0) == ""
    assert "in one scan" in objection(order("a"), "running", PER_SCAN_MAX, 30.0)


def test_an_outcome_names_id_verb_sender_and_reason() -> None:
    done, refused = outcome(order("a")), outcome(order("b"), "because")
    assert dict(done.data) == {"id": "a", "verb": "hold", "who": "anna", "outcome": "done", "reason": ""}
    assert dict(refused.data)["outcome"] == "refused"
    assert "because" in refused.text


SECOND = "stale: {} s old, at most 30 s; give it again"
SEEN = "stale: given while the chamber was held, it is running now; look and give it again"


@pytest.mark.parametrize(
    ("command", "says"),
    [
        (order("a", "explode"), f"unknown command 'explode': known are {', '.join(sorted(VERBS))}"),
        (order("a", "hold", refuse="no such desk"), "no such desk"),
        (order("a", "hold", age_s=30.0), ""),
        (order("a", "hold", age_s=0.0), ""),
        (order("a", "hold", age_s=30.5), SECOND.format(30.5)),
        (order("a", "hold", age_s=-0.5), SECOND.format(-0.5)),
        (order("a", "start", seen="held"), SEEN),
        (order("a", "start", seen="running"), ""),
        (order("a", "start", other="held"), ""),
        (order("a", "start", age_s=1.0, seen="held"), SEEN),
        (order("a", "start", age_s=99.0, refuse="no", seen="held"), SECOND.format(99.0)),
        (order("a", "trouble"), f"unknown command 'trouble': known are {', '.join(sorted(VERBS))}"),
        (Command("a", "trouble", "runtime"), ""),
        (Command("a", "explode", "runtime"), f"unknown command 'explode': known are {', '.join(sorted(VERBS))}"),
    ],
)
def test_an_objection_in_its_words(command: Command, says: str) -> None:
    assert objection(command, "running", 0, 30.0) == says


def test_too_many_in_one_scan_are_told_to_come_again() -> None:
    assert objection(order("a"), "running", PER_SCAN_MAX, 30.0) == (
        f"more than {PER_SCAN_MAX} commands in one scan: send it again"
    )


def test_behind_a_lock_only_what_would_move_something_is_refused() -> None:
    says = "locked out by ana; the lock must be lifted first"
    for verb, reason in (("start", says), ("stop", ""), ("abort", ""), ("acknowledge", "")):
        assert objection(order("a", verb), "running", 0, 30.0, "locked out by ana") == reason
        assert objection(order("a", verb), "running", 0, 30.0) == ""


def test_an_outcome_in_its_words() -> None:
    assert outcome(order("a")) == Event("command", "", "hold by anna: done", (
        ("id", "a"), ("verb", "hold"), ("who", "anna"), ("outcome", "done"), ("reason", ""),
    ))
    assert outcome(order("b"), "too late") == Event("command", "", "hold by anna: refused, too late", (
        ("id", "b"), ("verb", "hold"), ("who", "anna"), ("outcome", "refused"), ("reason", "too late"),
    ))


def test_an_argument_by_its_name() -> None:
    given = order("a", tag="limiter", hours=2.0)
    assert (argument(given, "tag"), argument(given, "hours"), argument(given, "reason")) == ("limiter", 2.0, None)


def test_repeats_are_counted_over_scans_and_memory_keeps_its_length() -> None:
    state, taken = fresh(CommandState(("x",), 5, 2), (order("x"), order("y"), order("y")))
    assert [command.id for command in taken] == ["y"]
    assert state == CommandState(("x", "y"), 6, 4)
    full, _ = fresh(CommandState(), tuple(order(str(number)) for number in range(MEMORY)))
    assert full.ids == tuple(str(number) for number in range(MEMORY))
