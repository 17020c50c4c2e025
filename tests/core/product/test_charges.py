"""The charge table: every place has its own clock, and what it was told cannot be wrong unnoticed."""

from __future__ import annotations

from dataclasses import replace
from math import exp

import pytest

from controller.core.climate import climate, moistair
from controller.core.frames import Command, Event, Frame
from controller.core.points import Point
from controller.core.product import charges, maturity, moves, product
from controller.core.product.charges import ChargeState
from controller.core.product.mix import Mix
from controller.core.product.product import Product, ProductState
from controller.store.checkpoint import StateCodec

BAYS, LEVELS = 2, 4
POINTS = tuple(
    Point(tag=tag, kind="AI", text="", device="panel", address=column, signal="4-20mA")
    for column, tag in enumerate(("TT-1", "TT-2", "TT-3", "TT-4"))
)
CONFIG = product.ProductConfig(
    dummies=(product.Dummy(tag="TT-1", bay=1, level=1), product.Dummy(tag="TT-2", bay=2, level=4)), entry_lag_h=1.0
)
PAIRS = (climate.Pair(t="TT-3", rh="-", bay=1, level=1), climate.Pair(t="TT-4", rh="-", bay=2, level=4))
MIX = Mix(name="grey", cement_kg_per_m3=350.0, density_kg_per_m3=2300.0)
QUICK = Mix(name="quick", cement_kg_per_m3=350.0, density_kg_per_m3=2300.0, activation_energy_kJ_per_mol=50.0)
RACKS = product.bind(CONFIG, MIX, POINTS, BAYS, LEVELS, pairs=PAIRS)
EMPTY = charges.bind(RACKS, bays=BAYS, levels=LEVELS, load_t=12.0, others=(QUICK,), each=True, empty=True)
FULL = charges.bind(RACKS, bays=BAYS, levels=LEVELS, load_t=12.0, each=True)
CLASSIC = charges.bind(RACKS, bays=BAYS, levels=LEVELS, load_t=12.0)
RATE, QUICK_RATE = maturity.arrhenius_rate(40.0), maturity.arrhenius_rate(50.0)
WARM = Frame((32.0, 32.0, 32.0, 32.0), (0,) * 4, ("",) * 4, (), 0)


@pytest.fixture
def moist(air: climate.Climate) -> climate.Climate:
    """Air of 32 degC with a dew point of 31.4: a board of 20 gets wet in it."""
    return replace(
        air, temperature_degC=32.0, coldest_degC=32.0, hottest_degC=32.0, dew_point_degC=31.4,
        humidity_ratio=moistair.saturation_ratio(31.4),
    )


class Racks:
    """A charge table over scans of one second."""

    def __init__(self, plan: charges.ChargePlan, air: climate.Climate, degC: float = 32.0, age_h: float = 0.0) -> None:
        self.plan, self.air = plan, air
        self.charges: ChargeState = charges.initial(plan, degC, age_h)
        self.state: ProductState = product.initial(plan.product, degC, age_h)
        self.seen: Product = self.state.seen
        self.events: list[Event] = []
        self.now_s = 0.0

    def order(self, verb: str, **args: float | str | bool) -> Event:
        command = Command(f"{len(self.events)}-{verb}", verb, "yard", tuple(sorted(args.items())))
        self.charges, self.state, self.seen, events = moves.apply(
            self.plan, self.charges, self.state, (command,), self.now_s
        )
        self.events.extend(events)
        return self.events[-1] if events else Event("none", "", "")

    def wait(self, seconds: int, frame: Frame = WARM) -> Product:
        for _ in range(seconds):
            if self.charges.places:
                self.charges, self.state, self.seen = charges.follow(
                    self.plan, self.charges, self.state, frame, self.air, 1.0
                )
            else:
                self.state, self.seen = product.follow(self.plan.product, self.state, frame, self.air, 1.0)
            self.now_s += 1.0
        return self.seen

    def outcome(self) -> str:
        data = dict(next(event for event in reversed(self.events) if event.kind == "command").data)
        return f"{data['outcome']} {data['reason']}".strip()


@pytest.fixture
def racks(moist: climate.Climate) -> Racks:
    """An empty chamber that stands at 32 degC."""
    made = Racks(EMPTY, moist)
    made.wait(60)
    return made


