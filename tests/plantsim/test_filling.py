"""Batches and moves: what cannot be, the order of a second, and what a filling adds up to."""

from __future__ import annotations

import itertools

import pytest

from plantsim.agenda import NEVER, Agenda
from plantsim.filling import Batch, Move, impossible, in_order, most_tonnes

BOARD = Batch(1.5, 20.0)


def test_moves_of_one_second_have_one_order_however_they_are_given():
    moves = [
        Move(60.0, "open", 2),
        Move(60.0, "take", 2, 1),
        Move(60.0, "place", 1, 7, BOARD),
        Move(60.0, "place", 2, 1, BOARD),
        Move(60.0, "close", 2),
    ]
    assert {in_order(given) for given in itertools.permutations(moves)} == {tuple(moves)}


@pytest.mark.parametrize(
    ("batch", "said"),
    [((0.0, 20.0), "batch of 0.0 t"), ((1.0, 95.0), "95.0 degC"), ((1.0, 20.0, -1.0), "age of -1.0 h"),
     ((float("nan"), 20.0), "nan t"), ((1.0, float("nan")), "nan degC")],
)  # fmt: skip
def test_a_batch_that_cannot_be_is_refused(batch: tuple[float, ...], said: str):
    with pytest.raises(ValueError, match=said):
        Batch(*batch)


@pytest.mark.parametrize(
    ("move", "said"),
    [
        (Move(0.0, "open", 7), "open bay 7 at 0 h: this chamber has bays 1..6"),
        (Move(0.0, "place", 1, 13, BOARD), "place bay 1 level 13 at 0 h: this chamber has levels 1..12"),
        (Move(-1.0, "open", 1), "open bay 1 at -0.0002778 h: the time must be 0 or later"),
        (Move(3600.0, "take", 1, 2), "take bay 1 level 2 at 1 h: nothing stands there: place something first"),
        (Move(0.0, "place", 1, 2), "place bay 1 level 2 at 0 h: nothing to place: give a batch"),
        (Move(0.0, "place", 2, 2, BOARD), "place bay 2 level 2 at 0 h: there is product already: take it out first"),
        (
            Move(0.0, "place", 1, 2, Batch(1.0, 20.0, mix="x")),
            "place bay 1 level 2 at 0 h: mix 'x' is unknown; known: (none), y",
        ),
    ],
)
def test_what_cannot_be_moved_is_named_in_words(move: Move, said: str):
    assert impossible((move,), 6, 12, occupied=[(2, 2)], mixes=["", "y"]) == [said]


def test_a_position_is_free_again_when_it_was_emptied_in_the_same_second():
    swap = in_order([Move(5.0, "place", 1, 1, BOARD), Move(5.0, "take", 1, 1)])
    assert impossible(swap, 1, 2, occupied=[(1, 1)]) == []
    assert len(impossible(swap, 1, 2)) == 1


def test_most_tonnes_counts_what_stands_inside_together():
    filling = (
        Move(0.0, "place", 1, 1, Batch(2.0, 20.0)),
        Move(1.0, "place", 1, 2, Batch(3.0, 20.0)),
        Move(2.0, "take", 1, 1),
        Move(3.0, "place", 1, 1, Batch(1.0, 20.0)),
    )
    assert most_tonnes(filling) == 5.0
    assert most_tonnes(()) == 0.0


def test_an_agenda_is_due_at_the_first_step_that_begins_at_the_time_or_later():
    agenda = Agenda([Move(2.5, "open", 1), Move(1.0, "close", 1)], dt_s=1.0)
    assert agenda.due == 1
    assert [move.what for move in agenda.take_due(1)] == ["close"]
    agenda.wake(float("inf"))
    assert agenda.due == 3
    agenda.wake(1.5)
    assert agenda.due == 2
    assert [move.what for move in agenda.take_due(3)] == ["open"]
    agenda.wake(float("inf"))
    assert agenda.due == NEVER
    assert Agenda([Move(0.3, "open", 1)], dt_s=0.1).due == 3, "not 4: rounding of 0.3 / 0.1"
