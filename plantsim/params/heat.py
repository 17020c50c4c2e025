"""The source of heat, in four kinds, and the hard-wired limiter behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len

from plantsim.params.bounds import Celsius, Fails, NotNegative, Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """Hot-water coil behind an equal-percentage valve.

    play_pct: dead band of the drive's linkage. stiction_pct: how far stem and drive come apart before the stem jumps.
    leak_share: of the full flow, past a shut valve; it flows with the pump off too.
    """

    kind: Literal["water"] = "water"
    max_kW: Annotated[float, Ge(0.1), Le(2000)] = 60.0
    water_degC: Celsius = 70.0
    air_degC: Celsius = 30.0  # at which max_kW is given with the valve open
    UA_kW_per_K: Annotated[float, Ge(0.001), Le(100)] = 1.65
    draught_kg_per_s: Annotated[float, Ge(0.01), Le(100)] = 3.0  # what the warm coil draws by itself, fan off
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Annotated[float, Ge(1), Le(600)] = 90.0
    lag_s: Annotated[float, Ge(0.1), Le(3600)] = 45.0
    play_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    stiction_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    leak_share: Share = 0.0
    fails: Fails = "shut"


@dataclass(frozen=True, slots=True, kw_only=True)
class Electric:
    """Electric elements in the air stream, in stages behind one main contactor. They keep their heat.

    rise_K: elements over air with all stages on and the fan at its rated flow. lag_s: time constant there.
    draught_kg_per_s: air that the hot elements draw past themselves with the fan off.
    """

    kind: Literal["electric"] = "electric"
    stage_kW: Annotated[tuple[NotNegative, ...], Len(1, 4)] = (15.0, 15.0, 15.0, 15.0)
    rise_K: Annotated[float, Ge(10), Le(800)] = 250.0
    lag_s: Annotated[float, Ge(0.1), Le(3600)] = 60.0
    draught_kg_per_s: Annotated[float, Ge(0.01), Le(100)] = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas:
    """Gas heater whose flue gas does not meet the air, with a burner control of its own.

    The burner purges, burns at least min_on_s, rests at least min_off_s, and never burns below its minimum fire.
    max_kW: heat into the exchanger at full fire; the gas holds max_kW / efficiency. rise_K, lag_s,
    draught_kg_per_s: of the exchanger, as with electric elements.
    """

    kind: Literal["gas"] = "gas"
    max_kW: Annotated[float, Ge(0.1), Le(2000)] = 60.0
    efficiency: Annotated[float, Gt(0), Le(1)] = 0.9
    min_fire_share: Annotated[float, Gt(0), Le(1)] = 0.3
    purge_s: Annotated[float, Ge(0), Le(600)] = 30.0
    min_on_s: Annotated[float, Ge(0), Le(3600)] = 120.0
    min_off_s: Annotated[float, Ge(0), Le(3600)] = 120.0
    rise_K: Annotated[float, Ge(10), Le(800)] = 150.0
    lag_s: Annotated[float, Ge(0.1), Le(3600)] = 400.0
    draught_kg_per_s: Annotated[float, Ge(0.01), Le(100)] = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Steam:
    """Live steam blown into the plenum through an equal-percentage valve: heat and water together.

    wet_share: of its mass that arrives as water at 100 degC. For play, stiction, leak and fails see Coil.
    """

    kind: Literal["steam"] = "steam"
    max_kg_per_h: Annotated[float, Ge(0.1), Le(5000)] = 80.0
    J_per_kg: Annotated[float, Ge(2e6), Le(3e6)] = 2675.5e3
    water_J_per_kg: Annotated[float, Ge(0), Le(1e6)] = 419.1e3
    wet_share: Share = 0.0
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.9
    stroke_s: Annotated[float, Ge(1), Le(600)] = 30.0
    lag_s: Annotated[float, Ge(0.1), Le(3600)] = 5.0
    play_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    stiction_pct: Annotated[float, Ge(0), Le(50)] = 0.0
    leak_share: Share = 0.0
    fails: Fails = "shut"


Heat = Coil | Electric | Gas | Steam


@dataclass(frozen=True, slots=True, kw_only=True)
class Limiter:
    """Hard-wired high limiter in the supply air: cuts heat and opens the exhaust damper until it is reset by hand.

    Behind elements or a gas exchanger it sits close to them and feels the air that leaves them.
    """

    trip_degC: Celsius = 55.0
    reset_below_degC: Celsius = 45.0
    lag_s: Annotated[float, Ge(0.1), Le(3600)] = 20.0
