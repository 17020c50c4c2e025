"""The site file (configs/sites/*.toml): which chambers are looked at together, and where the data of each are."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from annotated_types import Len

from controller.config.files import fault
from controller.config.loader import Loaded, read


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteChamber:
    """One chamber of a site. data: the folder of its record (`--out` of its controller), from the data folder."""

    name: Annotated[str, Len(1, 40)]
    text: Annotated[str, Len(0, 200)] = ""
    data: Annotated[str, Len(1, 255)]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteLine:
    """A production line and the chambers that it fills."""

    name: Annotated[str, Len(1, 40)]
    chamber: Annotated[tuple[SiteChamber, ...], Len(1, 40)]


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteFile:
    """A factory: its lines in order. units: those that its page shows; records, recipes and the API are in SI units."""

    name: Annotated[str, Len(1, 60)]
    text: Annotated[str, Len(0, 200)] = ""
    units: Literal["si", "us"] = "si"
    line: Annotated[tuple[SiteLine, ...], Len(1, 20)]


def read_site(path: str | Path) -> Loaded[SiteFile]:
    """A site file. Raises ConfigError, also when two chambers have one name or one folder."""
    loaded = read(path, SiteFile)
    seen: set[str] = set()
    for row, line in enumerate(loaded.value.line):
        for column, chamber in enumerate(line.chamber):
            where = f"line[{row}].chamber[{column}]"
            for field, value in (("name", chamber.name), ("data", chamber.data)):
                if f"{field} {value}" in seen:
                    raise fault(loaded.path, f"{where}.{field}", value, "stands there twice", "give each its own")
                seen.add(f"{field} {value}")
    return loaded
