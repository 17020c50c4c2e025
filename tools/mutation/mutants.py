"""The mutants of one file, as mutmut makes them; here they are functions that can take each other's place.

mutmut writes a file with every function beside all its mutants. Only that is used of it (`mutate_file_contents`, an
inside of the versions that were tried): its own runner starts pytest anew for every mutant, which takes a hundred
times as long as the tests. Constants of modules and defaults of dataclasses are not mutated.
"""

from __future__ import annotations

import difflib
import textwrap
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

CORE = "controller/core"
Key = tuple[str, str, str, str, int]


@dataclass(frozen=True)
class Mutant:
    """One function with one slip. function: its name, with its class before it. was, becomes: the lines that differ,
    without indentation. place: of several alike in one function, which (from 1). source: the function as it becomes.
    """

    file: str
    function: str
    was: str
    becomes: str
    place: int
    source: str

    @property
    def key(self) -> Key:
        """What it is known by from run to run: without the folder, which is the same for all."""
        return self.file.removeprefix(f"{CORE}/"), self.function, self.was, self.becomes, self.place


def mutants_of(root: Path, file: str) -> list[Mutant]:
    """Every mutant of a file, in the order of its functions."""
    from mutmut.mutation.file_mutation import mutate_file_contents
    from mutmut.utils.format_utils import parse_mutant_key

    made = mutate_file_contents(file, (root / file).read_text(encoding="utf-8"))
    lines = made.code.splitlines()
    spans = made.line_span_by_function_name

    def source(name: str, short: str) -> str:
        span = spans[name]
        text = textwrap.dedent("\n".join(lines[span.start - 1:span.end])).strip("\n")
        return text.replace(f"def {name}(", f"def {short}(") + "\n"

    seen: Counter[tuple[str, str, str]] = Counter()
    found = []
    for name in made.mutant_names:
        mangled = name.rpartition("__mutmut_")[0]
        short, owner = parse_mutant_key(mangled)
        right, wrong = source(f"{mangled}__mutmut_orig", short), source(name, short)
        was, becomes = _difference(right, wrong)
        function = f"{owner}.{short}" if owner else short
        seen[function, was, becomes] += 1
        found.append(Mutant(file, function, was, becomes, seen[function, was, becomes], wrong))
    return found


def _difference(right: str, wrong: str) -> tuple[str, str]:
    """The lines that differ, each as one text."""
    was: list[str] = []
    becomes: list[str] = []
    for line in difflib.ndiff(right.splitlines(), wrong.splitlines()):
        if line.startswith("- "):
            was.append(line[2:].strip())
        elif line.startswith("+ "):
            becomes.append(line[2:].strip())
    return "\n".join(was), "\n".join(becomes)