def test_a_charge_has_its_own_clock_age_and_temperature_from_its_entry_on(racks: Racks) -> None:
    racks.wait(17)
    racks.order("charge", bay=2, level=2, tonnes=1.5, degC=20.0)
    racks.wait(3600 - 17 - 60 + 60)
    there = racks.charges.places[5]
    assert there is not None
    assert there.own_s == pytest.approx(3600 - 17)
    degC = racks.state.temperatures_degC[5]
    assert degC == pytest.approx(32.0 - 12.0 * exp(-(3600 - 17) / 3600.0), abs=0.05)
    assert RATE(20.0) < racks.state.ages_h[5] < RATE(degC)


def test_another_mix_ages_by_its_own_activation_energy(racks: Racks) -> None:
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=32.0)
    racks.order("charge", bay=1, level=2, tonnes=1.5, degC=32.0, mix="quick")
    racks.wait(3600)
    assert racks.state.ages_h[0] == pytest.approx(RATE(32.0), rel=1e-3)
    assert racks.state.ages_h[1] == pytest.approx(QUICK_RATE(32.0), rel=1e-3)


def test_what_wets_a_newcomer_is_estimated_until_it_has_settled(racks: Racks) -> None:
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0)
    racks.wait(3600)
    early = racks.charges.places[0]
    assert early is not None
    assert 0.05 < early.wetted_kg_per_m2 < 1.0
    assert not early.settled
    racks.wait((4 * 3600) + 60)
    late = racks.charges.places[0]
    assert late is not None
    assert late.settled
    assert not racks.charges.young[0]
    assert late.wetted_kg_per_m2 >= early.wetted_kg_per_m2


def test_a_dummy_among_young_boards_says_nothing_of_the_others(racks: Racks) -> None:
    """The dummy of bay 1 reads 20 in cold boards; settled product elsewhere is as warm as its own air says."""
    racks.order("charge", bay=2, level=1, tonnes=1.5, degC=32.0)
    cold = Frame((20.0, 32.0, 32.0, 32.0), (0,) * 4, ("",) * 4, (), 0)
    racks.order("charge", bay=2, level=4, tonnes=1.5, degC=32.0)
    racks.wait(6 * 3600)  # both have settled: the dummy of bay 2 counts
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0)
    seen = racks.wait(120, cold)
    assert racks.state.temperatures_degC[4] == pytest.approx(32.0, abs=0.1)
    assert seen.core_degC == pytest.approx(32.0, abs=0.1)


def test_a_discharge_tells_all_that_was_known_of_the_boards(racks: Racks) -> None:
    racks.order("charge", bay=1, level=3, tonnes=1.25, degC=18.0)
    racks.wait(7200)
    event = racks.order("discharge", bay=1, level=3)
    data = dict(event.data)
    assert (event.kind, data["bay"], data["level"], data["tonnes"]) == ("discharge", 1, 3, 1.25)
    assert data["own_h"] == pytest.approx(2.0, abs=0.001)
    assert 2.0 < float(data["age_h"]) < 2.0 * RATE(32.0)
    assert data["ready"] is False
    assert "not ready" in event.text
    assert racks.charges.places[2] is None


REFUSED = [
    ({"bay": 3, "level": 1, "tonnes": 1.0, "degC": 20.0}, "bay 3: must be a whole number from 1 to 2"),
    ({"bay": 1, "level": 0, "tonnes": 1.0, "degC": 20.0}, "level 0: must be a whole number from 1 to 4"),
    ({"bay": 1.5, "level": 1, "tonnes": 1.0, "degC": 20.0}, "bay 1.5: must be"),
    ({"bay": True, "level": 1, "tonnes": 1.0, "degC": 20.0}, "bay True: must be"),
    ({"bay": 1, "level": 1, "tonnes": 9.0, "degC": 20.0}, "tonnes 9: must be 0.001 to 4 t"),
    ({"bay": 1, "level": 1, "tonnes": float("nan"), "degC": 20.0}, "tonnes nan"),
    ({"bay": 1, "level": 1, "tonnes": 1.0}, "degC (not given): must be 0 to 60 degC"),
    ({"bay": 1, "level": 1, "tonnes": 1.0, "degC": 20.0, "age_h": -1.0}, "age_h -1: must"),
    ({"bay": 1, "level": 1, "tonnes": 1.0, "degC": 20.0, "mix": "red"}, "mix 'red' is not known to this controller"),
]


@pytest.mark.parametrize(("args", "reason"), REFUSED)
def test_a_wrong_charge_is_refused_with_its_reason(racks: Racks, args: dict[str, float], reason: str) -> None:
    before = racks.charges
    racks.order("charge", **args)
    assert racks.outcome().startswith(f"refused {reason}")
    assert racks.charges is before


