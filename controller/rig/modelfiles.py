"""Reads the file that only the chamber model needs: its parameters."""

from __future__ import annotations

from pathlib import Path

from controller.config import loader
from controller.config.loader import Loaded
from controller.errors import ConfigError, Problem
from plantsim.params import PlantParams
from plantsim.params.probechecks import contradictions


def read(path: Path) -> Loaded[PlantParams]:
    """The parameters in a model file. Raises ConfigError with all its problems, or with all that contradicts itself in
    the probes of one that has none.
    """
    loaded = loader.read(path, PlantParams)
    wrong = contradictions(loaded.value)
    if wrong:
        raise ConfigError([Problem(str(path), *one) for one in wrong])
    return loaded
