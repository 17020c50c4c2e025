"""The simulated chamber as a device: model, instruments and remote I/O wired after the controller's point list."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from controller.config.find import find
from controller.core.points import Point
from controller.errors import ConfigError, Problem
from controller.link.blocks import is_plain
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.rig import modelfiles
from controller.rig.field import behind, field_devices
from controller.rig.filling import told
from controller.rig.whatif.told import Told, in_short
from plantsim.chamber import Chamber
from plantsim.charge import Charge
from plantsim.faults import Fault, Faulted, in_chamber
from plantsim.field import FieldDevice
from plantsim.filling import Filling, impossible
from plantsim.memory import Memory
from plantsim.pack.common import MisfitError
from plantsim.pack.mixes import concretes
from plantsim.params import PlantParams
from plantsim.remote_io import ChamberLike, DeviceMap, RemoteIo, Terminal
from plantsim.terminals import wiring_of
from plantsim.truth import COLUMNS
from plantsim.weather import Weather


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What the simulated chamber is and what happens to it. params: in place of those of the plant file.

    charge: what stands in it at the start, and what the controller is told. With a filling the chamber begins empty,
    at empty_degC (that of the charge when None), and the charge is only told. faults: of every room; those of the
    wire and of people are the business of whoever links and commands it.
    what_if: the cases that made it other than its plant file says, already applied.
    moment: of a chamber of the same making, from which this one goes on.
    """

    plant: str = "demo-north"
    params: PlantParams | None = None
    charge: Charge
    weather: Weather
    seed: int = 1
    dt_s: float = 1.0
    filling: Filling = ()
    empty_degC: float | None = None
    faults: tuple[Fault, ...] = ()
    what_if: tuple[Told, ...] = ()
    moment: Memory | None = None

    @property
    def at_start(self) -> Charge:
        """What stands in the chamber before the first step."""
        if not self.filling:
            return self.charge
        degC = self.charge.mix_degC if self.empty_degC is None else self.empty_degC
        return replace(self.charge, tonnes=0.0, mix_degC=degC, empty_bays=())


def scene(
    *,
    plant: str = "demo-north",
    tonnes: float = 120.0,
    mix_degC: float = 20.0,
    empty_bays: tuple[int, ...] = (),
    outdoor: Sequence[tuple[float, float]] = ((8.0, 80.0),),
    seed: int = 1,
    dt_s: float = 1.0,
    params: PlantParams | None = None,
    filling: Filling = (),
) -> Scene:
    """A scene from plain values. outdoor: (degC, %RH) an hour from the start; a single one is constant.

    filling: what comes and goes; then the chamber begins empty at mix_degC, and the controller is told of tonnes and
    temperature of the filling. params: of the chamber model, in place of those of the plant file.
    """
    return Scene(
        plant=plant,
        params=params,
        charge=told(filling) if filling else Charge(tonnes=tonnes, mix_degC=mix_degC, empty_bays=empty_bays),
        weather=Weather([temperature for temperature, _ in outdoor], [rh for _, rh in outdoor]),
        seed=seed,
        dt_s=dt_s,
        filling=filling,
        empty_degC=mix_degC,
    )


class TruthLog:
    """Keeps the model's truth row of every step. Stands between device and chamber and passes everything on.

    microamps: one word per probe, in the order of the plant file. contacts: state of every contact. After each step.
    """

    def __init__(self, chamber: Chamber | Faulted, steps_max: int) -> None:
        self._chamber = chamber
        self._step = chamber.step
        self._truth = chamber.state.truth  # a live view: the row of the last step
        self.dt_s = chamber.dt_s
        self.rows: NDArray[np.float64] = np.empty((min(steps_max, 86_400), len(COLUMNS)))
        self.steps = 0
        self._read()

    def set_spans(self, spans: Mapping[str, tuple[float, float]], /) -> None:
        """Which values the transmitters show as 4 and 20 mA."""
        self._chamber.set_spans(spans)
        self._read()

    def compile(self) -> None:
        """Have everything compiled before the first step; no step is lived."""
        self._chamber.compile()
        self._read()

    def _read(self) -> None:
        chamber = self._chamber
        self.microamps: Sequence[int] = chamber.microamps
        self.contacts: object = chamber.contacts

    def step(self, outputs: Sequence[float], /) -> None:
        """One step of the chamber, its truth kept."""
        self._step(outputs)
        self._read()
        if self.steps == len(self.rows):
            self.rows = np.concatenate([self.rows, np.empty_like(self.rows)])
        self.rows[self.steps] = self._truth
        self.steps += 1

    def take(self) -> NDArray[np.float64]:
        """Truth of the steps since the last call, and forget it: steps x columns. For a model that runs for ever."""
        rows = self.rows[: self.steps].copy()
        self.steps = 0
        return rows

    def known(self) -> NDArray[np.float64]:
        """Truth of every step so far: steps x columns."""
        return self.rows[: self.steps]


