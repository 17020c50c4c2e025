"""Options that several commands share, and how their texts become what the rig needs."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from controller.config import loader
from controller.config.chamber import ChamberFile
from controller.config.filling import load_filling
from controller.config.find import find, known
from controller.config.weather import load_weather
from controller.core.outlook.forecast import Case
from controller.errors import ConfigError, Problem
from controller.wording.texts import LANGUAGES

if TYPE_CHECKING:
    from controller.rig.plant import Scene

DEMO = {"chamber": "demo-north", "recipe": "gentle", "mix": "demo-60", "plant": "demo-north", "weather": "spring"}


def add_files(parser: argparse.ArgumentParser, *kinds: str) -> None:
    """Options naming config files; a bare name is one of the demo files."""
    for kind in kinds:
        parser.add_argument(
            f"--{kind}", default=DEMO[kind], metavar="FILE", help=f"{kind} file or demo name (default: {DEMO[kind]})"
        )


def add_scene(parser: argparse.ArgumentParser) -> None:
    """Options that say what the simulated chamber is and what happens to it."""
    parser.add_argument(
        "--plant", metavar="FILE", help="plant file or demo name (default: named like the chamber, else demo-north)"
    )
    add_charge(parser)
    parser.add_argument(
        "--filling", metavar="FILE", help="what comes and goes, and when: file or demo name, in place of --load"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the instruments' noise (default: 1)")
    add_outdoors(parser)


def add_charge(parser: argparse.ArgumentParser) -> None:
    """Options that say what stands in the chamber."""
    parser.add_argument(
        "--load", type=float, metavar="TONNES", help="fresh product (default: nominal_t of the chamber file)"
    )
    parser.add_argument("--mix-temperature", type=float, default=20.0, metavar="DEGC", help="of the mix (default: 20)")
    parser.add_argument("--empty-bay", type=int, action="append", default=[], metavar="N", help="bay without product")


def add_outdoors(parser: argparse.ArgumentParser) -> None:
    """Options that say what the outdoor air is."""
    outdoors = parser.add_mutually_exclusive_group()
    outdoors.add_argument("--weather", metavar="FILE", help=f"hourly outdoor air (default: {DEMO['weather']})")
    outdoors.add_argument("--outdoor", metavar="DEGC/RH", help="constant outdoor air, for example 8/80")


def add_language(parser: argparse.ArgumentParser) -> None:
    """In which language report.html is."""
    parser.add_argument(
        "--language", choices=tuple(LANGUAGES), default="en", help="of the report: en (default) or de"
    )


def problem(option: str, value: object, limit: str, remedy: str) -> ConfigError:
    """A wrong option as the error every command knows."""
    return ConfigError([Problem("command line", option, str(value), limit, remedy)])


def within(option: str, value: float, low: float, high: float, unit: str) -> float:
    """The value if it lies in low..high. Raises ConfigError; NaN is refused too."""
    if not low <= value <= high:
        raise problem(option, value, f"must be {low:g} to {high:g} {unit}".rstrip(), "give a value inside these limits")
    return value


def outdoor(text: str) -> tuple[float, float]:
    """ "8/80" -> (8.0 degC, 80.0 %RH). Raises ConfigError."""
    parts = text.split("/")
    try:
        temperature, humidity = (float(part) for part in parts)
    except ValueError:
        raise problem("--outdoor", text, "must be DEGC/RH", "for example --outdoor 8/80") from None
    within("--outdoor", temperature, -40.0, 50.0, "degC")
    within("--outdoor", humidity, 1.0, 100.0, "%RH")
    return temperature, humidity


def outdoor_table(args: argparse.Namespace) -> list[tuple[float, float]]:
    """Outdoor air as (degC, %RH) an hour: the weather file's rows, or the one constant value. Raises ConfigError."""
    if args.outdoor is not None:
        return [outdoor(args.outdoor)]
    return [(row.temperature_degC, row.rh_pct) for row in load_weather(args.weather or DEMO["weather"])]


