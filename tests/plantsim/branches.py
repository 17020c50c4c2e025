"""A few steps of small chambers that go every way that air can go. Run as a program it prints where they end.

`NUMBA_DISABLE_JIT=1 python tests/plantsim/branches.py` lives them as plain Python.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass, replace

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.params import Air, Coil, Electric, Fan, Fog, Gas, Makeup, PlantParams, Room, Steam, SteamFog, Vent
from plantsim.weather import Weather

FAN = {"fan_run": 1.0, "fan_pct": 75.0}
HEAT = {"heat_run": 1.0, "valve_pct": 60.0}
BANKS = {"fog_a": 1.0, "fog_b": 1.0}
COIL = Coil(max_kW=10.0, UA_kW_per_K=0.3, lag_s=0.1, stroke_s=1.0)
FINE = Fog(bank_a_kg_per_h=3.0, bank_b_kg_per_h=5.0, line_delay_s=0.0)
PLAIN = Vent()
QUICK = Fan(full_kg_per_s=4.0, rated_kg_per_s=3.0, rated_kW=1.2, lag_s=0.1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A chamber and what it is told. doors: of which bays are open. upset: the lowest air is made so much warmer, K."""

    params: PlantParams
    outputs: Mapping[str, float]
    outdoor: tuple[float, float] = (2.0, 80.0)
    rh_pct: float = 80.0
    doors: tuple[int, ...] = ()
    upset: float = 0.0
    steps: int = 4
    dt_s: float = 1.0


def small(depth: int = 1, fan: Fan = QUICK, heat: object = COIL, fog: object = FINE, vent: Vent = PLAIN) -> PlantParams:
    """Three bays of three levels, equipment to their size."""
    usual, n = PlantParams(), 9 * depth
    return replace(
        usual,
        room=Room(bays=3, levels=3, depth_cells=depth, width_m=5.1, height_m=1.4, dry_air_kg=10.2 * n),
        racks=replace(usual.racks, boards_kg=24600.0 / 72 * 9, steel_kg=15000.0 / 72 * 9),
        product=replace(usual.product, nominal_t=15.0),
        fan=fan, heat=heat, fog=fog, vent=replace(vent, stroke_s=1.0, max_kg_per_s=0.2),
    )  # type: ignore[arg-type]


def ways(pattern: str, depth: int = 1, outlet: tuple[tuple[float, ...], ...] = ()) -> PlantParams:
    """With the fan's air on another way than down from above."""
    return small(depth, fan=replace(QUICK, pattern=pattern, outlet=outlet))  # type: ignore[arg-type]


VENTING = {**FAN, "vent_pct": 60.0}
CASES: dict[str, Case] = {
    "down": Case(params=small(), outputs={**FAN, **HEAT, **BANKS}),
    "in several turns": Case(params=replace(
        small(fan=replace(QUICK, full_kg_per_s=24.0, rated_kg_per_s=18.0)), air=Air(speed_m_per_s_per_kg_per_s=0.01),
    ), outputs={**FAN, "fan_pct": 100.0}),
    "no fan, spray": Case(params=small(), outputs=BANKS, upset=4.0),
    "no fan, a plume": Case(params=small(), outputs=HEAT),
    "little air": Case(params=small(), outputs={"fan_run": 1.0, "fan_pct": 8.0, **HEAT, **BANKS}),
    "up": Case(params=ways("up"), outputs={**FAN, **BANKS}),
    "across": Case(params=ways("across", 2), outputs={**FAN, **BANKS}),
    "outlets": Case(params=ways("down", 3, ((0.0, 1.0, 1.0), (0.0, 0.0, 1.0), (1.0, 1.0, 1.0))), outputs=FAN),
    "recovery": Case(params=small(vent=Vent(recovery_efficiency=0.6)), outputs=VENTING, outdoor=(10.0, 60.0)),
    "recovery, frost": Case(params=small(vent=Vent(recovery_efficiency=0.95, recovery_frost_degC=15.0)),
                            outputs=VENTING, outdoor=(-20.0, 80.0)),
    "dampers, linear": Case(params=small(vent=Vent(characteristic="linear", makeup=Makeup(authority=0.2))),
                            outputs=VENTING),
    "dampers, table": Case(params=small(vent=Vent(
        characteristic="table", table=((0.0, 0.0), (50.0, 20.0), (100.0, 100.0)), leakage_share=0.02,
    )), outputs={**FAN, "vent_pct": 75.0}),
    "dampers, beyond the table": Case(params=small(vent=Vent(characteristic="table", authority=0.6,
                                                             table=((0.0, 0.0), (100.0, 100.0)))),
                                      outputs={**FAN, "vent_pct": 100.0}),
    "dampers, nearly shut": Case(params=small(vent=Vent(leakage_share=0.01)), outputs={**FAN, "vent_pct": 1.0}),
    "dampers, half open": Case(params=small(vent=Vent(leakage_share=0.01)), outputs=VENTING),
    "dampers, shut": Case(params=small(vent=Vent(characteristic="linear", makeup=Makeup(authority=0.2))), outputs=FAN),
    "a door": Case(params=small(), outputs=FAN, doors=(2,)),
    "elements": Case(params=small(heat=Electric(stage_kW=(5.0, 5.0))),
                     outputs={**FAN, "heat_run": 1.0, "stage_1": 1.0}),
    "burner": Case(params=small(heat=Gas(max_kW=10.0, purge_s=1.0, min_off_s=0.0)), outputs={**FAN, **HEAT}, steps=8),
    "steam": Case(params=small(heat=Steam(max_kg_per_h=10.0, stroke_s=1.0, lag_s=0.1), fog=SteamFog(max_kg_per_h=5.0)),
                  outputs={**FAN, **HEAT, "fog_pct": 50.0}),
    "steam, no fan": Case(params=small(heat=Steam(max_kg_per_h=10.0, stroke_s=1.0, lag_s=0.1)), outputs=HEAT),
}  # fmt: skip


def lived(case: Case) -> list[float]:
    """The truth after the steps of a case, then its books."""
    model = Chamber(
        case.params, charge=Charge(tonnes=15.0), weather=Weather.constant(*case.outdoor), seed=1, dt_s=case.dt_s
    )
    model.start(20.0, case.rh_pct)
    if case.upset:
        model.state.air[at.AIR_H, ::3] += case.upset * 1030.0 * model.constants.k[at.K_AIR_KG]
    for bay in case.doors:
        model.set_door(bay, True)
    outputs = [case.outputs.get(name, 0.0) for name in OUTPUTS]
    for _ in range(case.steps):
        model.step(outputs)
    return [*model.truth_row, *model.state.books.tolist()]


def main() -> int:
    """Every case by its name, as JSON."""
    sys.stdout.write(json.dumps({name: lived(case) for name, case in CASES.items()}))
    return 0


if __name__ == "__main__":
    sys.exit(main())
