"""Tables of several kinds: the key `kind` decides, and only the class that is meant has a say."""

from __future__ import annotations

import pytest

from controller.config.loader import parse
from controller.errors import ConfigError
from plantsim.params import Coil, Electric, Gas, PlantParams, PumpedFog, Steam, SteamFog


@pytest.mark.parametrize(
    ("text", "heat"),
    [
        ("[heat]\nmax_kW = 70.0\n", Coil(max_kW=70.0)),
        ('[heat]\nkind = "electric"\nstage_kW = [10, 20.0]\n', Electric(stage_kW=(10.0, 20.0))),
        ('[heat]\nkind = "gas"\nmax_kW = 80.0\n', Gas(max_kW=80.0)),
        ('[heat]\nkind = "steam"\nwet_share = 0.05\n', Steam(wet_share=0.05)),
    ],
)
def test_kind_says_which_class_is_meant(text, heat):
    assert parse(text.encode(), PlantParams, "x").value.heat == heat


def test_two_sections_choose_for_themselves():
    text = '[heat]\nkind = "gas"\n[fog]\nkind = "pump"\nrated_bar = 60.0\n'
    params = parse(text.encode(), PlantParams, "x").value
    assert (params.heat, params.fog) == (Gas(), PumpedFog(rated_bar=60.0))
    assert parse(b'[fog]\nkind = "steam"\n', PlantParams, "x").value.fog == SteamFog()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[heat]\nkind = "electric"\nwater_degC = 70.0\n', "heat.water_degC = 70.0: unknown key water_degC"),
        ('[heat]\nkind = "gas"\nefficiency = 2.0\n', "heat.efficiency = 2.0: must be a number above 0 and at most 1"),
        ('[heat]\nkind = "electrical"\n', 'one of "water", "electric", "gas", "steam"; did you mean "electric"?'),
        ("[heat]\nkind = 3\n", 'heat.kind = 3: must be one of "water"'),
        ("[heat]\nstage_kW = [10.0]\n", "heat.stage_kW = [10.0]: unknown key stage_kW"),
        ('[heat]\nkind = "gas"\nmin_fire_share = "x"\n', 'heat.min_fire_share = "x": must be a number'),
        ("heat = 5\n", "heat = 5: must be a table"),
        ('[fog]\nkind = "pump"\nopen_bar = -1\n', "fog.open_bar = -1: must be a number from 0 to 300"),
    ],
)
def test_one_wrong_line_is_one_problem_of_the_kind_that_is_meant(text, said):
    with pytest.raises(ConfigError) as caught:
        parse(text.encode(), PlantParams, "x")
    assert len(caught.value.problems) == 1
    assert said in str(caught.value)


def test_a_wrong_kind_hides_no_problem_elsewhere():
    with pytest.raises(ConfigError) as caught:
        parse(b'[heat]\nkind = "wood"\nfoo = 1\n[fan]\nlag_s = -1.0\n', PlantParams, "x")
    assert [problem.field for problem in caught.value.problems] == ["heat.kind", "fan.lag_s"]
