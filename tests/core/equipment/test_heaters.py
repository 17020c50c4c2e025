"""What each kind of heater says of itself: its drive, its stages, its times, and what it has in any air."""

from __future__ import annotations

import pytest

from controller.core.equipment.heaters import STEAM_KJ_PER_KG, ElectricConfig, GasConfig, StageConfig, SteamConfig

STAGES = (StageConfig(tag="A", kW=15.0), StageConfig(tag="B", kW=20.0))
ELECTRIC = ElectricConfig(kind="electric", stage=STAGES)
GAS = GasConfig(kind="gas", fire="TCV-103", capacity_kW=60.0)
STEAM = SteamConfig(kind="steam", capacity_kg_per_h=80.0)


def test_contacts_have_stages_and_need_no_time() -> None:
    assert ELECTRIC.stages == STAGES
    assert ELECTRIC.stroke_s == 1.0
    assert ELECTRIC.drive == ""
    assert ELECTRIC.capacity_kW == 35.0


def test_a_burner_and_steam_have_no_stages_but_a_drive() -> None:
    assert (GAS.stages, STEAM.stages) == ((), ())
    assert (GAS.drive, STEAM.drive) == ("TCV-103", "TCV-103")


def test_steam_gives_in_any_air_what_it_condenses_to_and_brings_its_own_water() -> None:
    assert pytest.approx(80.0 * STEAM_KJ_PER_KG / 3600.0) == STEAM.capacity_kW
    assert STEAM.capacity_at_kW(5.0) == STEAM.capacity_at_kW(40.0) == STEAM.capacity_kW
    assert pytest.approx(80.0) == STEAM.kg_per_kWh * STEAM.capacity_kW