def case_of(args: argparse.Namespace) -> Case:
    """What a forecast begins with, from these options. Raises ConfigError."""
    return Case(
        load_t=load_of(args),
        mix_degC=within("--mix-temperature", args.mix_temperature, 5.0, 40.0, "degC"),
        outdoor=outdoor_table(args),
    )


def load_of(args: argparse.Namespace) -> float:
    """Tonnes of fresh product, as asked for or as the chamber is made for. Raises ConfigError."""
    chamber = loader.read(find("chamber", args.chamber), ChamberFile).value
    if args.load is None:
        return chamber.temperature.nominal_t
    return within("--load", args.load, 0.0, chamber.load_t_max, "t")


def plant_of(args: argparse.Namespace) -> str:
    """The plant file asked for, or the shipped one that has the name of the chamber, or the demo."""
    if args.plant is not None:
        return str(args.plant)
    name = Path(args.chamber).stem
    return name if name in known("plant") else DEMO["plant"]


def empty_bays(args: argparse.Namespace, bays: int) -> tuple[int, ...]:
    """Bays without product, of a chamber of so many. Raises ConfigError."""
    for bay in args.empty_bay:
        if not 1 <= bay <= bays:
            raise problem("--empty-bay", bay, f"must be 1 to {bays}", f"the chamber has {bays} bays, counted from 1")
    return tuple(args.empty_bay)


def scene_of(args: argparse.Namespace, dt_s: float) -> Scene:
    """The simulated chamber of these options. Raises ConfigError. Needs the packages of the model."""
    from controller.rig.filling import moves
    from controller.rig.plant import scene

    if args.filling is not None and (args.load is not None or args.empty_bay):
        option, value = ("--load", args.load) if args.load is not None else ("--empty-bay", args.empty_bay[0])
        raise problem(option, value, "cannot stand beside --filling, which says what comes", "leave one out")
    if args.empty_bay:
        from controller.rig import modelfiles

        empty_bays(args, modelfiles.read(find("plant", plant_of(args))).value.room.bays)
    return scene(
        plant=plant_of(args),
        tonnes=load_of(args),
        mix_degC=within("--mix-temperature", args.mix_temperature, 5.0, 40.0, "degC"),
        empty_bays=tuple(args.empty_bay),
        outdoor=outdoor_table(args),
        seed=args.seed,
        dt_s=dt_s,
        filling=moves(load_filling(args.filling)) if args.filling is not None else (),
    )


def with_faults(scene: Scene, chamber: str, asked: str | None, hours: float) -> Scene:
    """The scene with the faults asked for. Raises ConfigError when they do not fit the chamber and its panel."""
    if asked is None:
        return scene
    from controller.rig import modelfiles
    from controller.rig.faults.faultfile import faults_of
    from controller.rig.faults.struck import struck_in

    struck = struck_in(chamber, scene.params or modelfiles.read(find("plant", scene.plant)).value)
    return replace(scene, faults=(*scene.faults, *faults_of(asked, struck, hours=hours, dt_s=scene.dt_s)))


def with_what_ifs(scene: Scene, asked: list[str]) -> Scene:
    """The scene with the what-if cases asked for. Raises ConfigError when they do not fit the chamber."""
    from controller.rig.whatif.apply import applied

    return applied(scene, asked)


def without_model(package: str | None) -> str:
    """What to say when the packages of the chamber model are not installed."""
    return f"the chamber model needs the package {package}: install Dewhold with its extra, dewhold[sim]"


def local_time(text: str | None) -> datetime:
    """ISO 8601 local time; without a zone it is taken as UTC. None = a fixed demo day, so that runs repeat."""
    if text is None:
        return datetime(2026, 3, 2, 16, 0, tzinfo=UTC)
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        raise problem("--start", text, "must be a date and time", "for example --start 2026-03-02T16:00") from None
    return when if when.tzinfo else when.replace(tzinfo=UTC)


def out_folder(text: str) -> Path:
    """The folder for results, made when missing. Raises ConfigError when it cannot be."""
    path = Path(text)
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise problem("--out", text, f"cannot be made: {error.strerror}", "name a folder you may write to") from None
    return path
