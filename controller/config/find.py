"""Where config files are: a bare name means a shipped (or neighbouring) file, anything else is a path."""

from __future__ import annotations

import os.path
from pathlib import Path
from typing import Literal

from controller.config import words
from controller.config.files import fault

FileKind = Literal[
    "chamber", "points", "device", "recipe", "mix", "plant", "weather", "filling", "faults", "whatif", "site", "callout"
]

# kind -> (folder below configs, suffix)
FOLDERS: dict[FileKind, tuple[str, str]] = {
    "chamber": ("chambers", ".toml"),
    "points": ("points", ".csv"),
    "device": ("devices", ".toml"),
    "recipe": ("recipes", ".toml"),
    "mix": ("mixes", ".toml"),
    "plant": ("plants", ".toml"),
    "weather": ("weather", ".csv"),
    "filling": ("fillings", ".csv"),
    "faults": ("faults", ".toml"),
    "whatif": ("whatif", ".toml"),
    "site": ("sites", ".toml"),
    "callout": ("callout", ".toml"),
}

# configs/ lies beside controller/, in a checkout and in an installed wheel.
SHIPPED = Path(__file__).resolve().parents[2] / "configs"


def find(kind: FileKind, name: str | Path, *, beside: Path | None = None) -> Path:
    """The file of a name or a path. Raises ConfigError that names the known ones.

    A name without folder and suffix ("gentle") is looked for among the neighbours of the file `beside` (its
    folder's sibling for this kind), then among the shipped files; one given by a person, not in a file, may at last be
    that of a file where they stand. Everything else is a path as it stands; one that
    is relative and written in the file `beside` begins in that file's folder.
    """
    text = str(name)
    folder, suffix = FOLDERS[kind]
    if not _bare(text, suffix):
        if beside is not None:
            text = os.path.join(beside.parent, text)  # noqa: PTH118
        if not os.path.exists(text):  # noqa: PTH110  # pathlib's raises for a NUL or a name that is too long
            raise fault(
                text, f"{kind} file", "(missing)", "there is no such file", _remedy(kind, Path(text).stem, beside)
            )
        return Path(text)
    places = [beside.parent.parent / folder] if beside is not None else []
    for place in (*places, SHIPPED / folder):
        path = place / (text + suffix)
        if os.path.isfile(path):  # noqa: PTH113  # as above
            return path
    if beside is None and os.path.isfile(text):  # noqa: PTH113  # as above
        return Path(text)
    where = places[0] if places else SHIPPED / folder
    raise fault(
        str(where / (text + suffix)), f"{kind} file", "(missing)", "there is no such file", _remedy(kind, text, beside)
    )


def known(kind: FileKind, *, beside: Path | None = None) -> tuple[str, ...]:
    """The names that `find` knows for a kind, sorted."""
    folder, suffix = FOLDERS[kind]
    places = [SHIPPED / folder] + ([beside.parent.parent / folder] if beside is not None else [])
    return tuple(sorted({path.stem for place in places for path in place.glob("*" + suffix)}))


def kind_of(path: Path) -> FileKind | None:
    """The kind of a file by the folder it lies in, or None."""
    parent = path.absolute().parent.name
    return next((kind for kind, (folder, suffix) in FOLDERS.items() if (folder, suffix) == (parent, path.suffix)), None)


def _bare(text: str, suffix: str) -> bool:
    return bool(text) and "/" not in text and "\\" not in text and "\0" not in text and not text.endswith(suffix)


def _remedy(kind: FileKind, name: str, beside: Path | None) -> str:
    names = known(kind, beside=beside)
    if not names:
        return "check the name"
    meant = words.closest(name, names)
    all_known = f"known: {words.listed(names)} (a bare name means a demo file)"
    return f"did you mean {meant}? {all_known}" if meant else all_known
