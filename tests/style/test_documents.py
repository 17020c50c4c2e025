"""What the documents name is there: a file that was moved or renamed is moved in them too."""

from __future__ import annotations

import re
from pathlib import Path

DOCUMENTS = ("README.md", "DEVELOPERS.md")
# Where a path in them may begin: they name a file of the core or of the tests from there.
FROM = ("", "controller", "controller/core", "controller/page", "tests", "configs")
NAMED = re.compile(r"`((?:[\w.-]+/)*[\w.-]+\.py|(?:[\w.-]+/)+[\w.-]+\.(?:toml|csv|json|md))`")
LINKED = re.compile(r"\]\((?!https?:|#)([^)#]+)")
OF_PEOPLE = ("out/",)  # what a command leaves behind


def named(text: str) -> set[str]:
    """Files that a document names in code marks."""
    return {name for name in NAMED.findall(text) if not name.startswith(OF_PEOPLE)}


def missing(root: Path, names: set[str]) -> list[str]:
    """Those that are not there: from where paths begin, or, a bare name, anywhere among our modules."""
    rooms = ("controller", "plantsim", "tests", "tools")
    here = {path.name for room in rooms for path in (root / room).rglob("*.py")}
    return sorted(
        name for name in names
        if not (name in here if "/" not in name else any((root / place / name).is_file() for place in FROM))
    )


def test_every_file_that_a_document_names_is_there(root: Path) -> None:
    gone = {name: missing(root, named((root / name).read_text(encoding="utf-8"))) for name in DOCUMENTS}
    assert gone == {name: [] for name in DOCUMENTS}


def test_every_file_that_a_document_links_to_is_there(root: Path) -> None:
    gone = [
        f"{name}: {link}" for name in DOCUMENTS for link in LINKED.findall((root / name).read_text(encoding="utf-8"))
        if not (root / link).exists()
    ]
    assert gone == []


def test_a_file_that_was_moved_is_found_out(root: Path) -> None:
    text = "see `core/phase_kinds.py` and `core/sequence/phase_kinds.py`, `nobody.py`, `phase_kinds.py`, `out/x.json`"
    assert missing(root, named(text)) == ["core/phase_kinds.py", "nobody.py"]
    assert len(named((root / "DEVELOPERS.md").read_text(encoding="utf-8"))) > 40
