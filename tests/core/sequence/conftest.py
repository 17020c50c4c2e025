"""What the tests of the sequence share: three phases, a run over some of them, one scan from any state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.core.climate.climate import Climate
from controller.core.product.product import Product
from controller.core.sequence import sequence
from controller.core.sequence.recipe import End, Phase
from controller.core.sequence.sequence import SequenceState

Run = Any  # what the fixtures `run` and `make_run` give
MakeRun = Callable[..., Run]
RAMP = Phase(kind="ramp", floor_degC=30.0, ceiling_degC=36.0, rate_K_per_h=1.0, rh_fog_below_pct=95.0, in_band_K=0.25,
             holdback_K=1.0)
HOLD = Phase(kind="hold", floor_degC=30.0, ceiling_degC=36.0, rh_fog_below_pct=95.0, in_band_K=0.25, holdback_K=1.0,
             end=End(in_band=True))
COOL = Phase(kind="cooldown", temperature_degC=26.0, rate_K_per_h=2.0, in_band_K=0.25)


@pytest.fixture
def made(make_run: MakeRun, air: Climate, product: Product) -> Callable[..., Run]:
    """A run over some phases, started, in air of 20 degC."""

    def make(*phases: Phase, dt_s: float = 60.0) -> Run:
        run = make_run(air, product, *phases, dt_s=dt_s)
        run.at(20.0)
        run.scan("start")
        return run

    return make


def step(run: Run, *, trim_K: float = 0.0, fighting: bool = False, **state: Any) -> SequenceState:
    """One scan from this state, which is left as it was."""
    before = replace(run.state, trail=(), passed_on=(), **state)
    after, run.targets, _events = sequence.advance(
        run.plan, before, (), run.air, run.product, "none", run.dt_s, fighting, "", trim_K
    )
    return after