def test_an_occupied_place_takes_no_second_charge_and_an_empty_one_gives_none(racks: Racks) -> None:
    racks.order("discharge", bay=1, level=1)
    assert racks.outcome() == "refused bay 1 level 1 is empty: nothing to discharge"
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0)
    assert racks.outcome() == "done"
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0)
    assert racks.outcome().startswith("refused bay 1 level 1 is occupied, in for 0.0 h: discharge it first")


def test_a_discharge_given_twice_does_not_take_out_the_boards_that_came_between(racks: Racks) -> None:
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0)
    racks.wait(90)
    racks.order("discharge", bay=1, level=1)
    racks.order("charge", bay=1, level=1, tonnes=1.4, degC=20.0)
    racks.wait(2)
    racks.order("discharge", bay=1, level=1)
    young = "refused the boards of bay 1 level 1 came 2 s ago, they can leave after 10 s: look and give it again"
    assert racks.outcome() == young
    racks.wait(7)
    racks.order("discharge", bay=1, level=1)
    assert racks.outcome() == young.replace("2 s ago", "9 s ago")
    racks.wait(1)
    assert dict(racks.order("discharge", bay=1, level=1).data)["tonnes"] == 1.4


def test_a_bay_entered_as_empty_stays_empty(moist: climate.Climate) -> None:
    half = product.bind(CONFIG, MIX, POINTS, BAYS, LEVELS, (True,) * 4 + (False,) * 4, PAIRS)
    racks = Racks(charges.bind(half, bays=BAYS, levels=LEVELS, load_t=6.0), moist)
    racks.order("charge", bay=2, level=1, tonnes=1.5, degC=20.0)
    assert racks.outcome().startswith("refused bay 2 was entered as empty")


def test_a_whole_charge_comes_apart_with_its_first_discharge(moist: climate.Climate) -> None:
    racks = Racks(CLASSIC, moist, age_h=10.0)
    racks.wait(600)
    before = racks.state.ages_h[3]
    racks.order("discharge", bay=1, level=1)
    racks.wait(60)
    assert sum(there is not None for there in racks.charges.places) == 7
    assert racks.state.ages_h[0] == 0.0
    assert racks.state.ages_h[3] == pytest.approx(before + RATE(32.0) / 60.0, rel=1e-6)
    assert not racks.charges.young[3]
    assert racks.seen.age_h_min > 10.0


def test_the_last_board_makes_it_full(racks: Racks) -> None:
    for bay in (1, 2):
        for level in range(1, LEVELS + 1):
            assert not racks.seen.full
            racks.order("charge", bay=bay, level=level, tonnes=1.5, degC=20.0)
    assert racks.seen.full


def test_the_release_list_says_what_is_ready_and_when_the_rest_will_be(moist: climate.Climate) -> None:
    racks = Racks(FULL, moist, age_h=29.0)
    racks.wait(60)
    racks.order("discharge", bay=1, level=1)
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=32.0, age_h=31.0)
    lines = moves.release_list(racks.plan, racks.charges, racks.state)
    assert len(lines) == 8
    assert (lines[0].bay, lines[0].level, lines[0].ready, lines[0].ready_in_h) == (1, 1, True, 0.0)
    waits = lines[1]
    assert not waits.ready
    assert waits.ready_in_h == pytest.approx((30.0 - waits.age_h) / RATE(32.0))
    assert "30 h are wanted" in waits.why
    assert "estimated, not tested" in waits.caption


def test_a_second_start_begins_with_a_new_charge_and_keeps_no_old_ages(moist: climate.Climate) -> None:
    racks = Racks(CLASSIC, moist, degC=20.0, age_h=1.0)
    racks.order("start")
    racks.wait(7200)
    assert racks.seen.age_h_min > 3.0
    racks.order("start")
    assert racks.seen.age_h_min == 1.0
    racks.order("start", age_h=0.5, mix_degC=25.0)
    assert racks.seen.age_h_min == 0.5
    assert racks.state.temperatures_degC[0] == 25.0


def test_boards_entered_one_by_one_keep_their_clocks_over_a_second_start(racks: Racks) -> None:
    racks.order("start")
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0)
    racks.wait(3600)
    age = racks.state.ages_h[0]
    racks.order("start")
    assert racks.state.ages_h[0] == age > 0.5


def test_the_table_goes_through_a_checkpoint_unchanged(racks: Racks) -> None:
    racks.order("charge", bay=1, level=1, tonnes=1.5, degC=20.0, mix="quick")
    racks.wait(90)
    codec = StateCodec(ChargeState)
    assert codec.load(codec.dump(racks.charges)) == racks.charges
