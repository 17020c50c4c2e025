"""The state and command table: all 96 cells against a table written here a second time, row by row."""

from __future__ import annotations

import pytest

from controller.core.orders.procedure import (
    AT_REST,
    COMMANDS,
    CONTROLLED,
    DONE,
    EDGES,
    ON_ABORT,
    ON_HOLD,
    STATES,
    after_command,
    refusal,
)

# columns: start pause resume hold restart stop abort reset; "." refuses
EXPECTED = """
idle        running .       .       .       .          .        .        .
running     .       pausing .       holding .          stopping aborting .
pausing     .       .       .       holding .          stopping aborting .
paused      .       .       running holding .          stopping aborting .
holding     .       .       .       .       .          stopping aborting .
held        .       .       .       .       restarting stopping aborting .
restarting  .       .       .       holding .          stopping aborting .
stopping    .       .       .       .       .          .        aborting .
stopped     .       .       .       .       .          .        aborting idle
aborting    .       .       .       .       .          .        .        .
aborted     .       .       .       .       .          .        .        idle
complete    .       .       .       .       .          .        .        idle
"""
ROWS = [line.split() for line in EXPECTED.split("\n") if line]
CELLS = [(row[0], command, cell) for row in ROWS for command, cell in zip(COMMANDS, row[1:], strict=True)]


def test_there_are_96_cells_and_25_are_legal() -> None:
    assert len(CELLS) == 96
    assert len({(state, command) for state, command, _ in CELLS}) == 96
    assert sum(cell != "." for _, _, cell in CELLS) == 25
    assert tuple(row[0] for row in ROWS) == STATES


@pytest.mark.parametrize(("state", "command", "cell"), CELLS)
def test_every_cell(state: str, command: str, cell: str) -> None:
    assert after_command(state, command) == (None if cell == "." else cell)
    assert state in refusal(state, command)


def test_every_active_state_ends_and_every_edge_leads_to_a_known_state() -> None:
    assert set(DONE) == {"running", "pausing", "holding", "restarting", "stopping", "aborting"}
    assert {state for edge in EDGES for state in edge} == set(STATES)


def test_a_protection_never_starts_anything() -> None:
    assert set(ON_HOLD.values()) == {"holding"}
    assert set(ON_ABORT.values()) == {"aborting"}
    assert not set(ON_HOLD) & AT_REST
    assert not CONTROLLED & AT_REST


def test_nothing_runs_again_without_a_command() -> None:
    """The only ways into running are start, resume and the end of restarting, which itself needs a command."""
    assert {before for before, after in EDGES if after == "running"} == {"idle", "paused", "restarting"}
    assert {before for before, after in EDGES if after == "restarting"} == {"held"}
