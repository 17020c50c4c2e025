"""Small chambers in which only one thing happens, for which a closed form is known."""

from __future__ import annotations

from dataclasses import replace

from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.kernel import layout as at
from plantsim.kernel.moistair import enthalpy, humidity_ratio, psat
from plantsim.params import Air, Envelope, Fan, Floor, Fog, Frames, PlantParams, Racks, Room, Start
from plantsim.weather import Weather

PA = 101325.0
IDLE = (0.0,) * 8
EMPTY = Charge(tonnes=0.0, mix_degC=20.0)
NOTHING = 1e-12


def only_air(bays: int = 1, levels: int = 2, cell_kg: float = 10.2) -> PlantParams:
    """No heat or vapour to any surface, no leak, no exchange between cells; what a check needs it adds."""
    return PlantParams(
        room=Room(bays=bays, levels=levels, leak_kg_per_s=0.0, dry_air_kg=cell_kg * bays * levels),
        air=Air(
            film_W_per_m2_K=NOTHING, film_W_per_m2_K_per_m_per_s=0.0, still_exchange_kg_per_s=0.0, jet_exchange=0.0,
            side_exchange_kg_per_s=0.0, side_jet_exchange=0.0, opening_m=1e-9,
        ),
        fan=Fan(rated_kW=NOTHING, lag_s=1e-6),
        fog=Fog(line_delay_s=0.0),
        frames=Frames(area_m2=NOTHING),
        racks=Racks(steel_kg=1.0, steel_m2_per_position=NOTHING),
        start=Start(rh_pct=50.0),
    )  # fmt: skip


def only_walls(U_W_per_m2_K: float, film_W_per_m2_K: float) -> PlantParams:
    """Air and envelope: nearly no floor, frame, leak or product. One bay, two levels, 5 m high, 10 m x 10 m."""
    return replace(
        only_air(cell_kg=350.0),
        room=Room(bays=1, levels=2, width_m=10.0, depth_m=10.0, height_m=5.0, leak_kg_per_s=0.0, dry_air_kg=700.0),
        air=Air(film_W_per_m2_K=film_W_per_m2_K, film_W_per_m2_K_per_m_per_s=0.0),
        envelope=Envelope(U_W_per_m2_K=U_W_per_m2_K),
        floor=Floor(U_W_per_m2_K=1e-9, heat_J_per_m3_K=1e4),
    )


def chamber(
    params: PlantParams,
    *,
    charge: Charge = EMPTY,
    outdoor: tuple[float, float] = (20.0, 50.0),
    dt_s: float = 1.0,
    seed: int = 1,
) -> Chamber:
    """A chamber of these parameters under constant outdoor air (degC, %RH)."""
    return Chamber(params, charge=charge, weather=Weather.constant(*outdoor), seed=seed, dt_s=dt_s)


def live(model: Chamber, seconds: float, outputs: tuple[float, ...] = IDLE) -> Chamber:
    """Steps for so long with these outputs."""
    for _ in range(round(seconds / model.dt_s)):
        model.step(outputs)
    return model


def moisture(t_degC: float, rh_pct: float) -> float:
    """Moisture content of air at sea level, kg/kg."""
    return float(humidity_ratio(rh_pct / 100.0 * psat(t_degC), PA))


def set_cell(model: Chamber, i: int, t_degC: float, W: float, fog: float = 0.0) -> None:
    """Give one cell a state of its own."""
    M, air = float(model.constants.k[at.K_AIR_KG]), model.state.air
    air[at.AIR_T, i], air[at.AIR_W, i], air[at.AIR_FOG, i] = t_degC, W, fog
    air[at.AIR_H, i], air[at.AIR_WATER, i] = M * enthalpy(t_degC, W, fog), M * (W + fog)
    air[at.AIR_RH, i] = W / moisture(t_degC, 100.0)
    if fog > 0.0:
        model.state.gear[at.G_FOGGY] = 1.0
