"""An actuator fault drives as it says, and nothing else."""

from __future__ import annotations

from typing import Any

import pytest

from plantsim.faults import Fault, Faulted
from plantsim.kernel import layout as at

# drive -> its entries among the outputs; of the heat its stages too
ENTRIES = {
    "fan": (0, 1), "heat": (2, 3, 8, 9, 10, 11), "vent": (4,), "fog-a": (5,), "fog-b": (6,), "frames": (7,),
}  # fmt: skip
FIRST, END = 20, 60  # scans of what `struck` makes
ACTUATORS = [
    (
        "stuck-on",
        None,
        {"fan": (1, 100), "heat": (1, 100, *[1] * 4), "vent": (100,), "fog-a": (1,), "fog-b": (1,), "frames": (1,)},
    ),
    (
        "stuck-off",
        None,
        {"fan": (0, 0), "heat": (0, 0, *[0] * 4), "vent": (0,), "fog-a": (0,), "fog-b": (0,), "frames": (0,)},
    ),
    ("stuck-mid", 77.0, {"fan": (1, 77), "heat": (1, 77, *[0.77] * 4), "vent": (77,)}),
    (
        "reversed",
        None,
        {"fan": (1, 40), "heat": (1, 60, *[0.6] * 4), "vent": (70,), "fog-a": (0,), "fog-b": (0,), "frames": (0,)},
    ),
]


@pytest.mark.parametrize(("kind", "amount", "wanted"), ACTUATORS, ids=[case[0] for case in ACTUATORS])
def test_an_actuator_fault_drives_as_it_says_and_nothing_else(
    see: Any, struck: Any, at_work: Any, kind: str, amount: float | None, wanted: dict[str, tuple[float, ...]]
) -> None:
    asked = (*at_work[:5], 0.0, 0.0, 0.0, *at_work[8:]) if kind == "stuck-on" else at_work
    for drive, values in wanted.items():
        seen = see(struck(kind, drive, amount), outputs=asked)
        for scan, out in enumerate(seen.driven):
            expected = list(asked)
            if FIRST <= scan < END:
                for entry, value in zip(ENTRIES[drive], values, strict=True):
                    expected[entry] = value
                assert expected != list(asked), "the fault would not show"
            assert list(out) == pytest.approx(expected, abs=1e-12)


def test_a_slow_drive_takes_its_time_and_a_slow_switch_changes_half_way(make: Any, at_work: Any) -> None:
    now = [0.0] * len(at_work)
    made = make()
    out: list[tuple[float, ...]] = []
    live = made.step
    made.step = lambda outputs: (out.append(tuple(outputs)), live(outputs))
    damper, bank = Fault(kind="slow", target="vent", amount=100.0), Fault(kind="slow", target="fog-b", amount=20.0)
    slow = Faulted(made, [damper, bank])
    slow.step(now)
    for _ in range(60):
        slow.step(at_work)
    assert [row[4] for row in out[:34]] == pytest.approx([min(30.0, i) for i in range(34)])
    assert [row[6] for row in out[:14]] == [0.0] * 10 + [1.0] * 4
    assert {row[1] for row in out[1:]} == {60.0}


def test_a_chattering_drive_drops_out_half_the_time(see: Any, struck: Any) -> None:
    seen = see(struck("chatter", "heat", 10.0))
    assert [out[2] for out in seen.driven[FIRST:END]] == ([0.0] * 5 + [1.0] * 5) * 4
    assert {out[1] for out in seen.driven} == {60.0}


HALVED = {
    "fan": at.K_FAN_FULL, "heat": at.K_COIL_W, "vent": at.K_VENT, "fog-a": at.K_BANK_A, "fog-b": at.K_BANK_B,
    "frames": at.K_FRAME_W,
}  # fmt: skip


@pytest.mark.parametrize(
    ("kind", "drive", "amount", "index", "share"),
    [
        *(("half-power", drive, 0.25, index, 0.25) for drive, index in HALVED.items()),
        ("belt-off", "", None, at.K_FAN_FULL, 0.0),
        ("heat-lost", "", None, at.K_COIL_W, 0.0),
    ],
)
def test_a_weak_drive_gives_its_share_of_what_it_gave(
    see: Any, struck: Any, kind: str, drive: str, amount: float | None, index: int, share: float
) -> None:
    seen = see(struck(kind, drive, amount))
    for scan, const in enumerate(seen.const):
        expected = seen.before[0].copy()
        if FIRST <= scan < END:
            expected[index] *= share
        assert (const == expected).all()


@pytest.mark.parametrize(
    ("drive", "sees", "contacts"),
    [
        ("fan", {"fan_speed", "airflow"}, {"fan_runs", "airflow"}),
        ("heat", {"valve"}, set()),
        ("vent", {"damper"}, set()),
    ],
)
@pytest.mark.parametrize("shown", [0.0, 100.0])
def test_lying_feedback_changes_what_is_shown_and_not_what_is_done(
    see: Any, struck: Any, healthy: Any, params: Any, drive: str, sees: set[str], contacts: set[str], shown: float
) -> None:
    seen = see(struck("feedback-lies", drive, shown))
    assert seen.chamber.truth_row == healthy.chamber.truth_row
    for scan, (row, true) in enumerate(zip(seen.uA, healthy.uA, strict=True)):
        lied = [i for i, probe in enumerate(params.probe) if probe.sees in sees]
        expected = [4000 + 160 * shown if i in lied and FIRST <= scan < END else uA for i, uA in enumerate(true)]
        assert row == expected
    for scan in range(FIRST, END):
        assert {name for name in contacts if seen.contacts[scan][name] != (shown > 0)} == set()
    differ = {n for a, b in zip(seen.contacts, healthy.contacts, strict=True) for n in a if a[n] != b[n]}
    assert differ <= contacts
    assert bool(differ) == (bool(contacts) and shown == 0.0), "a running fan is rightly told to run"


def test_a_fan_without_its_belt_turns_and_moves_nothing(see: Any) -> None:
    seen = see(Fault(kind="belt-off", start_s=20.0, length_s=600.0), steps=400)
    assert seen.contacts[-1]["fan_runs"]
    assert not seen.contacts[-1]["airflow"]
    assert seen.chamber.state.gear[at.G_FLOW] == 0.0