@dataclass(frozen=True, slots=True)
class Plant:
    """A simulated chamber, ready to be written and read. field: the devices of a panel of several, in their order;
    behind them stands `device`. Empty when `device` is the panel.
    """

    params: PlantParams
    chamber: Chamber
    log: TruthLog
    device: RemoteIo
    field: tuple[FieldDevice, ...] = ()


def build(
    scene: Scene,
    points: tuple[Point, ...],
    device: Device | tuple[Device, ...],
    *,
    lockstep: bool,
    steps_max: int = 86_400,
    around: Callable[[TruthLog], ChamberLike] = lambda log: log,
) -> Plant:
    """Put the simulated chamber together. ConfigError when plant file and point list do not fit.

    device: one, or the several of a panel. around: what the device gets in place of the log, to look on.
    """
    devices = device if isinstance(device, tuple) else (device,)
    panel = len(devices) > 1 or not is_plain(points, devices[0])
    path = find("plant", scene.plant)
    params = scene.params or modelfiles.read(path).value
    name = str(path) + (f" with --what-if {in_short(scene.what_if)}" if scene.what_if else "")
    _require_possible(scene.filling, params, name)
    chamber = _chamber(scene, params, name)
    if scene.moment is not None:
        chamber.recall(scene.moment)
    inside = [fault for fault in scene.faults if in_chamber(fault)]
    log = TruthLog(Faulted(chamber, inside) if inside else chamber, steps_max)
    try:
        if panel:
            terminals, device_map = behind(points, devices)
        else:
            terminals, device_map = _terminals(points), _device_map(points, devices[0])
        remote = RemoteIo(around(log), terminals, device_map, wiring_of(params), lockstep=lockstep)
    except ValueError as error:
        raise ConfigError(_misfits(str(path), str(error))) from None
    return Plant(params, chamber, log, remote, field_devices(remote, points, devices) if panel else ())


def _misfits(file: str, said: str) -> list[Problem]:
    """Problems of a model file that does not fit a point list, from the lines in which the device says so."""
    lines = [line for line in said.splitlines() if not line.endswith(":")]  # one that ends so is their heading
    remedy = "name it in both, in this file and in the point list, or in none"
    parts = [line.split(": ", 1) if ": " in line else ["the point list", line] for line in lines]
    return [Problem(file, "probe, contacts, actuators", tag, limit, remedy) for tag, limit in parts]


def _require_possible(filling: Filling, params: PlantParams, file: str) -> None:
    """ConfigError with every move that this chamber model cannot make."""
    room = params.room
    wrong = [said.split(": ", 1) for said in impossible(filling, room.bays, room.levels, (), concretes(params))]
    if wrong:
        remedy = "mend the filling, or give the model (--plant) what it needs"
        raise ConfigError([Problem(file, "filling", move, limit, remedy) for move, limit in wrong])


def _chamber(scene: Scene, params: PlantParams, name: str) -> Chamber:
    """The chamber model; what contradicts itself or asks for what is not there is a problem of its file."""
    try:
        return Chamber(
            params,
            charge=scene.at_start,
            weather=scene.weather,
            seed=scene.seed,
            dt_s=scene.dt_s,
            filling=scene.filling,
        )
    except MisfitError as misfit:
        problem = Problem(name, misfit.field, misfit.value, misfit.limit, misfit.remedy)
        raise ConfigError([problem]) from None
    except ValueError as error:  # a bay, a probe or a mix that this chamber does not have
        remedy = "correct the plant file, or the options that say what stands in the chamber"
        raise ConfigError(
            [Problem(name, "chamber model", "as asked for", line, remedy) for line in str(error).splitlines()]
        ) from None


def _terminals(points: tuple[Point, ...]) -> tuple[Terminal, ...]:
    return tuple(
        Terminal(p.tag, p.kind, p.address, p.bit, p.raw_lo, p.raw_hi, p.lo, p.hi, p.safe) for p in points
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
