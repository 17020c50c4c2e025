"""The [climate] section of a chamber file: which probe is where, how much margin to keep; and what of it counts."""

from __future__ import annotations

from dataclasses import dataclass
from math import nan
from typing import Annotated, Literal

from annotated_types import Ge, Gt, Le, Len

from controller.core.binding import Binder


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """One body that reads both temperature and moisture, and where it hangs.

    t: tag of the temperature.  One of: rh, tag of the relative humidity; wet, of a wet bulb beside it; dew, of a dew
    point.  psychrometer: name of the coefficient for the wet bulb: wmo, ferrel (ventilated, 3 m/s or more),
    aspirated (with a fan of its own, as measured), still (no fan).
    """

    t: str
    rh: str = ""
    wet: str = ""
    dew: str = ""
    psychrometer: Literal["wmo", "ferrel", "aspirated", "still"] = "wmo"
    bay: Annotated[int, Ge(1)]
    level: Annotated[int, Ge(1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardProbe:
    """A contact probe on a board."""

    tag: str
    bay: Annotated[int, Ge(1)]
    level: Annotated[int, Ge(1)] = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameProbe:
    """A contact probe on the door frame of a bay."""

    tag: str
    bay: Annotated[int, Ge(1)]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClimateConfig:
    """Section [climate] of the chamber file.

    pairs: [[climate.pairs]] t, rh (or wet, or dew), bay, level.  boards: [[climate.boards]] tag, bay, level.
    frames: [[climate.frames]] tag, bay.  ceiling, supply, return_air, hall, outdoor_t, outdoor_rh, airflow,
    fan_power, heat_power, fog_flow: tags of AI points.
    margin_K: the dew point stays so far below the coldest watched surface.
    estimated_reserve_K, estimated_lag_h: bottom boards without a probe are the nearest air probe, lagged (at
    lag_flow_kg_per_s; slower air lags longer), minus the reserve. blind_reserve_K: reserve on the coldest air
    when no surface probe is good. disagree_K: an air probe farther from the median of all is left out.
    empty_weight: weight of a probe in an empty bay. pressure_Pa: of the site.
    """

    pairs: Annotated[tuple[Pair, ...], Len(1)]
    boards: tuple[BoardProbe, ...] = ()
    frames: tuple[FrameProbe, ...] = ()
    ceiling: str
    supply: str
    return_air: str
    hall: str
    outdoor_t: str
    outdoor_rh: str
    airflow: str
    fan_power: str
    heat_power: str
    fog_flow: str
    margin_K: Annotated[float, Ge(0.05), Le(3)] = 0.15
    estimated_reserve_K: Annotated[float, Ge(0), Le(3)] = 0.15
    estimated_lag_h: Annotated[float, Gt(0), Le(5)] = 0.7
    lag_flow_kg_per_s: Annotated[float, Gt(0), Le(100)] = 9.0
    blind_reserve_K: Annotated[float, Ge(0), Le(10)] = 1.5
    disagree_K: Annotated[float, Ge(0.5), Le(30)] = 5.0
    empty_weight: Annotated[float, Ge(0), Le(1)] = 0.3
    pressure_Pa: Annotated[float, Ge(60000), Le(110000)] = 101325.0


@dataclass(frozen=True, slots=True)
class Mask:
    """What counts: air pairs and watched surfaces in the order of the climate plan, bays in that of its estimates."""

    pairs: tuple[bool, ...]
    surfaces: tuple[bool, ...]
    bays: tuple[bool, ...]


def counting(mask: tuple[bool, ...], values: tuple[float, ...]) -> tuple[float, ...]:
    """Values that count; NaN in place of the others."""
    return tuple([value if counts else nan for counts, value in zip(mask, values, strict=True)])


def watched_surfaces(
    config: ClimateConfig, binder: Binder, bays: int, levels: int, empty_bays: tuple[int, ...]
) -> list[tuple[int, str, int]]:
    """The measured surfaces: (column, name in words, bay of a board or 0 for what is none)."""
    surfaces: list[tuple[int, str, int]] = []
    for index, board in enumerate(config.boards):
        binder.within(f"boards[{index}].bay", board.bay, bays)
        binder.within(f"boards[{index}].level", board.level, levels)
        column = binder.column(f"boards[{index}].tag", board.tag)
        if board.bay not in empty_bays:
            surfaces.append((column, f"board bay {board.bay} level {board.level}", board.bay))
    for index, frame in enumerate(config.frames):
        binder.within(f"frames[{index}].bay", frame.bay, bays)
        column = binder.column(f"frames[{index}].tag", frame.tag)
        surfaces.append((column, f"door frame bay {frame.bay}", 0))
    surfaces.append((binder.column("ceiling", config.ceiling), "ceiling", 0))
    return surfaces


def nearest(pairs: tuple[Pair, ...], bay: int) -> tuple[int, ...]:
    """Indexes of the air probes by distance from the bottom board of a bay; a bay counts like four levels."""
    return tuple(sorted(range(len(pairs)), key=lambda i: (4 * abs(pairs[i].bay - bay) + pairs[i].level, i)))
