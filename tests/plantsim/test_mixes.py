"""Mixes of their own: what they leave out is the product section's, and each position lives by its own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.filling import Batch
from plantsim.pack.mixes import concretes
from plantsim.params import MixParams, PlantParams, Product
from plantsim.weather import Weather

FAN = tuple({"fan_run": 1.0, "fan_pct": 75.0}.get(name, 0.0) for name in OUTPUTS)


def chamber(params: PlantParams, charge: Charge) -> Chamber:
    return Chamber(params, charge=charge, weather=Weather.constant(8.0, 80.0), seed=3)


def test_what_a_mix_leaves_out_is_as_in_the_product_section():
    params = PlantParams(product=Product(tau_h=19.0), mix=(MixParams(name="white", shape=0.8),))
    plain, white = concretes(params)[""], concretes(params)["white"]
    assert white == plain._replace(shape=0.8)
    assert white.tau_h == 19.0


def test_a_mix_of_its_own_is_what_the_product_section_would_be_with_its_values():
    """Bit for bit: by name or as the product section, the same numbers reach the kernel."""
    values = {"tau_h": 12.0, "cement_share": 0.2, "wetted_fraction": 0.6, "activation_J_per_mol": 45000.0}
    named = PlantParams(mix=(MixParams(name="m", **values),))
    plain = PlantParams(product=replace(Product(), **values))
    states = []
    for params, name in ((named, "m"), (plain, "")):
        model = chamber(params, Charge(mix=name))
        for _ in range(1200):
            model.step(FAN)
        states.append(model._state)
    assert np.array_equal(states[0], states[1], equal_nan=True)


def test_several_mixes_heat_by_themselves_each_in_its_place():
    mixes = (MixParams(name="hot", cement_share=0.25), MixParams(name="inert", hydration_J_per_kg=0.0))
    params = PlantParams(mix=mixes)
    model = chamber(params, Charge(tonnes=0.0))
    for bay, name in ((1, "hot"), (3, ""), (5, "inert")):
        for level in range(1, 13):
            model.place(bay, level, Batch(5.0 / 3.0, 20.0, 5.0, name))
    for _ in range(4 * 3600):
        model.step(FAN)
    core = model.positions().core_degC.mean(axis=1)
    assert core[0] > core[2] + 1.0 > core[4] + 2.0
    assert abs(model.books.energy_closure) < 1e-12


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5, 1.0])
def test_more_wetted_area_dries_faster(share: float):
    def lost(wetted: float) -> float:
        model = chamber(PlantParams(product=Product(wetted_fraction=wetted)), Charge(mix_degC=30.0))
        model.start(30.0, 60.0)
        for _ in range(600):
            model.step(FAN)
        return model.books.dried_kg

    assert 0.0 < lost(0.9 * share) < lost(share)


def test_a_name_given_twice_or_unknown_is_refused():
    with pytest.raises(ValueError, match="mix 'a' is given twice"):
        concretes(PlantParams(mix=(MixParams(name="a"), MixParams(name="a"))))
    with pytest.raises(ValueError, match="mix 'b' of the charge is unknown; known: \\(none\\)"):
        chamber(PlantParams(), Charge(mix="b"))
