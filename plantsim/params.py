"""Parameters of the chamber model: one class a subject, units in the names, bounds beside them.

The defaults are the demo chamber; configs/plants/*.toml gives every value again with its source. The classes check
nothing by themselves: files are validated where they are read.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len, Lt

Positive = Annotated[float, Gt(0), Lt(1e9)]
NotNegative = Annotated[float, Ge(0), Lt(1e9)]
Share = Annotated[float, Ge(0), Le(1)]
Celsius = Annotated[float, Ge(-40), Le(120)]
Sees = Literal[
    "air", "rh", "board", "frame", "ceiling", "product", "supply", "return", "hall", "outdoor_t", "outdoor_rh",
    "water", "fan_speed", "airflow", "valve", "damper", "heat_kW", "fan_kW", "fog_kg_per_h",
]  # fmt: skip
Condition = Literal[
    "airflow", "fan_runs", "heat_enabled", "door_1_closed", "door_2_closed", "door_3_closed", "door_4_closed",
    "door_5_closed", "door_6_closed", "door_7_closed", "door_8_closed", "estop_healthy", "limiter_healthy",
    "person_healthy", "fog_pressure", "fan_auto", "heat_auto", "fog_auto", "mains",
]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """Inside of the chamber. Cells are bay-major, level 1 is the lowest. The mass of air in a cell is constant."""

    bays: Annotated[int, Ge(1), Le(8)] = 6
    levels: Annotated[int, Ge(2), Le(24)] = 12
    width_m: Positive = 10.2  # across the bays
    depth_m: Positive = 13.0
    height_m: Positive = 5.5
    dry_air_kg: Positive = 734.0
    pressure_Pa: Annotated[float, Ge(60000), Le(110000)] = 101325.0
    leak_kg_per_s: NotNegative = 0.03


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Walls, roof and doors: an inner skin with a film of water on it, and the rest of the wall to the outdoors."""

    U_W_per_m2_K: Annotated[float, Gt(0), Le(5)] = 0.11
    skin_J_per_m2_K: Positive = 3500.0
    inside_m2_K_per_W: Annotated[float, Gt(0), Lt(0.2)] = 0.13  # surface resistance contained in U
    film_hold_kg_per_m2: Positive = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """Door frames, one a bay, beside its middle level: weaker insulation, with trace heating."""

    area_m2: Positive = 2.0
    U_W_per_m2_K: Annotated[float, Gt(0), Le(5)] = 0.5
    skin_J_per_m2_K: Positive = 20000.0
    heating_W: NotNegative = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Floor:
    """Slab under each bay in three layers, insulated towards the ground. Coated: it takes up no water."""

    U_W_per_m2_K: Annotated[float, Gt(0), Le(5)] = 0.2
    layer_m: Positive = 0.05
    conductivity_W_per_m_K: Positive = 2.0
    heat_J_per_m3_K: Positive = 2.07e6
    ground_degC: Celsius = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Racks:
    """Steel racks and production boards, one node a position. Boards scale with the load, racks do not."""

    boards_kg: NotNegative = 24600.0  # at the nominal load
    boards_J_per_kg_K: Positive = 1600.0
    boards_m2_per_position: NotNegative = 19.0  # at the nominal load
    steel_kg: Positive = 15000.0
    steel_J_per_kg_K: Positive = 480.0
    steel_m2_per_position: Positive = 4.0
    film_hold_kg_per_m2: Positive = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """Fresh concrete: a skin and a core a position, water on and in the skin, heat of hydration in both.

    Heat released per kg of cement = heat_J_per_kg * exp(-(tau_h / te)^shape), te = equivalent age at 20 degC.
    """

    nominal_t: Positive = 120.0
    m2_per_position: Positive = 22.5  # at the nominal load
    heat_J_per_kg_K: Positive = 1000.0
    skin_share: Annotated[float, Gt(0), Lt(1)] = 0.35
    skin_to_core_W_per_m2_K: Positive = 64.0
    water_activity: Annotated[float, Gt(0), Le(1)] = 0.98
    wetted_fraction: Share = 0.2
    water_kg_per_kg: Annotated[float, Gt(0), Lt(0.2)] = 0.06  # mix water within reach of the surface, of the skin
    film_hold_kg_per_m2: Positive = 0.6
    film_full_kg_per_m2: Positive = 0.05  # from here on the film covers the whole surface
    absorb_s: Positive = 1800.0  # time constant with which the film is sucked in
    cement_share: Annotated[float, Ge(0), Lt(0.5)] = 0.152
    hydration_J_per_kg: NotNegative = 346700.0
    tau_h: Positive = 21.86
    shape: Annotated[float, Gt(0), Lt(3)] = 0.946
    activation_J_per_mol: Positive = 38300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Air:
    """How air moves between cells and along surfaces."""

    still_exchange_kg_per_s: NotNegative = 0.02  # vertical, fans off, before stability damps it
    jet_exchange: NotNegative = 3.0  # vertical exchange per kg/s through the bay
    side_exchange_kg_per_s: NotNegative = 0.05
    side_jet_exchange: NotNegative = 1.0
    opening_m: Positive = 1.7  # horizontal opening through which unstable layers overturn
    speed_m_per_s_per_kg_per_s: NotNegative = 0.2
    speed_still_m_per_s: Positive = 0.05
    film_W_per_m2_K: Positive = 4.0  # heat transfer coefficient = this + next * air speed
    film_W_per_m2_K_per_m_per_s: NotNegative = 4.0
    plumes: Annotated[int, Ge(1), Le(8)] = 1  # warm columns that the coil sends up when the fan stands
    plume_below_kg_per_s: Positive = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """Circulating fan: flow with speed, power with its cube, all of it heat in the air."""

    full_kg_per_s: Positive = 12.0
    rated_kg_per_s: Positive = 9.0
    rated_kW: Positive = 4.0
    lag_s: Positive = 8.0
    bay_share: Annotated[tuple[Positive, ...], Len(0, 8)] = ()  # relative flow of each bay; empty = all alike
    proven_kg_per_s: Positive = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Coil:
    """Hot-water coil behind an equal-percentage valve."""

    max_kW: Positive = 60.0
    water_degC: Celsius = 70.0
    air_degC: Celsius = 30.0  # at which max_kW is given with the valve open
    UA_kW_per_K: Positive = 1.65
    draught_kg_per_s: Positive = 3.0  # air that the warm coil draws through itself with the fan off
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Positive = 90.0
    lag_s: Positive = 45.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Vent:
    """Exhaust fan and damper at the return; as much outdoor air enters at the plenum."""

    max_kg_per_s: NotNegative = 1.0
    rangeability: Annotated[float, Gt(1), Le(200)] = 50.0
    authority: Annotated[float, Gt(0), Le(1)] = 0.5
    stroke_s: Positive = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Fog:
    """Two nozzle banks in the plenum. Droplets that have not evaporated before they land wet what is below."""

    bank_a_kg_per_h: NotNegative = 15.0
    bank_b_kg_per_h: NotNegative = 45.0
    water_degC: Celsius = 15.0
    line_delay_s: Annotated[float, Ge(0), Le(60)] = 3.0
    droplet_um: Annotated[float, Ge(1), Le(500)] = 20.0
    fall_m: Positive = 2.0
    settle_droplet_um: Annotated[float, Ge(0.1), Le(100)] = 10.0  # fog that hangs in the cells
    land_levels: Positive = 3.0  # e-folding depth, in levels from the top, over which droplets land
    land_product: Share = 0.5
    land_boards: Share = 0.45


