"""The simulated chamber as a device: model, instruments and remote I/O wired after the controller's point list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from controller.config.find import find
from controller.config.loader import load
from controller.core.points import Point
from controller.errors import ConfigError, Problem
from controller.link.device import Device
from controller.link.layout import require_layout
from plantsim.chamber import OUTPUTS, Chamber
from plantsim.charge import Charge
from plantsim.params import PlantParams
from plantsim.remote_io import DeviceMap, RemoteIo, Terminal, Wiring
from plantsim.truth import COLUMNS
from plantsim.weather import Weather


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the simulated chamber is and what happens to it."""

    plant: str = "demo-north"
    charge: Charge
    weather: Weather
    seed: int = 1
    dt_s: float = 1.0


def scene(
    *,
    plant: str = "demo-north",
    tonnes: float = 120.0,
    mix_degC: float = 20.0,
    empty_bays: tuple[int, ...] = (),
    outdoor: Sequence[tuple[float, float]] = ((8.0, 80.0),),
    seed: int = 1,
    dt_s: float = 1.0,
) -> Scene:
    """A scene from plain values. outdoor: (degC, %RH) an hour from the start; a single one is constant."""
    return Scene(
        plant=plant,
        charge=Charge(tonnes=tonnes, mix_degC=mix_degC, empty_bays=empty_bays),
        weather=Weather([temperature for temperature, _ in outdoor], [rh for _, rh in outdoor]),
        seed=seed,
        dt_s=dt_s,
    )


class TruthLog:
    """Keeps the model's truth row of every step. Stands between device and chamber and passes everything on."""

    def __init__(self, chamber: Chamber, steps_max: int) -> None:
        self._chamber = chamber
        self._step = chamber.step
        self._truth = chamber.state.truth  # a live view: the row of the last step
        self.dt_s = chamber.dt_s
        self.rows: NDArray[np.float64] = np.empty((min(steps_max, 86_400), len(COLUMNS)))
        self.steps = 0

    @property
    def microamps(self) -> Sequence[int]:
        """One word per probe, in the order of the plant file."""
        return self._chamber.microamps

    @property
    def contacts(self) -> object:
        """State of every contact of the plant file."""
        return self._chamber.contacts

    def step(self, outputs: Sequence[float], /) -> None:
        """One step of the chamber, its truth kept."""
        self._step(outputs)
        if self.steps == len(self.rows):
            self.rows = np.concatenate([self.rows, np.empty_like(self.rows)])
        self.rows[self.steps] = self._truth
        self.steps += 1

    def known(self) -> NDArray[np.float64]:
        """Truth of every step so far: steps x columns."""
        return self.rows[: self.steps]


@dataclass(frozen=True, slots=True)
class Plant:
    """A simulated chamber, ready to be written and read."""

    params: PlantParams
    chamber: Chamber
    log: TruthLog
    device: RemoteIo


def build(
    scene: Scene, points: tuple[Point, ...], device: Device, *, lockstep: bool, steps_max: int = 86_400
) -> Plant:
    """Put the simulated chamber together. ConfigError when plant file and point list do not fit."""
    path = find("plant", scene.plant)
    params = load(path, PlantParams)
    _check(path, params, points)
    chamber = Chamber(params, charge=scene.charge, weather=scene.weather, seed=scene.seed, dt_s=scene.dt_s)
    chamber.set_spans({point.tag: (point.lo, point.hi) for point in points if point.kind == "AI"})
    log = TruthLog(chamber, steps_max)
    remote = RemoteIo(log, _terminals(points), _device_map(points, device), _wiring(params), lockstep=lockstep)
    return Plant(params, chamber, log, remote)


def _check(path: Path, params: PlantParams, points: tuple[Point, ...]) -> None:
    """Every input of the panel must come from the model and every output must go somewhere known."""
    known = {probe.tag for probe in params.probe} | set(params.contacts)
    listed = {point.tag for point in points}
    problems = [
        Problem(str(path), "probe or contacts", "nothing", f"{point.tag} ({point.text}) is in the point list",
                f"add a [[probe]] or a line in [contacts] for {point.tag}")
        for point in points
        if point.kind in ("AI", "DI") and point.tag not in known
    ]
    problems += [
        Problem(str(path), "probe or contacts", tag, "not in the point list", "add the point or drop this line")
        for tag in sorted(known - listed)
    ]
    problems += [
        Problem(str(path), f"actuators.{name}", tag or "nothing", "must be an output of the point list",
                "name the tag that drives this actuator")
        for name in OUTPUTS
        if (tag := getattr(params.actuators, name)) not in listed
    ]
    if problems:
        raise ConfigError(problems)


def _terminals(points: tuple[Point, ...]) -> tuple[Terminal, ...]:
    return tuple(
        Terminal(p.tag, p.kind, p.address, p.bit, p.raw_lo, p.raw_hi, p.lo, p.hi, p.safe) for p in points
    )


def _wiring(params: PlantParams) -> Wiring:
    return Wiring(
        probes=tuple(probe.tag for probe in params.probe),
        contacts=dict(params.contacts),
        actuators=tuple(getattr(params.actuators, name) for name in OUTPUTS),
    )


def _device_map(points: tuple[Point, ...], device: Device) -> DeviceMap:
    size = require_layout(points, device)
    return DeviceMap(
        input_base=device.input.base,
        input_count=size.input_count,
        output_base=device.output.base,
        output_count=size.output_count,
        signature=device.input.signature or 0,
        map_version=device.input.map_version or 0,
        watchdog_s=device.watchdog.time_s if device.watchdog else 10.0,
    )
