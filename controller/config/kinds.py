"""Which kind of file is this? By its folder, else by what stands in it."""

from __future__ import annotations

from pathlib import Path

from controller.config import files, tables, tomltext
from controller.config.find import FileKind, kind_of
from controller.errors import ConfigError

# A file of a kind has at least one of these at its top, and no other kind has.
_SIGNS: tuple[tuple[FileKind, tuple[str, ...]], ...] = (
    ("recipe", ("phases",)),
    ("chamber", ("climate", "bays")),
    ("mix", ("strength_curve", "cement_kg_per_m3")),
    ("device", ("host", "watchdog")),
    ("plant", ("probe", "envelope")),
    ("whatif", ("change", "stands", "amount")),  # before faults: it may have some too
    ("faults", ("fault",)),
    ("site", ("line",)),
    ("callout", ("people", "rules")),
)


def guess(path: Path) -> FileKind:
    """The kind of a file. Raises ConfigError when it cannot be read or is none of ours."""
    kind = kind_of(path)
    if kind is not None:
        return kind
    text = files.decode(files.read_bytes(path), str(path))
    if path.suffix == ".csv":
        header = tables.first_line(text)
        if {"tag", "kind"} <= set(header):
            return "points"
        return "filling" if {"time_h", "what"} <= set(header) else "weather"
    if path.suffix != ".toml":
        raise _stranger(path, path.suffix or "(no suffix)", "must end in .toml or .csv")
    top = tomltext.read(text, str(path))
    for kind, signs in _SIGNS:
        if any(sign in top for sign in signs):
            return kind
    raise _stranger(path, ", ".join(list(top)[:6]), "is no chamber, recipe, mix, device or model file")


def _stranger(path: Path, value: str, limit: str) -> ConfigError:
    return files.fault(str(path), "(whole file)", value, limit, "put it into the folder of its kind, as in configs/")
