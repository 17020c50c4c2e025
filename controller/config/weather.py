"""Weather files (configs/weather/*.csv): hourly outdoor air, one row an hour."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from annotated_types import Ge, Le

from controller.config.find import find
from controller.config.loader import load_table


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherHour:
    """Outdoor air at a full hour, counted from the first row."""

    hour: Annotated[int, Ge(0), Le(100_000)]
    temperature_degC: Annotated[float, Ge(-60), Le(60)]
    rh_pct: Annotated[float, Ge(0), Le(100)]


def load_weather(name: str | Path) -> tuple[WeatherHour, ...]:
    """The rows of a weather file, a demo name or a path. Raises ConfigError."""
    return load_table(find("weather", name), WeatherHour)
