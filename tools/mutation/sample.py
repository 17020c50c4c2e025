"""The sample of the gate: slips that one test alone notices, so that it shows when this test goes soft.

In the gate each is tried with the tests that noticed when the sample was drawn, which takes seconds. Only what goes
unnoticed by them, as when a test got another name, is tried again with every test of its subject.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Sequence
from pathlib import Path

from mutation import lists
from mutation.mutants import CORE, Key, Mutant
from mutation.subject import ROOT, Subject, apart, run

CANDIDATES = 4  # tried for each that is taken: about one in four is noticed by one test alone


def try_out(subject: Subject, path: Path) -> int:
    """Exit code 1 when a slip of the sample goes unnoticed, or half of it is about code that is gone."""
    core = ROOT / CORE
    rows = [row for row in lists.read_sample(path) if row[0] in subject.files]
    noticed_by = {
        lists.as_mutant(core, CORE, *row[:4]): row[4] for row in rows if lists.is_there(core, *row[:3])
    }
    names = set(noticed_by.values())
    files = sorted({name.partition("::")[0] for name in names})
    failed, left = apart(_unnoticed, list(noticed_by), [file for file in files if (ROOT / file).exists()], names)
    if left and not failed:
        print(f"{subject.name}: {len(left)} of the sample once more, with every test", flush=True)
        failed, left = apart(_unnoticed, left, subject.folders, None)
    if failed:
        print(f"{subject.name}: {failed}", file=sys.stderr)
        return 1
    there = len(noticed_by)
    print(f"{subject.name}: {len(rows)} in the sample, {there} of them still there, {there - len(left)} noticed")
    for mutant in left:
        print(f"went unnoticed: {mutant.file} {mutant.function}\n  - {mutant.was}\n  + {mutant.becomes}\n"
              f"  it was noticed by {noticed_by[mutant]}")
    if 2 * there < len(rows):
        print(f"{subject.name}: less than half of the sample is left; sh tools/mutants {subject.name} --draw 100")
    return 1 if left or 2 * there < len(rows) else 0


def _unnoticed(mutants: list[Mutant], tests: list[str], only: set[str] | None) -> tuple[str, list[Mutant]]:
    """What went wrong, "" for nothing, and what no test noticed."""
    left: list[Mutant] = []
    if not mutants or not tests:
        return "", mutants
    failed, _trial = run(mutants, lambda mutant, by: None if by else left.append(mutant), tests, only)
    return failed, left


def draw(subject: Subject, keys: Sequence[Key], count: int, seed: int) -> list[lists.Row]:
    """Rows of a new sample out of all mutants, first those that one test alone notices.

    Slips of one line, the first of those alike in a function, so that the list is enough to make them. None that only
    drawn examples notice, which other examples may miss, and none that only ends when its time is over.
    """
    plain = sorted(key for key in keys if key[4] == 1 and "\n" not in key[2] + key[3] and key[2] and key[3])
    drawn = random.Random(f"{seed} {subject.name}").sample(plain, min(len(plain), CANDIDATES * count))
    mutants = [lists.as_mutant(ROOT / CORE, CORE, *key[:4]) for key in sorted(drawn)]
    found: dict[Key, list[str]] = {}
    failed, trial = run(mutants, lambda mutant, by: found.update({mutant.key: by}), subject.folders, until=2)
    if failed:
        raise RuntimeError(f"{subject.name}: {failed}")
    names = {name for tests in trial.tests.values() for name in (test.nodeid for test in tests)} - trial.by_examples
    fit = [key for key in drawn if found[key] and set(found[key]) <= names]
    alone = [key for key in fit if len(found[key]) == 1]
    taken = sorted([*alone, *(key for key in fit if key not in set(alone))][:count])
    print(f"{subject.name}: {len(taken)} of {len(drawn)}, {min(len(alone), count)} noticed by one test alone")
    return [(*key[:4], found[key][0]) for key in taken]
