"""Weather files (configs/weather/*.csv): hourly outdoor air, one row an hour."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from annotated_types import Ge, Le

from controller.config.find import find
from controller.config.loader import Loaded, read_table
from controller.errors import ConfigError, Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherHour:
    """Outdoor air at a full hour, counted from the first row."""

    hour: Annotated[int, Ge(0), Le(100_000)]
    temperature_degC: Annotated[float, Ge(-60), Le(60)]
    rh_pct: Annotated[float, Ge(0), Le(100)]


def load_weather(name: str | Path) -> tuple[WeatherHour, ...]:
    """The rows of a weather file, a demo name or a path. Raises ConfigError."""
    return read_weather(find("weather", name)).value


def read_weather(path: str | Path) -> Loaded[tuple[WeatherHour, ...]]:
    """The rows of a weather file with its hash. Raises ConfigError; an hour left out would shift all that follow."""
    loaded = read_table(path, WeatherHour)
    for number, row in enumerate(loaded.value):
        if row.hour != number:
            limit = f"must be {number}: hours are counted from 0, none left out"
            raise ConfigError([Problem(loaded.path, f"row {number + 1}, hour", str(row.hour), limit, "fill the gap")])
    return loaded
