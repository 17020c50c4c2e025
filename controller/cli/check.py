"""`dewhold check`: are these files right, and do they fit together?"""

from __future__ import annotations

import argparse
import json
import os
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.callout.planfile import read_plan
from controller.cli import check_effects, check_model, check_words
from controller.cli import options as opt
from controller.config import (
    bundle,
    coarse,
    crosschecks,
    endpoints,
    everyday,
    fills,
    guarded,
    kinds,
    loader,
    offsets,
    outlook,
    reach,
    site,
    summary,
    tags,
)
from controller.config.chamber import ChamberFile
from controller.config.filling import load_filling, read_filling
from controller.config.find import FileKind, find, known
from controller.config.loader import Loaded
from controller.config.rules import VerdictRules
from controller.config.weather import read_weather
from controller.core.outlook.diary import Forecast
from controller.core.outlook.forecast import Case, forecast
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import ChamberLimits, Phase, Recipe, band
from controller.errors import ConfigError, Problem
from controller.link.device import Device, absent_checks
from controller.link.layout import require_layout
from controller.report import outlook as forecasts

GOOD, BAD_INPUT = 0, 2
STANDING_AGE_H = 24.0
_SHIPPED: tuple[FileKind, ...] = ("recipe", "mix", "weather", "filling", "faults", "whatif", "plant", "site", "callout")


