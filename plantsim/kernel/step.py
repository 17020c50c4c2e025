"""One step of the whole chamber model: the only function that Python calls.

Order: equipment, droplets, circulation, mixing, leaks and doors, surfaces, product, floor, equilibrium of the air,
truth, instruments. Every flux is taken from temperatures and moisture of the step before, so the error is first
order in dt; every flux is one number that leaves one place and enters another, so nothing is lost.
"""

from __future__ import annotations

from plantsim.kernel.circulation import circulate
from plantsim.kernel.droplets import land
from plantsim.kernel.equilibrium import settle_air
from plantsim.kernel.feel import feel
from plantsim.kernel.gear import run_gear
from plantsim.kernel.ground import conduct_floor
from plantsim.kernel.hydration import hydrate_level
from plantsim.kernel.instruments import sense
from plantsim.kernel.jit import entry, inner
from plantsim.kernel.layout import (
    AIR_T,
    AIR_W,
    BAYS,
    D_HALL_T,
    D_OUT_RH,
    D_OUT_T,
    DEPTH,
    G_DROP,
    G_EVAPORATED,
    G_FLOW,
    G_FOG_KG,
    G_FOGGY,
    G_HALL_T,
    G_OUT_RH,
    G_OUT_T,
    G_TRIPPED,
    G_VENT,
    K_DAMPERS,
    K_FAN_PROVEN,
    K_FILM,
    K_FILM_V,
    K_SPEED,
    K_THROUGH,
    LEVELS,
    PROBES,
    R_HI,
    R_LAG,
    R_LO,
    R_NOISE,
    R_ODD,
    R_OFFSET,
    R_SCALE,
    SIZES,
    Floats,
    G_FAN_kW,
    Kinds,
    Tables,
    Views,
    Whole,
    const_views_compiled,
    state_views_compiled,
)
from plantsim.kernel.mixing import leak, mix, open_doors
from plantsim.kernel.observe import observe
from plantsim.kernel.product import expose_product
from plantsim.kernel.reading import transmit
from plantsim.kernel.spray import evaporated_share
from plantsim.kernel.surfaces import expose_boards, expose_frames, expose_walls
from plantsim.kernel.through import at_outlets
from plantsim.kernel.vents import set_vent

PROVEN, RUNS, TRIPPED = 1, 2, 4  # bits that step() returns


@entry
def step(
    const: Floats,
    whole: Whole,
    state: Floats,
    drive: Floats,
    out_uA: Whole,
    seed: int,
    number: int,
    dt: float,
    kinds: Kinds,
) -> int:
    """Advance `state` by dt (s) with what stands in `drive`, and read all instruments into out_uA.

    const, state: vectors as in layout; whole: sizes, the cell beside each skin and frame, then for each probe where
    in `state` its truth stands. number: of the step, from 0; -1 lives nothing and only reads.
    kinds: None, or 1 when anything of the chamber is of another kind than the usual ones (layout.kinds_of).
    Returns bits PROVEN (air flow), RUNS (fan), TRIPPED (limiter).
    """
    bays, depth, levels, probes = whole[BAYS], whole[DEPTH], whole[LEVELS], whole[PROBES]
    at_cell = whole[SIZES : SIZES + bays * depth * levels + bays]
    c = const_views_compiled(const, bays, depth, levels, probes)
    v = state_views_compiled(state, bays, depth, levels, probes)
    if number >= 0:
        advance(c, v, at_cell, drive, levels, number, dt, kinds)
    read(c, v, whole, state, out_uA, seed, number, dt, kinds)
    gear = v.gear
    return (
        (PROVEN if gear[G_FLOW] >= c.k[K_FAN_PROVEN] else 0)
        | (RUNS if gear[G_FAN_kW] > 0.0 else 0)
        | (TRIPPED if gear[G_TRIPPED] > 0.5 else 0)
    )


@inner
def read(
    c: Tables, v: Views, whole: Whole, state: Floats, out_uA: Whole, seed: int, number: int, dt: float, kinds: Kinds
) -> None:
    """Bring the truth row up to date and let every instrument look at it."""
    skins = v.wall.shape[1]
    observe(c, v, whole[SIZES : SIZES + skins], dt, kinds)
    p = c.probe
    for i in range(whole[PROBES]):
        v.values[i] = state[whole[SIZES + skins + i]] * p[R_SCALE, i]
    odd = whole[PROBES] > 0 and p[R_ODD, 0] >= 0.0
    if kinds is not None and odd:
        feel(c, v, number, dt)
    sense(v.values, v.lagged, p[R_LAG], p[R_NOISE], p[R_OFFSET], p[R_LO], p[R_HI], seed, number, dt, out_uA)
    if kinds is not None and odd:
        transmit(c, v, seed, number, out_uA)


@inner
def advance(
    c: Tables, v: Views, at_cell: Whole, drive: Floats, levels: int, number: int, dt: float, kinds: Kinds
) -> None:
    """The physics of a step, without instruments."""
    k, air, gear, books = c.k, v.air, v.gear, v.books
    run_gear(k, gear, v.line, drive, number, dt, kinds)
    if kinds is not None and k[K_DAMPERS] > 0.5:
        set_vent(k, c.damper, gear, drive)
    gear[G_HALL_T], gear[G_OUT_T], gear[G_OUT_RH] = drive[D_HALL_T], drive[D_OUT_T], drive[D_OUT_RH]
    if gear[G_FOG_KG] > 0.0:
        T, W = _top_air(air, levels)
        if kinds is not None and k[K_THROUGH] > 0.5:
            T, W = at_outlets(c.cell, air)
        gear[G_EVAPORATED] = evaporated_share(k, T, W, gear[G_DROP])
    land(k, c.cell, air, v.work, gear, books, dt)
    circulate(k, c.cell, c.share, air, v.work, gear, books, drive, levels, dt, kinds)
    mix(k, c.share, air, v.work, gear, levels, dt, kinds)
    leak(k, c.cell, air, v.work, books, drive, dt)
    open_doors(k, air, books, drive, levels, dt)
    h_c = k[K_FILM] + k[K_FILM_V] * k[K_SPEED] * max(gear[G_FLOW], gear[G_VENT])
    expose_boards(k, c.cell, air, v.board, v.work, gear, books, h_c, dt)
    expose_walls(k, c.cell, c.wall, air, v.wall, v.work, gear, books, drive, h_c, dt)
    expose_frames(k, c.wall, at_cell, air, v.wall, v.work, gear, books, drive, h_c, dt)
    hydrate_level(k, c.cell, v.product, number % levels, levels, dt)
    expose_product(k, c.cell, air, v.product, v.work, gear, books, h_c, dt)
    conduct_floor(k, air, v.floor, books, levels, h_c, dt)
    gear[G_FOGGY] = 1.0 if settle_air(k, air, v.work) else 0.0


@inner
def _top_air(air: Floats, levels: int) -> tuple[float, float]:
    """Mean of the highest cells: where the spray comes in."""
    T, W, count = 0.0, 0.0, 0
    for i in range(levels - 1, air.shape[1], levels):
        T += air[AIR_T, i]
        W += air[AIR_W, i]
        count += 1
    return T / count, W / count
