"""When something may be judged: spans in which nothing is wrong, or only one probe is."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from controller.rig.judging import calm
from controller.rig.judging.calm import HEARD_S, SETTLES_S
from plantsim.faults import Fault
from plantsim.params import PlantParams, Probe

PARAMS = PlantParams(
    probe=(
        Probe(tag="T1", sees="air", bay=1, level=3), Probe(tag="T2", sees="air", bay=2, level=3),
        Probe(tag="M1", sees="rh", bay=1, level=3),
    )
)  # fmt: skip
T0 = 10_000.0


def fault(kind: str, target: str = "", start_s: float = T0, length_s: float = 100.0) -> Fault:
    return Fault(kind=kind, target=target, start_s=start_s, length_s=length_s)


def true_at(span: Callable[[float], bool], *times_s: float) -> list[bool]:
    return [span(time_s) for time_s in times_s]


def test_without_faults_all_is_calm_once_the_run_has_settled() -> None:
    found = calm.spans((), PARAMS)
    assert true_at(found.all, 0.0, SETTLES_S - 1.0, SETTLES_S, 1e6) == [False, False, True, True]
    assert true_at(found.sensors, 0.0, 1e6) == [True, True]
    assert true_at(found.but_one_probe, SETTLES_S, 1e6) == [False, False]


def test_a_fault_ends_the_calm_until_the_chamber_has_settled() -> None:
    found = calm.spans((fault("door-open", "1"),), PARAMS)
    end = T0 + 100.0 + SETTLES_S
    assert true_at(found.all, T0 - 1.0, T0, T0 + 100.0, end - 1.0, end) == [True, False, False, False, True]
    assert true_at(found.sensors, T0, T0 + 100.0) == [True, True]


@pytest.mark.parametrize(
    ("kind", "target"), [("biased", "T1"), ("off", "M1"), ("feedback-lies", "fan"), ("bit-flip", "T1"), ("stale", "")]
)
def test_what_spoils_readings_ends_the_calm_of_sensors(kind: str, target: str) -> None:
    found = calm.spans((fault(kind, target),), PARAMS)
    end = T0 + 100.0 + HEARD_S
    assert true_at(found.sensors, T0 - 1.0, T0, end - 1.0, end) == [True, False, False, True]


@pytest.mark.parametrize(("kind", "target", "counts"), [
    ("belt-off", "", False), ("stuck-off", "fan", False), ("feedback-lies", "fan", True), ("lost-reply", "", True),
    ("hand-left-on", "heat", True),
])  # fmt: skip
def test_lies_about_the_flow_are_told_from_a_flow_that_fails(kind: str, target: str, counts: bool) -> None:
    assert calm.spans((fault(kind, target),), PARAMS).flow(T0 + 1.0) is not counts


def test_one_wrong_air_probe_is_told_from_two_and_from_other_faults() -> None:
    one = fault("biased", "T1")
    assert true_at(calm.spans((one,), PARAMS).but_one_probe, T0 - 1.0, T0, T0 + 99.0, T0 + 100.0) == [
        False, True, True, False,
    ]
    for other in (fault("stuck", "T2", T0 + 50.0), fault("stuck", "T2", T0 - 200.0), fault("door-open", "1", T0 - 900)):
        assert not calm.spans((one, other), PARAMS).but_one_probe(T0 + 10.0), other
    assert not calm.spans((fault("off", "M1"),), PARAMS).but_one_probe(T0 + 10.0)
