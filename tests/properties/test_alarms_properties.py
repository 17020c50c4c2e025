"""Alarms: the quick question of a quiet scan has the answer of the full reckoning, whatever is read."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan

from hypothesis import given
from hypothesis import strategies as st

from controller.core.alarms.causes import NO_MEANS, AlarmsConfig, Means, any_beyond, excesses
from controller.core.climate.climate import Climate
from controller.core.product.product import Product
from controller.core.sequence import sequence
from controller.core.sequence.recipe import ChamberLimits, End, Phase, Recipe
from controller.core.sequence.sequence import SequenceConfig, SequenceState
from controller.core.setpoints import Targets

HOLD = Phase(kind="hold", floor_degC=29.0, ceiling_degC=34.0, rh_fog_below_pct=95.0, rh_accept_pct=94.0,
             end=End(time_h=9.0))
PLAN = sequence.bind(SequenceConfig(), Recipe(name="trial", phases=(HOLD,)), ChamberLimits())

# Close to the limits and at them, far away, and what no probe should give.
readings = st.one_of(
    st.sampled_from([0.0, -0.0, 0.05, 0.1, 0.5, 2.0, 27.0, 35.5, 94.0, nan, inf, -inf]),
    st.floats(min_value=-50.0, max_value=150.0),
)
climates = st.builds(
    Climate,
    **dict.fromkeys(
        (name for name, kind in Climate.__annotations__.items() if kind == "float"),
        readings,
    ),
    surface=st.just("ceiling"), temperature_ok=st.booleans(), moisture_ok=st.booleans(), surface_ok=st.booleans(),
)
products = st.builds(
    Product,
    **dict.fromkeys((name for name, kind in Product.__annotations__.items() if kind == "float"), readings),
    word=st.just("drying"), ok=st.booleans(),
)
targets = st.builds(
    Targets,
    **dict.fromkeys((name for name, kind in Targets.__annotations__.items() if kind == "float"), readings),
    heat=st.booleans(), fog=st.booleans(), vent=st.booleans(),
)
states = st.builds(
    Means,
    drying_kg_per_m2=st.floats(0.0, 5.0), drying_s=st.floats(0.0, 1e5),
    heat_kW=st.just(0.0), fight_kW=st.just(0.0), fighting=st.booleans(),
)
sequences = st.builds(
    lambda state, hold, waiting: replace(
        sequence.initial(PLAN), state=state, hold_start_s=hold, waiting_long=waiting
    ),
    st.sampled_from(["running", "held"]), st.sampled_from([None, 0.0]), st.booleans(),
)


@given(states, climates, targets, products, sequences)
def test_a_scan_is_quiet_just_when_no_excess_is_there(
    state: Means, climate: Climate, asked: Targets, product: Product, procedure: SequenceState
) -> None:
    """Goal: the short cut changes nothing. Method: both answers from the same random chamber."""
    given_ = (AlarmsConfig(), state, climate, asked, product, procedure)
    assert any_beyond(*given_) == any(excess >= 0.0 for excess in excesses(*given_))


def test_each_excess_alone_is_seen() -> None:
    """Goal: none is forgotten. Method: a chamber without any excess, then each field that makes one."""
    air = Climate(
        **{name: 30.0 if kind == "float" else True for name, kind in Climate.__annotations__.items()}  # type: ignore[arg-type]
    )
    air = replace(air, surface="ceiling", dew_margin_K=1.0, rh_pct=96.0, spread_K=0.5, dew_point_degC=29.0)
    product = Product(30.0, 30.0, 30.0, 0.02, "drying", 1.0, 1.0, 1.0, 1.0, 0.0, True)
    asked = PLAN.phases[0].targets
    procedure = replace(sequence.initial(PLAN), state="running", hold_start_s=0.0)
    state = NO_MEANS

    def beyond(
        state: Means = state, air: Climate = air, product: Product = product, procedure: SequenceState = procedure
    ) -> tuple[int, ...]:
        given_ = (AlarmsConfig(), state, air, asked, product, procedure)
        found = tuple(number for number, excess in enumerate(excesses(*given_)) if excess >= 0.0)
        assert any_beyond(*given_) == bool(found)
        return found

    assert beyond() == ()
    assert beyond(air=replace(air, dew_margin_K=-0.1)) == (0,)
    assert beyond(product=replace(product, drying_kg_per_m2h=0.6)) == (1,)
    assert beyond(state=replace(state, drying_kg_per_m2=0.3, drying_s=1e4)) == (3,)
    assert beyond(air=replace(air, rh_pct=93.0)) == (4,)
    assert beyond(air=replace(air, spread_K=3.0)) == (5,)
    assert beyond(air=replace(air, temperature_degC=20.0)) == (6,)
    assert beyond(air=replace(air, temperature_degC=40.0)) == (7,)
    assert beyond(procedure=replace(procedure, waiting_long=True)) == (8,)
    assert beyond(procedure=replace(procedure, state="held")) == (9,)
    assert beyond(state=replace(state, fighting=True)) == (10,)
