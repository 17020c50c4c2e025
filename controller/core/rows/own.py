"""Rows of cause and effect that a chamber adds to the built-in ones: what counts as a cause, as data.

A cause is made of contacts (closed while all is well) and readings with a limit; so many of them at once, `votes`,
make it. A reading that is missing counts as a vote only where `bad_counts` says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, isnan
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, MinLen

from controller.core.binding import Binder
from controller.core.frames import Frame
from controller.core.rows.protection import EFFECTS, FAN, FOG, FRAME, HEAT, NUMBER, VENT_OPEN, Row

Blocks = Literal["heat", "fog", "fan", "frame heat", "vent open"]
BITS: dict[str, int] = {"heat": HEAT, "fog": FOG, "fan": FAN, "frame heat": FRAME, "vent open": VENT_OPEN}
Name = Annotated[str, MinLen(1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnRow:
    """[[protection.row]]. contacts: an open one votes; readings: one above `above` or below `below` votes.

    votes: so many at once are the cause. working_only: judged only while a cycle is in progress. at_once: blocked while
    the cause is there; blocks: while tripped, after delay_s. bypassable: people may leave it out for a time, with name
    and reason; never for what protects people or follows a hard-wired circuit. The texts are what a person is told.
    """

    tag: Name
    text: Name
    contacts: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()
    above: float | None = None
    below: float | None = None
    votes: Annotated[int, Ge(1), Le(16)] = 1
    bad_counts: bool = False
    working_only: bool = False
    delay_s: Annotated[float, Ge(0), Le(3600)] = 0.0
    at_once: tuple[Blocks, ...] = ()
    blocks: tuple[Blocks, ...] = ()
    effect: Literal["none", "hold", "abort"] = "none"
    latch: bool = True
    release_s: Annotated[float, Gt(0), Le(3600)] = 60.0
    priority: Literal["low", "medium", "high"] = "medium"
    bypassable: bool = False
    cause: Name
    consequence: Name
    action: Name


@dataclass(frozen=True, slots=True)
class Votes:
    """One row's cause with tags as columns."""

    contacts: tuple[int, ...]
    readings: tuple[int, ...]
    above: float
    below: float
    needed: int
    bad_counts: bool
    working_only: bool


def bind(rows: tuple[OwnRow, ...], binder: Binder) -> tuple[tuple[Row, ...], tuple[Votes, ...]]:
    """Rows as the protection carries them, and their causes; what does not fit is refused through the binder."""
    made: list[Row] = []
    votes: list[Votes] = []
    seen = set(NUMBER)
    for number, row in enumerate(rows):
        where = f"row[{number}]"
        if row.tag in seen:
            binder.refuse(f"{where}.tag", row.tag, "is the tag of another row", "give every row its own tag")
        seen.add(row.tag)
        if row.readings and row.above is None and row.below is None:
            binder.refuse(f"{where}.readings", ", ".join(row.readings), "need a limit", "give above or below")
        if row.above is not None and row.below is not None and row.below >= row.above:
            binder.refuse(f"{where}.below", f"{row.below:g}", f"must be less than above {row.above:g}", "correct one")
        voters = len(row.contacts) + len(row.readings)
        if row.votes > voters:
            binder.refuse(f"{where}.votes", str(row.votes), f"only {voters} contacts and readings can vote",
                          "name more of them or ask for fewer votes")
        votes.append(Votes(
            tuple(binder.column(f"{where}.contacts", tag, "DI") for tag in row.contacts),
            tuple(binder.column(f"{where}.readings", tag) for tag in row.readings),
            inf if row.above is None else row.above, -inf if row.below is None else row.below, row.votes,
            row.bad_counts, row.working_only,
        ))
        made.append(Row(
            row.tag, row.text, _mask(row.at_once), row.delay_s, _mask(row.blocks), row.effect, row.latch,
            row.release_s, row.priority, row.cause, row.consequence, row.action, row.bypassable,
        ))
    assert all(row.effect in EFFECTS for row in made)
    return tuple(made), tuple(votes)


def causes(rows: tuple[Votes, ...], frame: Frame, working: bool) -> tuple[bool, ...]:
    """Whether each row's cause is there."""
    return tuple([_voted(row, frame) and (working or not row.working_only) for row in rows])


def _voted(row: Votes, frame: Frame) -> bool:
    contacts, values = frame.discrete, frame.values
    count = 0
    for column in row.contacts:
        if not contacts[column]:
            count += 1
    for column in row.readings:
        value = values[column]
        if value > row.above or value < row.below or (row.bad_counts and isnan(value)):
            count += 1
    return count >= row.needed


def _mask(names: tuple[str, ...]) -> int:
    mask = 0
    for name in names:
        mask |= BITS[name]
    return mask