@dataclass(frozen=True, slots=True, kw_only=True)
class Limiter:
    """Hard-wired high limiter in the supply air: cuts heat and opens the exhaust damper until it is reset by hand."""

    trip_degC: Celsius = 55.0
    reset_below_degC: Celsius = 45.0
    lag_s: Positive = 20.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hall:
    """Air in front of the doors, and the door openings."""

    degC: Celsius = 18.0
    rh_pct: Annotated[float, Ge(0), Le(100)] = 50.0
    door_width_m: Positive = 1.6
    door_height_m: Positive = 5.0
    discharge: Annotated[float, Gt(0), Le(1)] = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """State when the chamber has just been filled: everything at mix temperature."""

    rh_pct: Annotated[float, Ge(0), Le(100)] = 92.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One analog channel: what it sees and where, time constant, noise (one standard deviation) and constant error.

    bay, level: from 1, where they matter. noise and offset in the probe's own unit.
    """

    tag: str
    sees: Sees
    bay: Annotated[int, Ge(0), Le(8)] = 0
    level: Annotated[int, Ge(0), Le(24)] = 0
    lag_s: NotNegative = 0.0
    noise: NotNegative = 0.0
    offset: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Actuators:
    """Tag of the point that drives each output, in the order of plantsim.chamber.OUTPUTS."""

    fan_run: str = ""
    fan_pct: str = ""
    heat_run: str = ""
    valve_pct: str = ""
    vent_pct: str = ""
    fog_a: str = ""
    fog_b: str = ""
    frame_heat: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlantParams:
    """A whole chamber model. probe: in the order of Chamber.microamps; contacts: tag -> condition."""

    name: str = "demo-north"
    room: Room = Room()
    envelope: Envelope = Envelope()
    frames: Frames = Frames()
    floor: Floor = Floor()
    racks: Racks = Racks()
    product: Product = Product()
    air: Air = Air()
    fan: Fan = Fan()
    coil: Coil = Coil()
    vent: Vent = Vent()
    fog: Fog = Fog()
    limiter: Limiter = Limiter()
    hall: Hall = Hall()
    start: Start = Start()
    probe: tuple[Probe, ...] = ()
    contacts: dict[str, Condition] = field(default_factory=dict)
    actuators: Actuators = Actuators()
