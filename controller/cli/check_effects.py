"""`dewhold check --effects`: the table of cause and effect of the chamber that is meant; and which one that is."""

from __future__ import annotations

from controller.cli import check_words
from controller.cli import options as opt
from controller.config import bundle, kinds
from controller.config.find import find, known
from controller.core.protection import protection
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout
from controller.report import effects, watching


def meant(files: list[str], chamber: str | None) -> tuple[bool, str]:
    """Whether somebody named it, and the chamber that recipes and faults are held against: the one asked for, else the
    only one among the files, else the demo. A file that is no chamber, or cannot be read, is left to who checks it."""
    if chamber is not None:
        return True, chamber
    given = [name for name in files if _is_chamber(name)]
    return (True, given[0]) if len(given) == 1 else (False, opt.DEMO["chamber"])


def show(files: list[str], chamber: str | None) -> None:
    """Print the table. Raises ConfigError for a chamber that is not right, and for files beside it that are none: a
    table that somebody signs is about the file that he named."""
    if len(files) + (chamber is not None) > 1:
        raise opt.problem("--effects", " ".join(files), "is about one chamber", "name one chamber and nothing else")
    asked = chamber or (files[0] if files else opt.DEMO["chamber"])
    if files and not _is_chamber(asked):
        raise opt.problem("--effects", asked, "must be a chamber file", "dewhold check --effects chambers/yours.toml")
    place = bundle.load_site(find("chamber", asked), device_class=Device, layout=require_layout)
    plan = protection.bind(place.chamber.protection, place.points, place.chamber.heat.kind)
    causes, told = watching.causes(place.chamber, place.points, plan.rows), watching.only_told(place.chamber)
    name, digest = place.chamber.name, place.files["chamber"].sha256
    print("\n".join(effects.lines(plan.rows, chamber=name, sha256=digest, causes=causes, told=told)))


def _is_chamber(name: str) -> bool:
    if name in known("chamber"):
        return True
    try:
        return any(kinds.guess(path) == "chamber" for path in check_words.files_of(name))
    except ConfigError:
        return False
