"""sh tools/mutants: make every mutant of the subjects, run the tests against them, say what went unnoticed."""

from __future__ import annotations

import argparse
import json
import os
import sys
import tomllib
from pathlib import Path
from typing import Any

from mutation import lists, sample
from mutation.mutants import CORE, Key, Mutant, mutants_of
from mutation.subject import ROOT, Subject, apart, run

KEPT = ROOT / "tests" / "mutation"
SAVE_EVERY = 20


def main() -> int:
    """Exit code 1 when tests fail by themselves, or a mutant of the sample went unnoticed; 2 for a wrong word."""
    given, subjects = _asked()
    os.chdir(ROOT)
    if given.sample:
        return max(sample.try_out(subject, given.sample) for subject in subjects)
    if given.tidy:
        lists.tidy(KEPT / "survivors.toml", ROOT / CORE)
        return 0
    given.out.mkdir(parents=True, exist_ok=True)
    if given.write:
        _write(subjects, given.out)
        return 0
    if given.draw:
        _draw(subjects, given)
        return 0
    return max(apart(_one, subject, given) for subject in subjects)


def _asked() -> tuple[Any, list[Subject]]:
    """What was asked for, and of which subjects."""
    asked = argparse.ArgumentParser(prog="sh tools/mutants", description=__doc__)
    asked.add_argument("subjects", nargs="*", help="which subjects; all without")
    asked.add_argument("--file", action="append", default=[], help="only this file, such as signals/frozen.py")
    asked.add_argument("--again", action="store_true", help="only what is new or went unnoticed the last time")
    asked.add_argument("--write", action="store_true", help="write what is known by now to tests/mutation, run nothing")
    asked.add_argument("--tidy", action="store_true", help="drop listed survivors whose code is gone, run nothing")
    asked.add_argument("--draw", type=int, metavar="N", help="draw N of each subject for the sample of the gate")
    asked.add_argument("--seed", type=int, default=1, help="of the draw")
    asked.add_argument("--sample", nargs="?", type=Path, const=KEPT / "sample.toml", metavar="LIST",
                       help="try the sample of the gate only, or another list like it")
    asked.add_argument("--out", type=Path, default=ROOT / "out" / "mutation", help="where results are kept")
    given = asked.parse_args()
    rows = tomllib.loads((KEPT / "subjects.toml").read_text(encoding="utf-8"))
    subjects = [Subject(name, tuple(row["files"]), tuple(row["tests"])) for name, row in rows.items()]
    names, files = [subject.name for subject in subjects], [file for one in subjects for file in one.files]
    for word, known, what in [*((name, names, "subject") for name in given.subjects),
                              *((file, files, "file of a subject") for file in given.file)]:
        if word not in known:
            asked.error(f"{word} is no {what}: known are {', '.join(known)} (tests/mutation/subjects.toml)")
    return given, [
        subject for subject in subjects
        if (not given.subjects or subject.name in given.subjects)
        and (not given.file or set(given.file) & set(subject.files))
    ]


def _one(subject: Subject, given: Any) -> int:
    """Every mutant of one subject: what was found goes to a file of its own."""
    name = subject.name
    before = _known(given.out, name)
    mutants = _mutants(subject)
    tried = [
        mutant for mutant in mutants
        if (not given.file or mutant.key[0] in given.file) and not (given.again and before.get(mutant.key))
    ]
    results = {mutant.key: before[mutant.key] for mutant in mutants if mutant.key in before}
    unsaved = 0

    def found(mutant: Mutant, noticed: list[str]) -> None:
        nonlocal unsaved
        results[mutant.key] = noticed[0] if noticed else ""
        unsaved += 1
        if unsaved % SAVE_EVERY == 0:
            _save(given.out, name, results)
        if not noticed:
            print(f"{mutant.key[0]} {mutant.function}\n  - {mutant.was}\n  + {mutant.becomes}", flush=True)

    print(f"{name}: {len(mutants)} mutants, {len(tried)} to try", flush=True)
    failed = run(tried, found, subject.folders)[0] if tried else ""
    if failed:
        print(f"{name}: {failed}", file=sys.stderr)
        return 1
    _save(given.out, name, results)
    noticed = sum(1 for test in results.values() if test)
    print(f"{name}: {len(results)} of {len(mutants)} known, {noticed} noticed", flush=True)
    return 0


def _write(subjects: list[Subject], out: Path) -> None:
    """Survivors and scores of subjects whose every mutant was tried; what is written of the others stays."""
    path = KEPT / "survivors.toml"
    scores, groups = lists.read_survivors(path)
    for subject in subjects:
        known, keys = _known(out, subject.name), {mutant.key for mutant in _mutants(subject)}
        untried = len(keys - set(known))
        if untried:
            print(f"{subject.name}: left as it is, {untried} of {len(keys)} mutants were not tried here; "
                  f"sh tools/mutants {subject.name} --again")
            continue
        survivors = {key for key in keys if not known[key]}
        groups = lists.sorted_in(groups, survivors, set(subject.files))
        same = sum(1 for group in groups if group.equivalent for mutant in group.mutants if mutant in survivors)
        scores[subject.name] = {
            "mutants": len(keys), "noticed": len(keys) - len(survivors), "equivalent": same,
            "pct": round(100.0 * (len(keys) - len(survivors)) / len(keys), 1),
            "pct_without_equivalent": round(100.0 * (len(keys) - len(survivors)) / (len(keys) - same), 1),
        }
        print(f"{subject.name}: {len(survivors)} of {len(keys)} went unnoticed")
    lists.write_survivors(path, scores, groups)


def _draw(subjects: list[Subject], given: Any) -> None:
    """A new sample of these subjects; what was drawn of the others stays."""
    path = KEPT / "sample.toml"
    rows = [row for row in lists.read_sample(path) if not any(row[0] in subject.files for subject in subjects)]
    for subject in subjects:
        rows += apart(sample.draw, subject, [mutant.key for mutant in _mutants(subject)], given.draw, given.seed)
    lists.write_sample(path, rows)


def _mutants(subject: Subject) -> list[Mutant]:
    return [mutant for file in subject.files for mutant in mutants_of(ROOT, f"{CORE}/{file}")]


def _known(out: Path, name: str) -> dict[Key, str]:
    """What earlier runs found: the test that noticed, "" for none."""
    path = out / f"{name}.json"
    rows = json.loads(path.read_text(encoding="utf-8")) if path.exists() else []
    return {(row[0], row[1], row[2], row[3], row[4]): row[5] for row in rows}


def _save(out: Path, name: str, results: dict[Key, str]) -> None:
    rows = [[*key, noticed] for key, noticed in results.items()]
    (out / f"{name}.json").write_text(json.dumps(rows, indent=0, ensure_ascii=False), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
