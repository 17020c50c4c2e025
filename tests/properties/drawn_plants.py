"""Any chamber model within the bounds that its classes state: no tests in here.

A small chamber with the equipment scaled to it. Most values stay near the demo's; a few at a time may be anything
within their own bounds, and every choice of a kind is free. What contradicts itself is refused by the model, and then
something else is drawn: a test sees only what the model says it can do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from types import UnionType
from typing import Any, Literal, get_args, get_origin, get_type_hints

import annotated_types as bounds
from hypothesis import assume, settings
from hypothesis import strategies as st

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.params import Coil, Fan, Fog, PlantParams, Probe, Product, Racks, Room, Vent
from plantsim.weather import Weather

# A share of what is tried on plain functions: an example here is a chamber that lives for an hour.
SOME = settings(max_examples=settings().max_examples // 7)
WILD = 6  # so many values at most leave the neighbourhood of the demo's
# What stands for a whole chamber of 72 positions and is scaled down with it.
WHOLE = ("max_kW", "UA_kW_per_K", "max_kg_per_h", "bank_a_kg_per_h", "bank_b_kg_per_h", "stage_kW")
KEPT = ("name", "probe", "contacts", "actuators", "mix")  # not the physics
SIZES = ("bays", "levels", "depth_cells")
Path = tuple[str, str]


def between(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


percent = between(0.0, 100.0)
switch = st.sampled_from([0.0, 1.0])
plain = (switch, percent, switch, percent, percent, switch, switch, switch)
orders = st.tuples(*plain, switch, switch, switch, switch, percent)  # as in plantsim.chamber.OUTPUTS


def small(bays: int, levels: int) -> PlantParams:
    """The demo chamber cut down to a few positions."""
    n = bays * levels
    room = Room(bays=bays, levels=levels, width_m=1.7 * bays, height_m=5.5 / 12 * levels, dry_air_kg=10.2 * n)
    return PlantParams(
        room=replace(room, leak_kg_per_s=0.03 / 72 * n),
        racks=Racks(boards_kg=24600.0 / 72 * n, steel_kg=15000.0 / 72 * n),
        product=Product(nominal_t=120.0 / 72 * n),
        fan=Fan(full_kg_per_s=2.0 * bays, rated_kg_per_s=1.5 * bays, rated_kW=0.6 * bays, proven_kg_per_s=0.3 * bays),
        heat=Coil(max_kW=60.0 / 72 * n, UA_kW_per_K=1.65 / 72 * n),
        vent=Vent(max_kg_per_s=n / 72),
        fog=Fog(bank_a_kg_per_h=15.0 / 72 * n, bank_b_kg_per_h=45.0 / 72 * n),
    )


@st.composite
def of_any_kind(draw: st.DrawFn, params: PlantParams) -> PlantParams:
    """The same with any kind of equipment where there are several."""
    scale = params.room.bays * params.room.levels / 72
    for name, hint in get_type_hints(PlantParams).items():
        kinds = [kind for kind in get_args(hint) if is_dataclass(kind)]
        if len(kinds) > 1 and get_origin(hint) is UnionType:
            part = draw(st.sampled_from(kinds))()
            for field in fields(part):
                value = getattr(part, field.name)
                if field.name in WHOLE:
                    scaled = tuple(x * scale for x in value) if isinstance(value, tuple) else value * scale
                    part = replace(part, **{field.name: scaled})
            params = replace(params, **{name: part})
    return params


def numbers(params: PlantParams) -> Iterator[tuple[Path, Any, float]]:
    """(where, its annotation, its value) of every number of a chamber model that is physics."""
    for section in fields(params):
        part = getattr(params, section.name)
        if section.name in KEPT or not is_dataclass(part):
            continue
        hints = get_type_hints(type(part), include_extras=True)
        for field in fields(part):
            value = getattr(part, field.name)
            if field.name not in SIZES:
                yield (section.name, field.name), hints[field.name], value


def limits(hint: Any) -> tuple[float, float] | None:
    """(lowest, highest) of an annotated number; None for another kind of value."""
    if get_origin(hint) is None or get_args(hint)[0] not in (float, int):
        return None
    low, high = float("-inf"), float("inf")
    for bound in get_args(hint)[1:]:
        match bound:
            case bounds.Ge():
                low = bound.ge
            case bounds.Gt():
                low = bound.gt + max(1e-3, 1e-3 * abs(bound.gt))
            case bounds.Le():
                high = bound.le
            case bounds.Lt():
                high = bound.lt - max(1e-3, 1e-3 * abs(bound.lt))
    return low, high


@st.composite
def drawn_params(draw: st.DrawFn, bays: int, levels: int) -> PlantParams:
    """Parameters within their bounds; they may still contradict each other."""
    params = draw(of_any_kind(small(bays, levels)))
    known = [(path, hint, value) for path, hint, value in numbers(params)]
    ranged = [path for path, hint, _ in known if limits(hint)]
    wild = draw(st.sets(st.sampled_from(ranged), max_size=WILD))
    near = draw(st.integers(0, 2**20))  # one number sets all that is near: drawing a hundred is slow
    for number, (path, hint, value) in enumerate(known):
        inside = limits(hint)
        if get_origin(hint) is Literal:
            params = put(params, path, draw(st.sampled_from(get_args(hint))))
        elif inside and path in wild:
            of = int if get_args(hint)[0] is int else float
            values = st.integers(*map(int, inside)) if of is int else between(*inside)
            params = put(params, path, draw(values))
        elif inside and get_args(hint)[0] is float and value > 0.0 and near:
            factor = 0.8 + 0.4 * ((near * (2 * number + 1) * 40503) % 1009) / 1008
            params = put(params, path, min(max(value * factor, inside[0]), inside[1]))
    return params


def put(params: PlantParams, path: Path, value: Any) -> PlantParams:
    """The same with one value changed."""
    section, name = path
    return replace(params, **{section: replace(getattr(params, section), **{name: value})})


PROBES = (
    Probe(tag="T", sees="air", bay=1, level=1, lag_s=30.0, noise=0.01),
    Probe(tag="M", sees="rh", bay=1, level=2, lag_s=15.0, noise=0.05),
    Probe(tag="B", sees="board", bay=1, level=1),
    Probe(tag="P", sees="product", bay=1, level=1),
    Probe(tag="S", sees="supply"),
)


@st.composite
def chambers(draw: st.DrawFn, bays_max: int = 3, levels_max: int = 5) -> Chamber:
    """Any chamber of a few cells, any charge, any weather, any step the model allows."""
    bays, levels = draw(st.integers(1, bays_max)), draw(st.integers(2, levels_max))
    params = replace(draw(drawn_params(bays, levels)), probe=PROBES)
    charge = Charge(
        tonnes=draw(st.sampled_from([0.0, 0.3, 1.0, 1.2])) * params.product.nominal_t,
        mix_degC=draw(between(5.0, 40.0)),
        age_h=draw(between(0.0, 40.0)),
        empty_bays=(1,) if bays > 1 and draw(st.booleans()) else (),
    )
    weather = Weather.constant(draw(between(-20.0, 38.0)), draw(between(5.0, 100.0)))
    model = made(params, charge=charge, weather=weather, dt_s=draw(st.sampled_from([0.5, 1.0, 2.0])))
    model.start(draw(between(5.0, 45.0)), draw(between(1.0, 100.0)))
    return model


def made(params: PlantParams, *, charge: Charge, weather: Weather, dt_s: float = 1.0) -> Chamber:
    """The chamber model of these, or another draw when they contradict each other."""
    try:
        return Chamber(params, charge=charge, weather=weather, seed=1, dt_s=dt_s)
    except ValueError:
        assume(False)
        raise
