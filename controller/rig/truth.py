"""What was true in the chamber model, as the block `truth` of a summary and as energy and water used."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from controller.report import kpis
from plantsim.books import Books
from plantsim.params import Room
from plantsim.truth import COLUMN, surface_name

Rows = NDArray[np.float64]
WINDOW_S = 600.0  # heating against venting is counted in windows of ten minutes


def block(rows: Rows, dt_s: float, hold: tuple[int, int], band: kpis.Band, room: Room) -> dict[str, Any]:
    """The block `truth`. rows: steps x columns of the model's truth; hold: first step and one past the last."""
    n = len(rows)
    series = kpis.Series(
        dt_s=dt_s,
        hold_from=min(hold[0], n),
        hold_to=min(hold[1], n),
        temperature_mean=column(rows, "air_mean_degC"),
        temperature_min=column(rows, "air_min_degC"),
        temperature_max=column(rows, "air_max_degC"),
        rh_mean=column(rows, "rh_mean_pct"),
        rh_min=column(rows, "rh_min_pct"),
        rh_max=column(rows, "rh_max_pct"),
        dew_point=column(rows, "dew_point_mean_degC"),
        dew_margin=column(rows, "dew_margin_K"),
        surface=[int(index) for index in rows[:, COLUMN["dew_margin_surface"]]],
        surface_names=_surfaces(room),
        drying=(rows[:, COLUMN["drying_kg_per_m2h"]] - rows[:, COLUMN["wetting_kg_per_m2h"]]).tolist(),
        core_max=column(rows, "core_max_degC"),
        product_spread=column(rows, "product_spread_K"),
        age_min=column(rows, "equivalent_age_min_h"),
        age_mean=column(rows, "equivalent_age_mean_h"),
        age_max=column(rows, "equivalent_age_max_h"),
    )
    found = kpis.describe(series, band)
    # drying and wetting are positive parts per place: a mean that nets them would hide a dry top over a wet bottom
    drying = column(rows, "drying_kg_per_m2h")
    found["drying_kg_per_m2h"] = {
        "mean": kpis.digits(kpis.mean(drying), 5), "p95": kpis.digits(kpis.percentile(drying, 95.0), 5)
    }
    found["wetting_kg_per_m2"] = round(float(rows[:, COLUMN["wetting_kg_per_m2h"]].sum()) * dt_s / 3600.0, 4)
    end = rows[-1]
    found["condensate_kg"] = {
        "product": round(float(end[COLUMN["condensed_product_kg"]]), 3),
        "boards": round(float(end[COLUMN["condensed_board_kg"]]), 3),
        "envelope": round(float(end[COLUMN["condensed_envelope_kg"]]), 3),
    }
    found["deposited_kg"] = round(float(end[COLUMN["deposited_kg"]]), 3)
    found["board_film_kg_per_m2_max"] = round(float(rows[:, COLUMN["board_film_max_kg_per_m2"]].max()), 6)
    found["envelope_film_kg_per_m2_max"] = round(float(rows[:, COLUMN["envelope_film_max_kg_per_m2"]].max()), 6)
    return found


def with_product(rows: Rows) -> Rows:
    """The rows until the last board left; all of them where some are still inside."""
    inside = np.flatnonzero(rows[:, COLUMN["tonnes_inside"]] > 0.0)
    return rows[: inside[-1] + 1] if len(inside) else rows


def _surfaces(room: Room) -> list[str]:
    bays, levels, depth = room.bays, room.levels, room.depth_cells
    return [surface_name(i, bays, levels, depth) for i in range(2 * bays * levels * depth + bays)]


def used(rows: Rows, dt_s: float) -> dict[str, dict[str, float]]:
    """Energy by consumer in kWh, water in kg, and heating against venting."""
    hours = dt_s / 3600.0
    heat_kW = rows[:, COLUMN["heat_kW"]]
    loss_kW = rows[:, COLUMN["vent_loss_kW"]]
    window = max(1, round(WINDOW_S / dt_s))
    whole = len(rows) // window * window
    heat = heat_kW[:whole].reshape(-1, window).sum(axis=1) * hours
    loss = np.maximum(loss_kW[:whole], 0.0).reshape(-1, window).sum(axis=1) * hours
    fought = np.minimum(heat, loss)
    return {
        "energy_kWh": {
            "heat": round(float(heat_kW.sum()) * hours, 2),
            "fan": round(float(rows[:, COLUMN["fan_kW"]].sum()) * hours, 2),
            "other": round(float(rows[:, COLUMN["frame_kW"]].sum()) * hours, 2),
        },
        "water_kg": {"fog": round(float(rows[:, COLUMN["fog_kg_per_h"]].sum()) * hours, 2)},
        "fighting": {
            # an hour counts where the lesser of the two is more than a tenth of a kilowatt
            "hours": round(float((fought > 0.1 * WINDOW_S / 3600.0).sum()) * WINDOW_S / 3600.0, 2),
            "kWh": round(float(fought.sum()), 2),
        },
    }


def charges(rows: Rows, books: Books) -> dict[str, Any]:
    """What came and went: tonnes inside, heat and water with it (leaving is negative), and the wettest board but for
    newcomers."""
    # + 0.0: what did not happen is 0.0, not -0.0
    tonnes = rows[:, COLUMN["tonnes_inside"]]
    return {
        "tonnes": {"start": round(float(tonnes[0]), 3), "most": round(float(tonnes.max()), 3),
                   "end": round(float(tonnes[-1]), 3)},
        "energy_kWh": {"in": round(books.charges_in_kWh, 2), "out": round(books.charges_out_kWh, 2) + 0.0},
        "water_kg": {"in": round(books.charges_in_kg, 2), "out": round(books.charges_out_kg, 2) + 0.0},
        "settled_board_film_kg_per_m2_max":
            round(float(rows[:, COLUMN["settled_board_film_max_kg_per_m2"]].max()), 6),
    }  # fmt: skip


def ready_h(rows: Rows, dt_s: float, ready_age_h: float) -> float | None:
    """Hours after the start at which the worst position had the age that counts as ready; None if never."""
    enough = np.flatnonzero(rows[:, COLUMN["equivalent_age_min_h"]] >= ready_age_h)
    return round(float(enough[0]) * dt_s / 3600.0, 2) if len(enough) else None


def column(rows: Rows, name: str) -> list[float]:
    """One column of the truth as a list."""
    values: list[float] = rows[:, COLUMN[name]].tolist()
    return values
