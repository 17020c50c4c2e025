"""The tree as a test sees it: files that git keeps, or all but build and cache folders where there is no git."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
_SKIP = {"build", "dist", "out", "__pycache__", "node_modules", "vendor"}  # vendor: files of other projects, unchanged


def files_under(folder: Path) -> Iterator[Path]:
    """Every file below a folder, hidden and generated ones left out."""
    for path in sorted(folder.iterdir()):
        if path.name in _SKIP or path.name.endswith(".egg-info") or (path.name.startswith(".") and path.name != ".ci"):
            continue
        if path.is_dir():
            yield from files_under(path)
        else:
            yield path


@pytest.fixture(scope="session")
def root() -> Path:
    return ROOT


@pytest.fixture(scope="session")
def texts() -> dict[str, str]:
    """Relative path -> text of every text file of the project."""
    found = {}
    for path in files_under(ROOT):
        try:
            found[path.relative_to(ROOT).as_posix()] = path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue
    return found


@pytest.fixture(scope="session")
def modules(texts: dict[str, str]) -> dict[str, ast.Module]:
    """Relative path -> syntax tree of every module of the two packages."""
    return {
        name: ast.parse(text)
        for name, text in texts.items()
        if name.endswith(".py") and name.split("/")[0] in ("controller", "plantsim")
    }