@dataclass(slots=True)
class Report:
    """What was found: per file its kind, hash and problems; what will not go as asked; the recipes' tables."""

    named: bool = False  # somebody said which chamber is meant
    kinds: dict[str, str] = field(default_factory=dict)
    hashes: dict[str, str] = field(default_factory=dict)
    problems: dict[str, dict[Problem, None]] = field(default_factory=dict)
    incomplete: set[str] = field(default_factory=set)  # good so far, but a file that belongs to it is not
    notes: list[str] = field(default_factory=list)
    recipes: list[Recipe] = field(default_factory=list)
    limits: ChamberLimits = field(default_factory=ChamberLimits)  # of the chamber that recipes must fit
    forecasts: dict[str, tuple[Case, Forecast]] = field(default_factory=dict)  # by name of the recipe
    phases: dict[str, dict[int, str]] = field(default_factory=dict)  # of each recipe: kinds of its phases, from 1
    alone: dict[str, tuple[str, ...]] = field(default_factory=dict)  # notes of devices that no chamber here names
    used: set[str] = field(default_factory=set)  # files that a chamber brought with it
    days: dict[str, everyday.Everyday] = field(default_factory=dict)  # the same for standing climates with a filling

    def good(self, kind: str, file: Loaded[Any]) -> None:
        """A file was read without problems of its own."""
        self.kinds[_shown(file.path)] = kind
        self.hashes[_shown(file.path)] = file.sha256

    def bad(self, kind: str, asked: str, error: ConfigError) -> None:
        """Problems of a file, or of others that belong to it."""
        own = _shown(asked)
        self.kinds[own] = kind
        for problem in error.problems:
            name = _shown(problem.file)
            self.kinds.setdefault(name, "")
            self.problems.setdefault(name, {})[problem] = None
        if own not in self.problems:
            self.incomplete.add(own)

    @property
    def ok(self) -> bool:
        """No problem in any file."""
        return not self.problems


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of `dewhold check`."""
    parser.add_argument("files", nargs="*", metavar="FILE", help="files to check (default: all shipped demo files)")
    parser.add_argument(
        "--chamber", help="what recipes and faults must fit: name or file (default: that among FILE, else demo-north)"
    )
    parser.add_argument(
        "--plant", metavar="FILE", help="its model, which files of faults must fit (default: named like the chamber)"
    )
    parser.add_argument("--mix", default="demo-60", help="mix of the product in it (name or file)")
    opt.add_charge(parser)
    parser.add_argument(
        "--filling", metavar="FILE", help="boards that come and go, in place of --load: file or demo name"
    )
    opt.add_outdoors(parser)
    parser.add_argument("--json", action="store_true", help="print the result as JSON")
    parser.add_argument("--effects", action="store_true", help="print the chamber's table of cause and effect, to sign")


def run(args: argparse.Namespace) -> int:
    """Check the files; 0 when all are right, 2 when one is not."""
    if args.effects:
        check_effects.show(args.files, args.chamber)
        return GOOD
    named, args.chamber = check_effects.meant(args.files, args.chamber)
    report = Report(named=named)
    _require_options(args)
    if args.empty_bay:
        opt.empty_bays(args, loader.read(find("chamber", args.chamber), ChamberFile).value.bays)
    if not args.files:
        for path in _shipped(args.chamber, report):
            _check(path, args, report)
    for name in args.files:
        try:
            targets = check_words.files_of(name)
        except ConfigError as error:
            report.bad("", name, error)
            continue
        for path in targets:
            _check(path, args, report)
    for name in report.alone.keys() - report.used:
        report.notes += [f"{name}: {text}" for text in report.alone[name]]
    if report.used and report.ok:
        report.notes += check_words.unused(report.kinds, report.used)
    print(_as_json(report) if args.json else _as_text(report))
    return GOOD if report.ok else BAD_INPUT


def _require_options(args: argparse.Namespace) -> None:
    """A wrong option is said once, not for every recipe; what is wrong with a file stands under that file."""
    try:
        opt.case_of(args)
    except ConfigError as error:
        if error.problems[0].file == "command line":
            raise


def _shipped(chamber: str, report: Report) -> list[Path]:
    """The chamber in use, and every shipped file of every kind."""
    others = [find("chamber", name) for name in known("chamber") if name != chamber]
    paths = others + [find(kind, name) for kind in _SHIPPED for name in known(kind)]
    paths += check_words.files_of(check_words.VERDICT)
    try:
        return [find("chamber", chamber), *paths]
    except ConfigError as error:
        report.bad("chamber", chamber, error)
        return paths


def _check(path: Path, args: argparse.Namespace, report: Report) -> None:
    """One file, and what it needs to be judged."""
    kind: FileKind | str = ""
    try:
        kind = check_words.VERDICT if path.name == "verdict.toml" else kinds.guess(path)
        if kind == check_words.VERDICT:
            report.good(kind, loader.read(path, VerdictRules))
        elif kind == "chamber":
            _check_chamber(path, report, asked=bool(args.files))
        elif kind == "recipe":
            _check_recipe(path, args, report)
        elif kind == "points":
            report.good(kind, bundle.read_points(path))
        elif kind == "mix":
            report.good(kind, loader.read(path, Mix))
        elif kind == "weather":
            report.good(kind, read_weather(path))
        elif kind == "filling":
            report.good(kind, read_filling(path))
        elif kind == "site":
            report.good(kind, site.read_site(path))
        elif kind == "callout":
            report.good(kind, read_plan(path))
        elif kind == "device":
            _check_device(loader.read(path, Device), report)
        else:
            report.good(kind, check_model.read(kind, path, args, named=report.named))
    except ConfigError as error:
        report.bad(kind, str(path), error)


def _check_chamber(path: Path, report: Report, *, asked: bool) -> None:
    """asked: for this one by name, so that what is left over in its point list is worth a line."""
    place = bundle.load_site(path, device_class=Device, layout=require_layout)
    for kind, file in place.files.items():
        report.good(kind.split()[0], file)
        report.used.add(_shown(file.path))
    name = _shown(place.files["chamber"].path)
    today = datetime.now(UTC).date()
    more = [*offsets.notes(place.chamber.signals, today), *guarded.notes(place.chamber, today)]
    more += coarse.notes(place.chamber.frozen, place.points, _shown(place.files["points"].path))
    report.notes += [f"{name}: {text}" for text in more]
    if asked:
        pulses = [device.pulse.tag for device in place.devices if device.pulse is not None]
        points = _shown(place.files["points"].path)
        report.notes += [f"{points}: {text}" for text in tags.unnamed(place.chamber, place.points, pulses)]
    for kind, file in place.files.items():
        if kind.split()[0] == bundle.DEVICE:
            alone = len(place.devices) == 1
            outputs = any(p.kind in ("AO", "DO") and (alone or p.device == file.value.name) for p in place.points)
            report.notes += [f"{_shown(file.path)}: {text}" for text in absent_checks(file.value, outputs=outputs)]


def _check_device(file: Loaded[Device], report: Report) -> None:
    if found := endpoints.problems([file]):
        raise ConfigError(found)
    report.good("device", file)
    report.alone[_shown(file.path)] = absent_checks(file.value)


def _check_recipe(path: Path, args: argparse.Namespace, report: Report) -> None:
    recipe = loader.read(path, Recipe)
    report.phases[_shown(recipe.path)] = {n: phase.kind for n, phase in enumerate(recipe.value.phases, start=1)}
    place = loader.read(find("chamber", args.chamber), ChamberFile).value
    mix = loader.read(find("mix", args.mix), Mix).value
    problems = crosschecks.recipe_problems(recipe.value, place, recipe.path)
    problems += reach.problems(recipe.value, mix, place, recipe.path)
    if problems:
        raise ConfigError(problems)
    empty = tuple(args.empty_bay)
    case = opt.case_of(args)
    if set(empty) >= set(range(1, place.bays + 1)):
        case = replace(case, load_t=0.0)
    asked, said = recipe.value, list[str]()
    if (standing := everyday.standing_phase(recipe.value)) is not None:
        # no common start: what stands there is as warm as it is kept, and a day old
        case = replace(case, mix_degC=0.5 * sum(band(standing)), age_h=STANDING_AGE_H)
    elif args.filling is not None:
        asked, case, said = fills.filled(asked, load_filling(args.filling), case)
    ahead = forecast(outlook.room(place, empty), asked, mix, case)
    report.recipes.append(recipe.value)
    report.limits = place.limits
    notes = crosschecks.notes(recipe.value, place, case.load_t)
    if standing is None:
        report.forecasts[recipe.value.name] = (case, ahead)
        notes += [*said, *outlook.notes(recipe.value, ahead)]
    else:
        notes += _standing(standing, place, mix, args, case, report, recipe.value.name)
    report.notes += [f"{_shown(recipe.path)}: {text}" for text in notes]
    problems = outlook.problems(recipe.value, place, case, ahead, recipe.path)
    if problems:
        raise ConfigError(problems)
    report.good("recipe", recipe)


def _standing(
    phase: Phase, place: ChamberFile, mix: Mix, args: argparse.Namespace, case: Case, report: Report, name: str
) -> list[str]:
    """The estimate for a standing climate, and what will not go as asked."""
    if args.filling is None:
        return ["a standing climate depends on the boards that come and go: give them with --filling"]
    found = everyday.look_ahead(phase, place, mix, load_filling(args.filling), case.outdoor)
    if found is None:
        return ["nothing comes in by this filling"]
    report.days[name] = found
    return everyday.notes(found)


def _as_json(report: Report) -> str:
    files = [
        {
            "file": name,
            "kind": kind,
            "ok": name not in report.problems and name not in report.incomplete,
            "sha256": report.hashes.get(name),
            "problems": [asdict(problem) for problem in report.problems.get(name, ())],
        }
        for name, kind in report.kinds.items()
    ]
    ahead = {name: forecasts.data(found) for name, (_case, found) in report.forecasts.items()}
    days = {name: everyday.data(found) for name, found in report.days.items()}
    notes = list(dict.fromkeys(report.notes))
    found = {"ok": report.ok, "files": files, "notes": notes, "forecasts": ahead, "standing": days}
    return json.dumps(found, indent=2, allow_nan=False)


def _as_text(report: Report) -> str:
    lines = []
    width = max((len(name) for name in report.kinds), default=0)
    for name, kind in report.kinds.items():
        problems = report.problems.get(name, {})
        verdict = f"{len(problems)} problem{'s' if len(problems) > 1 else ''}" if problems else "OK"
        if name in report.incomplete:
            verdict = "waits for a file that belongs to it"
        lines.append(f"{name:<{width}}  {kind:<8} {verdict}")
        lines += [f"    {line}" for line in check_words.lines(problems, report.phases.get(name, {}))]
    for recipe in report.recipes:
        title = f"{recipe.name}, version {recipe.version}" + (f": {recipe.text}" if recipe.text else "")
        lines += ["", title, summary.table([summary.HEADER, *summary.rows(recipe)])]
        lines += ["", summary.table([summary.UNLOOKED, *summary.unlooked_for(recipe)])]
        lines += ["", *summary.air_found(recipe, report.limits)]
        if recipe.name in report.forecasts:
            case, ahead = report.forecasts[recipe.name]
            lines += ["", forecasts.text(ahead, case)]
        if recipe.name in report.days:
            lines += ["", everyday.text(report.days[recipe.name])]
    if report.notes:
        lines += ["", *(f"note: {text}" for text in dict.fromkeys(report.notes))]
    count, files = sum(len(problems) for problems in report.problems.values()), len(report.kinds)
    lines += ["", f"{count} problem{'s' if count != 1 else ''} in {files} file{'s' if files != 1 else ''}"]
    return "\n".join(lines)


def _shown(path: str) -> str:
    """A path as short as it can be told from here."""
    if "\0" in path:
        return path
    inside = os.path.relpath(os.path.realpath(path))
    return path if inside.startswith("..") else inside
