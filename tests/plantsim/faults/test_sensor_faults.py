"""A sensor fault changes its channel as it says, and no other, and nothing in the chamber."""

from __future__ import annotations

from typing import Any

import pytest

FIRST, END = 20, 60  # scans of what `struck` makes
SENSORS = [
    ("off", None, lambda now, _was: [3500] * len(now)),
    ("stuck", None, lambda now, was: [was] * len(now)),
    ("biased", 2.0, lambda now, _was: [uA + 457 for uA in now]),  # 16 mA over the 70 K of an air probe's span
    ("delayed", 5.0, lambda now, was: [was] * 5 + now[:-5]),
]


@pytest.mark.parametrize(("kind", "amount", "wanted"), SENSORS, ids=[case[0] for case in SENSORS])
def test_a_sensor_fault_changes_its_channel_as_it_says_and_no_other(
    see: Any, struck: Any, healthy: Any, kind: str, amount: float | None, wanted: Any
) -> None:
    tag = "TT-101C"
    seen = see(struck(kind, tag, amount))
    true, shown = healthy.column(tag), seen.column(tag)
    assert shown[FIRST:END] == wanted(true[FIRST:END], true[FIRST - 1])
    assert shown[FIRST:END] != true[FIRST:END]
    assert_only(seen, healthy, tag)


@pytest.mark.parametrize(("kind", "amount"), [("garbage", None), ("intermittent", 0.5), ("drifting", 600.0)])
def test_a_sensor_fault_that_wanders_does_so_on_its_channel_only(
    see: Any, struck: Any, healthy: Any, kind: str, amount: float | None
) -> None:
    seen = see(struck(kind, "TT-101C", amount))
    true, shown = healthy.column("TT-101C")[FIRST:END], seen.column("TT-101C")[FIRST:END]
    if kind == "garbage":
        assert len(set(shown)) > 35
        assert min(shown) < 3000
        assert max(shown) > 20500
    elif kind == "intermittent":
        lost = [uA == 3500 for uA in shown]
        assert 0.2 < sum(lost) / len(lost) < 0.8
        assert all(len(set(lost[i : i + 5])) == 1 for i in range(0, 40, 5)), "in pieces of 5 s"
    else:  # 600 K an hour is 38 uA a second
        assert [round(uA - was, -1) for uA, was in zip(shown, true, strict=True)] == [
            round(round(i * 600 / 3600 * 16000 / 70), -1) for i in range(40)
        ]
    assert_only(seen, healthy, "TT-101C")


def test_a_pegged_humidity_sensor_shows_saturation(see: Any, struck: Any, healthy: Any) -> None:
    seen = see(struck("pegged", "MT-101C"))
    assert set(seen.column("MT-101C")[FIRST:END]) == {20000}
    assert_only(seen, healthy, "MT-101C")


def assert_only(seen: Any, healthy: Any, tag: str) -> None:
    """Nothing but that channel, and only while the fault lasts."""
    index = [probe.tag for probe in seen.chamber.params.probe].index(tag)
    for scan, (row, true) in enumerate(zip(seen.uA, healthy.uA, strict=True)):
        changed = {i for i in range(len(row)) if row[i] != true[i]}
        assert changed <= ({index} if FIRST <= scan < END else set())
    assert seen.chamber.truth_row == healthy.chamber.truth_row
