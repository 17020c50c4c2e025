"""Reads the files that only the chamber model needs: its parameters and the weather outside."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from controller.config import loader
from controller.config.loader import Loaded
from plantsim.params import PlantParams


def read(kind: str, path: Path) -> Loaded[Any]:
    """A model file or a weather file. Raises ConfigError with all its problems, LookupError for another kind."""
    if kind == "plant":
        return loader.read(path, PlantParams)
    raise LookupError(kind)
