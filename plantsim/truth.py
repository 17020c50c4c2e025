"""The truth of a step: what the model knows and no probe shows. One row of floats, columns below.

Surfaces are numbered boards first (n cells), then envelope skins (n), then door frames (one a bay). Front to back is
the largest difference of air along the depth at one bay and level, 0 where the model has one cell there. The dew margin
is that of the surface nearest to condensing: its temperature less the dew point of the air beside it.
Drying is water leaving the concrete itself, wetting is water arriving at it; both are positive parts, area means.
The mean dew point is the dew point of the mean moisture content.
"settled" leaves out what Chamber.judge says: boards of positions placed lately, air of bays whose door was open lately
(when that is all air, both are its mean). Without such, it is the column of the same name without "settled".
"""

from __future__ import annotations

COLUMNS: tuple[str, ...] = (
    "air_mean_degC",
    "air_min_degC",
    "air_max_degC",
    "rh_mean_pct",
    "rh_min_pct",
    "rh_max_pct",
    "dew_point_mean_degC",
    "board_min_degC",
    "envelope_min_degC",
    "dew_margin_K",
    "dew_margin_surface",
    "board_film_max_kg_per_m2",
    "envelope_film_max_kg_per_m2",
    "product_film_max_kg_per_m2",
    "condensed_product_kg",
    "condensed_board_kg",
    "condensed_envelope_kg",
    "deposited_kg",
    "drying_kg_per_m2h",
    "wetting_kg_per_m2h",
    "core_min_degC",
    "core_mean_degC",
    "core_max_degC",
    "skin_min_degC",
    "skin_max_degC",
    "product_spread_K",
    "equivalent_age_min_h",
    "equivalent_age_mean_h",
    "equivalent_age_max_h",
    "heat_kW",
    "fan_kW",
    "fog_kg_per_h",
    "vent_kg_per_s",
    "vent_loss_kW",
    "carried_kW",
    "flow_kg_per_s",
    "hydration_kW",
    "frame_kW",
    "supply_degC",
    "return_degC",
    "fog_in_air_max_g_per_kg",
    "evaporated_share",
    "product_water_lost_kg",
    "tonnes_inside",
    "settled_board_film_max_kg_per_m2",
    "settled_air_min_degC",
    "settled_air_max_degC",
    "front_to_back_K",
)
COLUMN = {name: i for i, name in enumerate(COLUMNS)}


_ALONG = {1: ("",), 2: (", front", ", back"), 3: (", front", ", middle", ", back")}


def surface_name(index: int, bays: int, levels: int, depth: int = 1) -> str:
    """In words, the surface that `dew_margin_surface` numbers. depth: cells from front to back."""
    n = bays * depth * levels
    if index >= 2 * n:
        return f"door frame bay {index - 2 * n + 1}"
    column, level = divmod(index % n, levels)
    kind = "board" if index < n else "envelope"
    return f"{kind} bay {column // depth + 1} level {level + 1}{_ALONG[depth][column % depth]}"
