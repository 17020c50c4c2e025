"""Product in a cycle that was broken off: an alarm until somebody resets, or everything is out."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from controller.config.bundle import Bundle, load_bundle
from controller.config.plan import bind
from controller.core import scan
from controller.core.alarms.alarms import active_list
from controller.core.frames import Command, RawInputs
from controller.core.points import of_kind
from controller.link.device import Device
from controller.link.layout import require_layout

TAG = "product-left"


@pytest.fixture(scope="module")
def gentle() -> Bundle[Device]:
    return load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)


@pytest.fixture(scope="module")
def weekend() -> Bundle[Device]:
    return load_bundle("demo-north", "weekend", "demo-60", device_class=Device, layout=require_layout)


class Chamber:
    """A chamber whose readings stand in the middle of their ranges, scan by scan; started, in the phase asked for."""

    def __init__(self, bundle: Bundle[Device], phase: int = 0, **asked: Any) -> None:
        self.plan = bind(bundle.chamber, bundle.points, bundle.recipe, bundle.mix, **{"load_t": 120.0, **asked})
        self.state = scan.initial(self.plan, mix_degC=20.0)
        analog, contacts = of_kind(bundle.points, "AI"), of_kind(bundle.points, "DI")
        self.raw = RawInputs(tuple((p.raw_lo + p.raw_hi) // 2 for p in analog), tuple(bool(p.normal) for p in contacts))
        self.scans = 0
        self.order("start")
        self.state = replace(self.state, sequence=replace(self.state.sequence, phase=phase))
        self.live(2)

    def order(self, verb: str, **args: float) -> None:
        self.live(1, Command(f"{self.scans}-{verb}", verb, "anna", tuple(sorted(args.items()))))

    def live(self, scans: int, *commands: Command) -> None:
        for _ in range(scans):
            self.scans += 1
            raw = replace(self.raw, counter=self.scans)
            self.state = scan.scan(self.plan, self.state, raw, commands, float(self.scans)).state

    @property
    def left(self) -> bool:
        """Does the alarm stand?"""
        found = active_list(self.plan.alarms, self.state.alarms)
        return any(one.row.tag == TAG and one.state in "UA" for one in found)


def test_a_cycle_that_is_broken_off_is_an_alarm_from_its_minute_on_until_somebody_resets(
    gentle: Bundle[Device],
) -> None:
    chamber = Chamber(gentle)
    assert not chamber.left
    chamber.order("abort")
    chamber.live(60)
    assert not chamber.left
    chamber.live(3)
    assert chamber.left
    chamber.live(3600)
    assert chamber.left
    chamber.order("reset")
    chamber.live(2)
    assert not chamber.left


@pytest.mark.parametrize("verb", ["stop", "pause", "hold"])
def test_what_people_end_in_order_or_only_stop_is_none(gentle: Bundle[Device], verb: str) -> None:
    chamber = Chamber(gentle)
    chamber.order(verb)
    chamber.live(600)
    assert not chamber.left


@pytest.mark.parametrize("asked", [{"load_t": 0.0}, {"empty_bays": (1, 2, 3, 4, 5, 6)}])
def test_without_product_there_is_nothing_to_tell(gentle: Bundle[Device], asked: dict[str, Any]) -> None:
    chamber = Chamber(gentle, **asked)
    chamber.order("abort")
    chamber.live(120)
    assert not chamber.left


@pytest.mark.parametrize(("phase", "left"), [(3, True), (4, False), (5, False)], ids=["park", "dry-out", "standby"])
def test_a_phase_of_an_empty_chamber_leaves_no_product(weekend: Bundle[Device], phase: int, left: bool) -> None:
    chamber = Chamber(weekend, phase)
    chamber.order("abort")
    chamber.live(120)
    assert chamber.left is left


def test_it_goes_when_the_last_board_is_out(weekend: Bundle[Device]) -> None:
    chamber = Chamber(weekend, 3, empty_bays=(2, 3, 4, 5, 6))
    chamber.order("abort")
    chamber.live(120)
    for level in range(1, 12):
        chamber.order("discharge", bay=1.0, level=float(level))
    assert chamber.left
    chamber.order("discharge", bay=1.0, level=12.0)
    chamber.live(3)
    assert not chamber.left


def test_a_recipe_that_was_exchanged_since_says_nothing_of_the_phase(
    gentle: Bundle[Device], weekend: Bundle[Device]
) -> None:
    """A controller begun anew with another recipe, in a chamber at rest: the phase that ended may be none of it."""
    chamber = Chamber(weekend, 5)
    chamber.order("abort")
    chamber.plan = bind(gentle.chamber, gentle.points, gentle.recipe, gentle.mix, load_t=120.0)
    chamber.live(120)
    assert chamber.left
