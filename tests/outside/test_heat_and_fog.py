"""Steam, valves and droplets of the chamber model against values from outside."""

from __future__ import annotations

import numpy as np
import pytest
from CoolProp.CoolProp import PropsSI

from controller.core.equipment.heaters import STEAM_KJ_PER_KG, SteamConfig
from plantsim.kernel import layout as at
from plantsim.kernel.drives import opened
from plantsim.kernel.jit import python_of
from plantsim.kernel.moistair import humidity_ratio, psat
from plantsim.kernel.spray import evaporated_share
from plantsim.pack.fog import fall_m_per_s, pack_fog
from plantsim.params import Fog, PlantParams, Steam, SteamFog

BOILING_K = 373.15


@pytest.mark.outside("library: CoolProp, IF97 (IAPWS R7-97(2012)), saturated at 100 degC")
def test_enthalpy_of_steam_and_of_the_water_in_it():
    vapour = PropsSI("H", "T", BOILING_K, "Q", 1, "IF97::Water")
    water = PropsSI("H", "T", BOILING_K, "Q", 0, "IF97::Water")
    at_zero = PropsSI("H", "T", 273.16, "Q", 0, "IF97::Water") - 4186.0 * 0.01  # both count from water at 0 degC
    assert Steam().J_per_kg == pytest.approx(vapour - at_zero, rel=1e-4)
    assert SteamFog().J_per_kg == Steam().J_per_kg
    assert Steam().water_J_per_kg == pytest.approx(water - at_zero, rel=1e-4)
    assert pytest.approx(vapour / 1e3, rel=1e-4) == STEAM_KJ_PER_KG


@pytest.mark.outside("library: CoolProp, IF97: wet steam is a mixture of both")
@pytest.mark.parametrize("wet", [0.02, 0.1, 0.3])
def test_wet_steam(wet):
    steam = Steam(wet_share=wet)
    ours = (1.0 - wet) * steam.J_per_kg + wet * steam.water_J_per_kg
    assert ours == pytest.approx(PropsSI("H", "T", BOILING_K, "Q", 1.0 - wet, "IF97::Water"), rel=1e-4)


@pytest.mark.outside("library: CoolProp, IF97")
def test_a_kilogram_an_hour_of_steam_is_0_743_kW():
    kW = PropsSI("H", "T", BOILING_K, "Q", 1, "IF97::Water") / 3.6e6
    assert kW == pytest.approx(0.743, abs=5e-4)
    assert 1.0 / SteamConfig(kind="steam").kg_per_kWh == pytest.approx(kW, rel=1e-4)


@pytest.mark.outside("recomputed: kv = R**(x-1), flow = 1/sqrt(1 + N (1/kv**2 - 1)) for R = 50, by hand")
@pytest.mark.parametrize(
    ("x", "kv", "flow"), [(0.25, 0.0532, 0.0751), (0.5, 0.1414, 0.1980), (0.75, 0.3761, 0.4978)]
)
def test_equal_percentage_valve(x, kv, flow):
    assert python_of(opened)(x, 50.0, 1.0) == pytest.approx(kv, abs=6e-5)
    assert python_of(opened)(x, 50.0, 0.5) == pytest.approx(flow, abs=6e-5)


@pytest.mark.outside("recomputed: Stokes fall and d-square law with Sh = 2, 32 degC, 2 m; rounded to 2 digits")
@pytest.mark.parametrize(
    ("um", "fall", "shares"),
    [
        (10.0, 0.0029, (1.00, 1.00, 1.00)),
        (20.0, 0.0115, (0.99, 0.98, 0.95)),
        (50.0, 0.072, (0.72, 0.56, 0.33)),
        (100.0, 0.288, (0.14, 0.07, 0.03)),
    ],
)
def test_droplets_that_survive_a_fall_of_two_metres(um, fall, shares):
    """At 90, 95 and 98 %RH. The table was made with a life of 1 / (12 D rho dW / (rho_l d^2)) at the wet bulb."""
    k = np.zeros(at.SCALARS)
    params = PlantParams(fog=Fog(droplet_um=um, fall_m=2.0))
    pack_fog(k, params, 1.0)
    k[at.K_PRESSURE] = 101325.0
    assert fall_m_per_s(um) == pytest.approx(fall, rel=0.06)
    for rh_pct, share in zip((90.0, 95.0, 98.0), shares, strict=True):
        W = float(humidity_ratio(rh_pct / 100.0 * psat(32.0), 101325.0))
        assert python_of(evaporated_share)(k, 32.0, W) == pytest.approx(share, abs=0.02)


@pytest.mark.outside("recomputed: twice the diameter, evaluated by a droplet of that size")
def test_size_scales_a_droplet_as_its_parameter_does():
    small, large = np.zeros(at.SCALARS), np.zeros(at.SCALARS)
    for k, um in ((small, 25.0), (large, 50.0)):
        pack_fog(k, PlantParams(fog=Fog(droplet_um=um)), 1.0)
        k[at.K_PRESSURE] = 101325.0
    share = python_of(evaporated_share)
    assert share(small, 32.0, 0.028, 2.0) == pytest.approx(share(large, 32.0, 0.028), rel=1e-9)
