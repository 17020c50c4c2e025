"""What a campaign met: a run in which nothing happens meets little, one in trouble much; what is missing is named."""

from __future__ import annotations

from dataclasses import replace

import pytest

from controller.core.invariants import invariants
from controller.rig.campaign import matrix, met, trial
from controller.rig.campaign.campaign import there
from controller.rig.campaign.cases import CASES
from controller.rig.campaign.matrix import Cell
from controller.rig.campaign.met import (
    ALARMS,
    DONE,
    INVARIANTS,
    KINDS,
    NOT_HERE,
    REFUSED,
    ROWS,
    RULES,
    SITUATIONS,
    STATES_IN,
    TOPICS,
    WAYS,
)
from controller.rig.judging import judge

SCAN_S = 2.0


@pytest.fixture(scope="module")
def quiet() -> met.Met:
    """Half an hour of a hold in which nothing happens and nobody orders anything."""
    case = matrix.case_of(Cell("belt-off", "hold", 2), SCAN_S)
    return trial.run(replace(case, faults=(), orders=(), hours=0.5)).met


@pytest.fixture(scope="module")
def troubled() -> met.Met:
    """The same with a belt that slips off, and people who come afterwards."""
    return trial.run(matrix.case_of(Cell("belt-off", "hold", 1), SCAN_S)).met


def test_every_invariant_has_its_case_and_every_topic_its_names() -> None:
    assert set(CASES) == set(invariants.NAMES)
    assert there().keys() == TOPICS.keys()
    assert judge.RULES.keys() >= NOT_HERE
    assert all(there().values())


def test_a_run_in_which_nothing_happens_meets_nothing(quiet: met.Met) -> None:
    assert quiet[SITUATIONS] == ("hold",)
    assert quiet[STATES_IN] == ("running",)
    assert [quiet[topic] for topic in (KINDS, WAYS, DONE, REFUSED, ROWS, ALARMS)] == [()] * 6
    assert not set(quiet[INVARIANTS]) & {
        "heat-without-air", "cause-ignored", "tripped-output-on", "owner", "bad-reading-used", "reading-order",
        "procedure-edge", "unordered", "phase-fell", "phase-short", "clock", "trip-alarm", "hand-unseen",
        "command-outcome", "queue", "alarm-rate",
    }  # fmt: skip
    assert not set(quiet[RULES]) & {"not-in-force", "watchdog-late", "heat-in-still-air", "one-probe", "run-on-cut"}


def test_trouble_is_met(troubled: met.Met) -> None:
    assert troubled[KINDS] == ("belt-off",)
    assert troubled[STATES_IN] == ("held", "holding", "restarting", "running")
    assert "running > holding" in troubled[WAYS]
    assert "restart" in troubled[DONE]
    assert "resume" in troubled[REFUSED]
    assert troubled[ROWS] == ("airflow-lost",)
    assert {"airflow-lost", "clock-stopped"} <= set(troubled[ALARMS])
    assert {"procedure-edge", "unordered", "clock", "trip-alarm", "command-outcome"} <= set(troubled[INVARIANTS])


def test_all_that_is_met_is_something_that_there_is(quiet: met.Met, troubled: met.Met) -> None:
    for run in (quiet, troubled):
        for topic, names in run.items():
            assert set(names) <= there()[topic], topic


def test_runs_are_counted_and_what_none_met_is_named(quiet: met.Met, troubled: met.Met) -> None:
    counts = met.counted([quiet, troubled])
    assert counts[STATES_IN] == {"held": 1, "holding": 1, "restarting": 1, "running": 2}
    left = met.missing(counts, there())
    assert "aborted" in left[STATES_IN]
    assert "running" not in left[STATES_IN]
    shown = met.lines(counts, there())
    assert any(TOPICS[STATES_IN] in line and "4 of 12, not: aborted, " in line for line in shown)
    assert len(shown) == 1 + len(TOPICS)
    assert met.missing(met.counted([]), there()) == {topic: sorted(names) for topic, names in there().items()}
