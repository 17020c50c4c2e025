"""Every fault of a chamber changes what it must and nothing else; when it is over the chamber is as before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from controller.config.loader import load
from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.faults import KINDS, Fault, Faulted, kinds_of, objections, places_of
from plantsim.kernel import layout as at
from plantsim.params import PlantParams
from plantsim.weather import Weather

CONFIGS = Path(__file__).parents[2] / "configs"
AT_WORK = (1.0, 60.0, 1.0, 40.0, 30.0, 1.0, 1.0, 1.0)
FAN, HEAT, VENT, FOG_A, FOG_B, FRAMES = (0, 1), (2, 3), (4,), (5,), (6,), (7,)
ENTRIES = {"fan": FAN, "heat": HEAT, "vent": VENT, "fog-a": FOG_A, "fog-b": FOG_B, "frames": FRAMES}
START_S, LENGTH_S, AFTER = 20.0, 40.0, 20


@pytest.fixture(scope="module")
def params() -> PlantParams:
    return load(CONFIGS / "plants" / "demo-north.toml", PlantParams)


def chamber(params: PlantParams) -> Chamber:
    return Chamber(params, charge=Charge(), weather=Weather([8.0], [80.0]), seed=3)


class Seen:
    """A chamber with faults lived through: what came in and went out, an entry a step."""

    def __init__(self, params: PlantParams, *faults: Fault, steps: int = 80, outputs: Sequence[float] = AT_WORK):
        self.chamber = chamber(params)
        self.faulted = Faulted(self.chamber, faults)
        self.before = (self.chamber._const.copy(), self.chamber._drive.copy())
        self.driven: list[tuple[float, ...]] = []
        self.uA: list[list[int]] = []
        self.contacts: list[dict[str, bool]] = []
        self.const: list[Any] = []
        live = self.chamber.step
        self.chamber.step = lambda out: (self.driven.append(tuple(out)), live(out))
        for _ in range(steps):
            self.faulted.step(outputs)
            self.uA.append(list(self.faulted.microamps))
            self.contacts.append(dict(self.faulted.contacts))
            self.const.append(self.chamber._const.copy())

    def column(self, tag: str) -> list[int]:
        index = [probe.tag for probe in self.chamber.params.probe].index(tag)
        return [row[index] for row in self.uA]


def struck(kind: str, target: str = "", amount: float | None = None) -> Fault:
    return Fault(kind=kind, target=target, start_s=START_S, length_s=LENGTH_S, amount=amount)


FIRST, END = 20, 60  # scans of `struck`


@pytest.fixture(scope="module")
def healthy(params: PlantParams) -> Seen:
    return Seen(params)


SENSORS = [
    ("off", None, lambda now, _was: [3500] * len(now)),
    ("stuck", None, lambda now, was: [was] * len(now)),
    ("biased", 2.0, lambda now, _was: [uA + 457 for uA in now]),  # 16 mA over the 70 K of an air probe's span
    ("delayed", 5.0, lambda now, was: [was] * 5 + now[:-5]),
]


@pytest.mark.parametrize(("kind", "amount", "wanted"), SENSORS, ids=[case[0] for case in SENSORS])
def test_a_sensor_fault_changes_its_channel_as_it_says_and_no_other(
    params: PlantParams, healthy: Seen, kind: str, amount: float | None, wanted: Any
) -> None:
    tag = "TT-101C"
    seen = Seen(params, struck(kind, tag, amount))
    true, shown = healthy.column(tag), seen.column(tag)
    assert shown[FIRST:END] == wanted(true[FIRST:END], true[FIRST - 1])
    assert shown[FIRST:END] != true[FIRST:END]
    assert_only(seen, healthy, tag)


@pytest.mark.parametrize(("kind", "amount"), [("garbage", None), ("intermittent", 0.5), ("drifting", 600.0)])
def test_a_sensor_fault_that_wanders_does_so_on_its_channel_only(
    params: PlantParams, healthy: Seen, kind: str, amount: float | None
) -> None:
    seen = Seen(params, struck(kind, "TT-101C", amount))
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


def test_a_pegged_humidity_sensor_shows_saturation(params: PlantParams, healthy: Seen) -> None:
    seen = Seen(params, struck("pegged", "MT-101C"))
    assert set(seen.column("MT-101C")[FIRST:END]) == {20000}
    assert_only(seen, healthy, "MT-101C")


def assert_only(seen: Seen, healthy: Seen, tag: str) -> None:
    """Nothing but that channel, and only while the fault lasts."""
    index = [probe.tag for probe in seen.chamber.params.probe].index(tag)
    for scan, (row, true) in enumerate(zip(seen.uA, healthy.uA, strict=True)):
        changed = {i for i in range(len(row)) if row[i] != true[i]}
        assert changed <= ({index} if FIRST <= scan < END else set())
    assert seen.chamber.truth_row == healthy.chamber.truth_row


ACTUATORS = [
    (
        "stuck-on",
        None,
        {"fan": (1, 100), "heat": (1, 100), "vent": (100,), "fog-a": (1,), "fog-b": (1,), "frames": (1,)},
    ),
    ("stuck-off", None, {"fan": (0, 0), "heat": (0, 0), "vent": (0,), "fog-a": (0,), "fog-b": (0,), "frames": (0,)}),
    ("stuck-mid", 77.0, {"fan": (1, 77), "heat": (1, 77), "vent": (77,)}),
    ("reversed", None, {"fan": (1, 40), "heat": (1, 60), "vent": (70,), "fog-a": (0,), "fog-b": (0,), "frames": (0,)}),
]


@pytest.mark.parametrize(("kind", "amount", "wanted"), ACTUATORS, ids=[case[0] for case in ACTUATORS])
def test_an_actuator_fault_drives_as_it_says_and_nothing_else(
    params: PlantParams, kind: str, amount: float | None, wanted: dict[str, tuple[float, ...]]
) -> None:
    asked = (1.0, 60.0, 1.0, 40.0, 30.0, 0.0, 0.0, 0.0) if kind == "stuck-on" else AT_WORK
    for drive, values in wanted.items():
        seen = Seen(params, struck(kind, drive, amount), outputs=asked)
        for scan, out in enumerate(seen.driven):
            expected = list(asked)
            if FIRST <= scan < END:
                for entry, value in zip(ENTRIES[drive], values, strict=True):
                    expected[entry] = value
                assert expected != list(asked), "the fault would not show"
            assert list(out) == expected


def test_a_slow_drive_takes_its_time_and_a_slow_switch_changes_half_way(params: PlantParams) -> None:
    now = [0.0] * 8
    made = chamber(params)
    out: list[tuple[float, ...]] = []
    live = made.step
    made.step = lambda outputs: (out.append(tuple(outputs)), live(outputs))
    damper, bank = Fault(kind="slow", target="vent", amount=100.0), Fault(kind="slow", target="fog-b", amount=20.0)
    slow = Faulted(made, [damper, bank])
    slow.step(now)
    for _ in range(60):
        slow.step(AT_WORK)
    assert [row[4] for row in out[:34]] == pytest.approx([min(30.0, i) for i in range(34)])
    assert [row[6] for row in out[:14]] == [0.0] * 10 + [1.0] * 4
    assert {row[1] for row in out[1:]} == {60.0}


def test_a_chattering_drive_drops_out_half_the_time(params: PlantParams) -> None:
    seen = Seen(params, struck("chatter", "heat", 10.0))
    assert [out[2] for out in seen.driven[FIRST:END]] == ([0.0] * 5 + [1.0] * 5) * 4
    assert {out[1] for out in seen.driven} == {60.0}


HALVED = {
    "fan": at.K_FAN_FULL, "heat": at.K_COIL_W, "vent": at.K_VENT, "fog-a": at.K_BANK_A, "fog-b": at.K_BANK_B,
    "frames": at.K_FRAME_W,
}  # fmt: skip


@pytest.mark.parametrize(
    ("fault", "index", "share"),
    [
        *((struck("half-power", drive, 0.25), index, 0.25) for drive, index in HALVED.items()),
        (struck("belt-off"), at.K_FAN_FULL, 0.0),
        (struck("heat-lost"), at.K_COIL_W, 0.0),
    ],
)
def test_a_weak_drive_gives_its_share_of_what_it_gave(
    params: PlantParams, fault: Fault, index: int, share: float
) -> None:
    seen = Seen(params, fault)
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
    params: PlantParams, healthy: Seen, drive: str, sees: set[str], contacts: set[str], shown: float
) -> None:
    seen = Seen(params, struck("feedback-lies", drive, shown))
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


def test_a_fan_without_its_belt_turns_and_moves_nothing(params: PlantParams) -> None:
    seen = Seen(params, Fault(kind="belt-off", start_s=START_S, length_s=600.0), steps=400)
    assert seen.contacts[-1]["fan_runs"]
    assert not seen.contacts[-1]["airflow"]
    assert seen.chamber.state.gear[at.G_FLOW] == 0.0


OPENED = [
    (struck("door-open", "3"), "door_3_closed"), (struck("power-dip"), "mains"),
    (struck("hand-left-on", "fog"), "fog_auto"),
]  # fmt: skip


@pytest.mark.parametrize(("fault", "contact"), OPENED, ids=[case[1] for case in OPENED])
def test_a_fault_at_the_panel_opens_its_contact_and_closes_it_again(
    params: PlantParams, healthy: Seen, fault: Fault, contact: str
) -> None:
    seen = Seen(params, fault, steps=80)
    for scan in range(80):
        assert seen.contacts[scan][contact] == (not FIRST <= scan < END)
    others = {name for name in seen.contacts[0] if name not in (contact, "airflow", "fan_runs")}
    assert all(seen.contacts[s][name] == healthy.contacts[s][name] for s in range(80) for name in others)
    assert (seen.before[1][at.DRIVE :] == seen.chamber._drive[at.DRIVE :]).all()
    assert same(seen, seen.const[30]), "a contact turns no constant"


def test_a_draught_blows_into_its_bay_only(params: PlantParams) -> None:
    seen = Seen(params, struck("draught", "2", 0.24))
    leak = seen.chamber.constants.cell[at.C_LEAK]
    levels = params.room.levels
    during, before = (leak_of(seen, const) for const in (seen.const[30], seen.before[0]))
    added = during - before
    assert added[levels : 2 * levels] == pytest.approx(0.24 / levels)
    assert (np.delete(added, np.s_[levels : 2 * levels]) == 0.0).all()
    assert (leak == before).all()


def same(seen: Seen, const: Any) -> bool:
    """The constants are those of before, to the bit. Which doors were open lately is told among them, and left out."""
    live = seen.chamber._const.copy()
    told = []
    for values in (const, seen.before[0]):
        seen.chamber._const[:] = values
        tables = seen.chamber.constants
        tables.k[at.K_OPENED] = tables.cell[at.C_OPENED] = 0.0
        told.append(seen.chamber._const.copy())
    seen.chamber._const[:] = live
    return bool((told[0] == told[1]).all())


def leak_of(seen: Seen, const: Any) -> Any:
    """The column of leaks in a copy of the constants."""
    live = seen.chamber._const.copy()
    seen.chamber._const[:] = const
    row = seen.chamber.constants.cell[at.C_LEAK].copy()
    seen.chamber._const[:] = live
    return row


def test_an_overfull_bay_gets_less_air_and_the_others_more(params: PlantParams) -> None:
    seen = Seen(params, Fault(kind="overfilled", target="2", amount=0.4))
    share = seen.chamber.constants.share
    assert share[1] / share[0] == pytest.approx(0.4)
    assert share.sum() == pytest.approx(1.0)


ALL = [
    *(Fault(kind=kind, target="TT-101A") for kind in kinds_of("sensor") if kind != "pegged"),
    Fault(kind="pegged", target="MT-101A"),
    *(Fault(kind=kind, target="heat") for kind in kinds_of("actuator")),
    *(Fault(kind=kind, target={"door": "4", "bay": "4"}.get(KINDS[kind].target, "")) for kind in kinds_of("plant")),
    Fault(kind="hand-left-on", target="fan"),
]


@pytest.mark.parametrize("fault", ALL, ids=[fault.kind for fault in ALL])
def test_after_a_fault_the_chamber_is_as_before_and_its_books_are_closed(params: PlantParams, fault: Fault) -> None:
    struck_by = replace(fault, start_s=START_S, length_s=300.0)
    seen = Seen(params, struck_by, steps=400)
    assert same(seen, seen.chamber._const)
    assert seen.driven[-1] == AT_WORK
    assert dict(seen.faulted.contacts) == dict(seen.chamber.contacts)
    assert list(seen.faulted.microamps) == seen.chamber.microamps
    assert seen.faulted.active == ()
    books = seen.chamber.books
    assert abs(books.energy_closure) < 1e-9
    assert abs(books.water_closure) < 1e-9


def test_faults_on_one_knob_join_and_part_in_any_order(params: PlantParams) -> None:
    made = chamber(params)
    full = made.knob("fan_flow")
    both = Faulted(made, [
        Fault(kind="half-power", target="fan", start_s=0, length_s=30, amount=0.3),
        Fault(kind="half-power", target="fan", start_s=10, length_s=10, amount=0.7),
        Fault(kind="door-open", target="1", start_s=0, length_s=20),
        Fault(kind="door-open", target="1", start_s=5, length_s=30),
    ])  # fmt: skip
    flows, doors = [], []
    for _ in range(40):
        both.step(AT_WORK)
        flows.append(made.knob("fan_flow"))
        doors.append(made.contacts["door_1_closed"])
    assert flows == [full * 0.3] * 10 + [full * 0.3 * 0.7] * 10 + [full * 0.3] * 10 + [full] * 10
    assert doors == [False] * 35 + [True] * 5


def test_a_chamber_without_faults_lives_the_same_behind_the_wrapper(params: PlantParams) -> None:
    bare = chamber(params)
    for _ in range(50):
        bare.step(AT_WORK)
    wrapped = Seen(params, steps=50)
    assert wrapped.chamber._state.tobytes() == bare._state.tobytes()
    assert wrapped.uA[-1] == bare.microamps


def test_everything_that_does_not_fit_is_named_at_once_with_field_value_limit_and_remedy(params: PlantParams) -> None:
    wrong = [
        Fault(kind="bised", target="TT-101A"),
        Fault(kind="biased", target="TT-101Z"),
        Fault(kind="stuck-mid", target="fog-a"),
        Fault(kind="pegged", target="TT-101A"),
        Fault(kind="stuck", target="TT-101A", amount=3.0),
        Fault(kind="draught", target="9"),
        Fault(kind="draught", target="1", amount=50.0),
        Fault(kind="belt-off", target="1"),
        Fault(kind="bit-flip", target="8", amount=1.5),
    ]
    found = objections(wrong, places_of(params))
    assert [(item.field, item.value) for item in found] == [
        ("fault.0.kind", "bised"), ("fault.1.target", "TT-101Z"), ("fault.2.target", "fog-a"),
        ("fault.3.target", "TT-101A"), ("fault.4.amount", "3"), ("fault.5.target", "9"), ("fault.6.amount", "50"),
        ("fault.7.target", "1"), ("fault.8.amount", "1.5"),
    ]  # fmt: skip
    assert found[0].remedy == "did you mean biased?"
    assert "0.001 to 5 kg/s" in found[6].limit
    with pytest.raises(ValueError, match=r"fault\.0\.kind bised: is no kind of fault; did you mean biased\?\n"):
        Faulted(chamber(params), wrong)


def test_the_table_has_every_kind_of_every_room() -> None:
    counts = {room: len(kinds_of(room)) for room in ("sensor", "actuator", "plant", "wire", "operator")}
    assert counts == {"sensor": 8, "actuator": 8, "plant": 6, "wire": 20, "operator": 6}
    assert all(kind.lo <= kind.usual <= kind.hi for kind in KINDS.values())
    assert len(OUTPUTS) >= 8
