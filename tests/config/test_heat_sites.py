"""Chambers with other heat and fog: their files bind, and what does not fit between their sections is said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from controller.config import bundle, crosschecks, plan
from controller.config.chamber import ChamberFile
from controller.config.find import SHIPPED
from controller.config.loader import load, parse
from controller.core.equipment.heaters import ElectricConfig, GasConfig, HeatConfig, SteamConfig
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout

EAST = SHIPPED / "chambers" / "demo-east.toml"


def problems(chamber: ChamberFile) -> list[str]:
    return [f"{p.field}: {p.limit}" for p in crosschecks.chamber_problems(chamber, "x")]


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("demo-north", HeatConfig), ("demo-east", ElectricConfig), ("demo-west", SteamConfig),
        ("demo-standing", HeatConfig), ("demo-burner", GasConfig), ("demo-probes", HeatConfig),
    ],
)
def test_every_demo_site_binds(name, kind):
    whole = bundle.load_bundle(name, "gentle", "demo-60", device_class=Device, layout=require_layout)
    assert isinstance(whole.chamber.heat, kind)
    bound = plan.bind(whole.chamber, whole.points, whole.recipe, whole.mix, load_t=120.0)
    assert len(bound.actuation.stage_do) == len(whole.chamber.heat.stages)
    assert bound.protection.heat_stages == bound.actuation.stage_do
    assert bound.protection.heat_valve == bound.actuation.valve_ao


def test_a_chamber_heated_by_gas_binds():
    """The demo's panel with a burner on its heating outputs."""
    text = Path(SHIPPED / "chambers" / "demo-north.toml").read_text(encoding="utf-8")
    first, last = text.index("[heat]\n"), text.index("[fog]\n")
    gas = '[heat]\nkind = "gas"\nfire = "TCV-103"\ncapacity_kW = 60.0\n\n'
    chamber = parse((text[:first] + gas + text[last:]).encode(), ChamberFile, "x").value
    assert isinstance(chamber.heat, GasConfig)
    assert problems(chamber) == []
    short = replace(chamber, heat=replace(chamber.heat, on_s_min=20.0))
    assert problems(short) == ["heat.on_s_min: must be above purge_s = 30"]
    other = replace(chamber, protection=replace(chamber.protection, heat_valve="ZC-120"))
    assert problems(other) == ["protection.heat_valve: must be TCV-103, as heat.fire"]


def test_stages_that_do_not_fit_are_said():
    chamber = load(EAST, ChamberFile)
    assert problems(chamber) == []
    forgotten = replace(chamber, protection=replace(chamber.protection, heat_stages=("YC-104A",)))
    assert problems(forgotten) == [f"protection.heat_stages: must have YC-104{c}, a stage of [heat]" for c in "BCD"]
    first, *others = chamber.heat.stages
    large = replace(chamber, heat=replace(chamber.heat, stage=(replace(first, kW=10.0), *others)))
    assert problems(large) == [f"heat.stage[{i}].kW: must be at most that of the first, 10" for i in (1, 2, 3)]
    hasty = replace(chamber, heat=replace(chamber.heat, stage=(replace(first, cycle_s=3.0), *others)))
    assert problems(hasty) == ["heat.stage[0].cycle_s: must be at least on_s_min + off_s_min = 4"]


def test_a_key_of_another_kind_is_unknown_here():
    text = EAST.read_text(encoding="utf-8").replace("kW_min = 0.5", 'water = "TT-103"')
    with pytest.raises(ConfigError) as caught:
        parse(text.encode(), ChamberFile, "x")
    assert "heat.water" in str(caught.value)
    assert len(caught.value.problems) == 1
