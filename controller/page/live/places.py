"""Where the data of the chambers are: one folder, a folder of folders, or a site file."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from controller.config.find import find
from controller.config.site import read_site
from controller.errors import ConfigError, Problem

RECORD = "record.sqlite"
_ID = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class ChamberPlace:
    """One chamber: its id in addresses, what people call it, its line, and the folder of its record."""

    id: str
    name: str
    text: str
    line: str
    folder: Path

    @property
    def record(self) -> Path:
        """The record, whether it is there yet or not."""
        return self.folder / RECORD


@dataclass(frozen=True, slots=True)
class Works:
    """What one page looks at. home: the folder of the page's own files. units: the set that it shows them in."""

    name: str
    home: Path
    chambers: tuple[ChamberPlace, ...]
    units: str = "si"


def places(data: Path, site: str | None = None, units: str | None = None) -> Works:
    """The chambers below a data folder. Raises ConfigError for a site file that is not right or no such folder.

    Without a site file: the folder itself when it has a record or nothing, else each of its folders that has one.
    """
    if not data.is_dir():
        what = "is no folder" if data.exists() else "there is no such folder"
        raise ConfigError([Problem(
            "command line", "--data", str(data), f"{what} (looked for {RECORD} in it, or in folders below it)",
            "give the --out folder of `dewhold run`, or the folder above several; start the controller first",
        )])  # fmt: skip
    home = data / "page"
    if site is not None:
        file = read_site(find("site", site)).value
        chambers = tuple(
            ChamberPlace(_id(chamber.name), chamber.name, chamber.text, line.name, data / chamber.data)
            for line in file.line
            for chamber in line.chamber
        )
        return Works(file.name, home, chambers, units or file.units)
    below = sorted(path.parent for path in data.glob(f"*/{RECORD}")) if not (data / RECORD).is_file() else []
    if below:
        return Works(data.name, home, tuple(ChamberPlace(_id(f.name), f.name, "", "", f) for f in below), units or "si")
    return Works("", home, (ChamberPlace("chamber", "", "", "", data),), units or "si")


def _id(name: str) -> str:
    return _ID.sub("-", name.lower()).strip("-") or "chamber"
