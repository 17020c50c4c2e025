"""Whole scans of a chamber that is filled place by place, and of one that counts nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.config.bundle import Bundle, load_bundle
from controller.config.plan import bind
from controller.core import scan
from controller.core.frames import Command, Event, RawInputs
from controller.core.points import of_kind
from controller.core.product import moves
from controller.core.scan import ScanPlan, ScanResult
from controller.core.upkeep.wear import WearConfig
from controller.link.device import Device
from controller.link.layout import require_layout

WARM = {"TT-110": 15.0, "TT-111": 8.0, "TT-103": 70.0, "TT-108": 32.5}


class Chamber:
    """Air of 32 degC and 94 %RH, a fan that answers. open: contacts that are open; dead: how tags begin whose words are
    0."""

    def __init__(self, plan: ScanPlan, bundle: Bundle[Device]) -> None:
        self.plan, self.points = plan, bundle.points
        self.state = scan.initial(plan, mix_degC=32.0)
        self.open: set[str] = set()
        self.dead: tuple[str, ...] = ()
        self.scans = 0
        self.events: list[Event] = []

    def scan(self, scans: int = 1, *commands: Command) -> ScanResult:
        result: ScanResult | None = None
        for number in range(scans):
            now_s = float(self.scans)
            result = scan.scan(self.plan, self.state, self._raw(), commands if number == 0 else (), now_s)
            self.state = result.state
            self.events += result.events
            assert result.broken == ()
            self.scans += 1
        assert result is not None
        return result

    def order(self, verb: str, **args: Any) -> ScanResult:
        given = tuple(sorted({"role": "operator", **args}.items()))
        return self.scan(1, Command(f"{verb}-{self.scans}", verb, "yard", given))

    def _raw(self) -> RawInputs:
        fan = self.state.outputs.discrete[self.plan.protection.fan_run]
        words = []
        for point, (gain, base) in zip(of_kind(self.points, "AI"), self.plan.signals.scales, strict=True):
            value = WARM.get(point.tag, 94.0 if point.tag.startswith("MT-") else 32.0)
            words.append(0 if point.tag.startswith(self.dead) else round((value - base) / gain))
        closed = {"FS-101": fan, "YS-101": fan}
        contacts = [point.tag not in self.open and closed.get(point.tag, True) for point in of_kind(self.points, "DI")]
        return RawInputs(tuple(words), tuple(contacts), counter=self.scans)


@pytest.fixture(scope="module")
def bundle() -> Bundle[Device]:
    return load_bundle("demo-standing", "standing", "demo-60", device_class=Device, layout=require_layout)


@pytest.fixture
def filled(bundle: Bundle[Device]) -> Chamber:
    """Running for ten minutes, two places taken."""
    plan = bind(bundle.chamber, bundle.points, bundle.recipe, bundle.mix, load_t=120.0, empty=True)
    chamber = Chamber(plan, bundle)
    chamber.scan(60)
    chamber.order("start")
    for level in (1, 2):
        chamber.order("charge", bay=1.0, level=float(level), tonnes=1.6, degC=30.0)
    chamber.scan(600)
    assert [event.text for event in chamber.events if event.kind == "charge"]
    return chamber


def test_an_open_door_stops_fog_and_nothing_else_in_a_standing_climate(filled: Chamber) -> None:
    before = filled.scan()
    assert before.targets.fog
    filled.open = {"ZS-101B"}
    during = filled.scan(5)
    assert not during.targets.fog
    assert during.state.sequence.state == "running"
    filled.open = set()
    assert filled.scan(400).targets.fog


def test_a_gap_in_the_readings_of_places_is_told_with_its_doubt_when_it_is_over(filled: Chamber) -> None:
    """No analog input for ten minutes: the places age on, unseen."""
    filled.dead = ("",)
    filled.scan(600)
    assert not [event for event in filled.events if event.tag == "AGE"]
    filled.dead = ()
    after = filled.scan(200)
    [told] = [event for event in filled.events if event.tag == "AGE"]
    assert "bridged over 0.1" in told.text
    assert after.state.product.uncertain_s >= 600.0
    place = after.state.product.younger_h
    assert max(place) > 0.0
    assert sum(less > 0.0 for less in place) == 2, "only places with boards are in doubt"
    plan, state = filled.plan.charges, filled.state
    assert [(one.bay, one.level) for one in moves.release_list(plan, state.charges, state.product)] == [(1, 1), (1, 2)]
    filled.order("discharge", bay=1.0, level=2.0)
    [leaves] = [event.text for event in filled.events if event.kind == "discharge"]
    assert "h less, not ready" in leaves


def test_a_chamber_with_nothing_to_count_keeps_no_book(bundle: Bundle[Device]) -> None:
    north = load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)
    chamber = replace(north.chamber, wear=WearConfig(drives=()), duty=())
    plan = bind(chamber, north.points, north.recipe, north.mix, load_t=120.0)
    assert plan.upkeep.idle
    made = Chamber(plan, north)
    first = made.state.upkeep
    made.scan(400)
    assert made.state.upkeep is first


def test_fresh_boards_keep_their_film_while_nobody_knows_the_humidity(filled: Chamber) -> None:
    filled.dead = ("MT-",)
    filled.scan(60)
    before = [place.film_kg_per_m2 for place in filled.state.charges.places if place is not None]
    filled.scan(300)
    assert [place.film_kg_per_m2 for place in filled.state.charges.places if place is not None] == before
    assert filled.state.product.ages_h[0] > 0.0


def test_racks_are_full_only_once_the_last_door_has_shut(filled: Chamber) -> None:
    """What begins with the last board would be stopped at once by the door of its trip."""
    filled.open = {"ZS-101A"}
    filled.scan()
    for bay in range(1, 7):
        for level in range(1, 13):
            if (bay, level) not in ((1, 1), (1, 2)):
                filled.order("charge", bay=float(bay), level=float(level), tonnes=1.6, degC=30.0)
    assert None not in filled.state.charges.places
    filled.scan(30)
    assert not filled.state.seen.full
    filled.open = set()
    filled.scan(30)
    assert filled.state.seen.full


def test_racks_are_empty_only_once_the_last_door_has_shut(filled: Chamber) -> None:
    assert not filled.state.seen.empty
    filled.open = {"ZS-101A"}
    for level in (1, 2):
        filled.order("discharge", bay=1.0, level=float(level))
    filled.scan(30)
    assert not filled.state.seen.empty
    filled.open = set()
    filled.scan(30)
    assert filled.state.seen.empty
