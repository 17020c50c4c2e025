"""Reads the file that only the chamber model needs: its parameters."""

from __future__ import annotations

from pathlib import Path

from controller.config import loader
from controller.config.loader import Loaded
from plantsim.params import PlantParams


def read(path: Path) -> Loaded[PlantParams]:
    """The parameters in a model file. Raises ConfigError with all its problems."""
    return loader.read(path, PlantParams)
