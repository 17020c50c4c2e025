"""Exactly one outcome for each command, whatever is sent."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.core.frames import Command
from controller.core.orders.commands import MEMORY, PER_SCAN_MAX, CommandState, fresh, objection, outcome


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
