"""All files of one run together: chamber, points, device, recipe and mix, loaded and held against each other.

    bundle = load_bundle("demo-north", "gentle", "demo-60", device_class=Device, layout=require_layout)

The device's class and the judge of its layout are handed in: they live in the link room, which stands above this one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any, Generic, TypeVar

from controller.config import crosschecks, endpoints, guarded, loader, pointlist, reach, tags
from controller.config.chamber import ChamberFile
from controller.config.find import find
from controller.config.loader import Loaded
from controller.core.points import Point
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe
from controller.errors import ConfigError, Problem

D = TypeVar("D")
T = TypeVar("T")
Points = tuple[Point, ...]
DEVICE = "device"  # kind of its file; of one among several: "device NAME"


@dataclass(frozen=True, slots=True)
class Site(Generic[D]):
    """Valid files that fit together and stay while recipes change. `files`: path, text and SHA-256 by kind; several
    devices are "device NAME" there."""

    chamber: ChamberFile
    points: Points
    devices: tuple[D, ...]
    files: dict[str, Loaded[Any]]

    @property
    def device(self) -> D:
        """The only device, or the first one."""
        return self.devices[0]


@dataclass(frozen=True, slots=True)
class Bundle(Site[D]):
    """A site with a recipe and a mix that it may run. `notes`: what will not go as asked, a sentence each."""

    recipe: Recipe
    mix: Mix
    notes: tuple[str, ...]


def load_bundle(
    chamber: str | Path,
    recipe: str | Path,
    mix: str | Path,
    *,
    device_class: type[D],
    layout: Callable[[Points, D], object],
) -> Bundle[D]:
    """Load and cross-check everything of a run; names or paths as in `find`.

    layout: raises ConfigError when points do not fit a device; given all points when there is but one device, else
    those that name the device. Raises ConfigError with all problems of all files.
    """
    found: list[Problem] = []
    files = _site_files(chamber, device_class, layout, found)
    _add(files, found, "recipe", lambda: loader.read(find("recipe", recipe), Recipe))
    _add(files, found, "mix", lambda: loader.read(find("mix", mix), Mix))
    if "chamber" in files and "recipe" in files:
        asked = files["recipe"]
        found += crosschecks.recipe_problems(asked.value, files["chamber"].value, asked.path)
        if "mix" in files:
            found += reach.problems(asked.value, files["mix"].value, files["chamber"].value, asked.path)
    if found:
        raise ConfigError(found)
    value = _values(files)
    notes = tuple(crosschecks.notes(value["recipe"], value["chamber"]))
    return Bundle(**value, files=files, notes=notes)


def exchange(bundle: Bundle[D], recipe: Loaded[Recipe] | None, mix: Loaded[Mix] | None) -> Bundle[D]:
    """The same site with another recipe, another mix or both, held against it as `load_bundle` does.

    Raises ConfigError.
    """
    files = dict(bundle.files)
    if recipe is not None:
        files["recipe"] = recipe
    if mix is not None:
        files["mix"] = mix
    asked, concrete = files["recipe"].value, files["mix"].value
    found = crosschecks.recipe_problems(asked, bundle.chamber, files["recipe"].path)
    found += reach.problems(asked, concrete, bundle.chamber, files["recipe"].path)
    if found:
        raise ConfigError(found)
    notes = tuple(crosschecks.notes(asked, bundle.chamber))
    return replace(bundle, recipe=asked, mix=concrete, files=files, notes=notes)


def load_site(chamber: str | Path, *, device_class: type[D], layout: Callable[[Points, D], object]) -> Site[D]:
    """As `load_bundle`, without a recipe and a mix."""
    found: list[Problem] = []
    files = _site_files(chamber, device_class, layout, found)
    if found:
        raise ConfigError(found)
    return Site(**_values(files), files=files)


def read_points(path: str | Path) -> Loaded[Points]:
    """A point list without clashes. Raises ConfigError."""
    loaded = loader.read_table(path, Point)
    found = pointlist.problems(loaded.value, loaded.path)
    if found:
        raise ConfigError(found)
    return loaded


def _site_files(
    chamber: str | Path, device_class: type[D], layout: Callable[[Points, D], object], found: list[Problem]
) -> dict[str, Loaded[Any]]:
    """Chamber, points and device, as far as they could be loaded; what is wrong is added to `found`."""
    files: dict[str, Loaded[Any]] = {}
    _add(files, found, "chamber", lambda: loader.read(find("chamber", chamber), ChamberFile))
    if "chamber" not in files:
        return files
    here = files["chamber"]
    beside, wanted = Path(here.path), here.value
    found += crosschecks.chamber_problems(wanted, here.path)
    _add(files, found, "points", lambda: read_points(find("points", wanted.points, beside=beside)))
    devices: list[tuple[str, str]] = []
    for name in wanted.device_names if wanted.device or wanted.devices else ():
        kind = f"{DEVICE} {Path(name).stem}" if wanted.devices else DEVICE
        devices.append((kind, name))
        _add(files, found, kind, partial(_read_device, name, beside, device_class))
    if "points" in files:
        found += tags.problems(wanted, files["points"].value, here.path, files["points"].path)
    if "points" in files and not found:  # only where every tag is there can be asked what stands on it
        found += guarded.problems(wanted, files["points"].value, here.path, files["points"].path)
    if "points" in files and devices and all(kind in files for kind, _ in devices):
        found += _layouts(layout, files["points"], [files[kind] for kind, _ in devices])
    return files


def _read_device(name: str, beside: Path, device_class: type[D]) -> Loaded[D]:
    return loader.read(find("device", name, beside=beside), device_class)


def _values(files: dict[str, Loaded[Any]]) -> dict[str, Any]:
    """Contents by field of a site or bundle."""
    value = {kind: file.value for kind, file in files.items() if kind.split()[0] != DEVICE}
    return {**value, "devices": tuple(file.value for kind, file in files.items() if kind.split()[0] == DEVICE)}


def _add(files: dict[str, Loaded[Any]], found: list[Problem], kind: str, read: Callable[[], Loaded[Any]]) -> None:
    """Load one file into `files`, or its problems into `found`."""
    try:
        files[kind] = read()
    except ConfigError as error:
        found += error.problems


def _layouts(
    layout: Callable[[Points, D], object], points: Loaded[Points], devices: list[Loaded[D]]
) -> list[Problem]:
    """What the layout of each device says against its points, with the name of their file."""
    names = [str(getattr(device.value, "name", "")) for device in devices]
    found = endpoints.problems(devices)
    if found:
        return found  # every point of either would be a problem of its own
    if len(devices) > 1:
        for point in points.value:
            if point.device not in names:
                limit = f"must be {' or '.join(names)}"
                remedy = "name a device of the chamber file"
                found.append(Problem(points.path, f"{point.tag}.device", point.device, limit, remedy))
    for name, device in zip(names, devices, strict=True):
        mine = points.value if len(devices) == 1 else tuple(p for p in points.value if p.device == name)
        try:
            layout(mine, device.value)
        except ConfigError as error:
            found += [Problem(points.path, p.field, p.value, p.limit, p.remedy) for p in error.problems]
    return found
