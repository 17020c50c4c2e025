"""sh tools/mutants: make every mutant of the subjects, run the tests against them, say what went unnoticed."""

from __future__ import annotations

import argparse
import json
import os
import random
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from mutation import lists
from mutation.mutants import CORE, Key, Mutant, mutants_of
from mutation.trial import Trial

ROOT = Path(__file__).resolve().parents[2]
TESTS, KEPT = "tests/core", ROOT / "tests" / "mutation"
SAVE_EVERY = 20


def main() -> int:
    """Exit code 1 when tests fail by themselves, or a mutant of the sample went unnoticed."""
    asked = argparse.ArgumentParser(prog="sh tools/mutants", description=__doc__)
    asked.add_argument("subjects", nargs="*", help="which subjects; all without")
    asked.add_argument("--file", action="append", default=[], help="only this file, such as signals/frozen.py")
    asked.add_argument("--again", action="store_true", help="only what is new or went unnoticed the last time")
    asked.add_argument("--write", action="store_true", help="write what is known by now to tests/mutation, run nothing")
    asked.add_argument("--tidy", action="store_true", help="drop listed survivors whose code is gone, run nothing")
    asked.add_argument("--draw", type=int, metavar="N", help="draw a sample of N for the gate, run nothing")
    asked.add_argument("--seed", type=int, default=1, help="of the draw")
    asked.add_argument("--sample", action="store_true", help="try the sample of the gate only")
    asked.add_argument("--out", type=Path, default=ROOT / "out" / "mutation", help="where results are kept")
    given = asked.parse_args()
    os.chdir(ROOT)
    subjects = tomllib.loads((KEPT / "subjects.toml").read_text(encoding="utf-8"))
    given.out.mkdir(parents=True, exist_ok=True)
    if given.sample:
        return _sample(subjects)
    if given.tidy:
        lists.tidy(KEPT / "survivors.toml", ROOT / CORE)
        return 0
    if given.write or given.draw:
        _keep(subjects, given)
        return 0
    worst = 0
    for name in given.subjects or subjects:
        child = os.fork()  # each subject has a pytest of its own
        if child == 0:
            os._exit(_one(name, subjects[name], given))
        worst = max(worst, os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]))
    return worst


def _one(name: str, subject: dict[str, list[str]], given: Any) -> int:
    """One subject: what was found goes to a file of its own."""
    before = _known(given.out, name)
    mutants = _mutants(subject)
    tried = [
        mutant for mutant in mutants
        if (not given.file or mutant.key[0] in given.file) and not (given.again and before.get(mutant.key))
    ]
    results = {mutant.key: before[mutant.key] for mutant in mutants if mutant.key in before}
    unsaved = 0

    def found(mutant: Mutant, noticed: str) -> None:
        nonlocal unsaved
        results[mutant.key] = noticed
        unsaved += 1
        if unsaved % SAVE_EVERY == 0:
            _save(given.out, name, results)
        if not noticed:
            print(f"{mutant.key[0]} {mutant.function}\n  - {mutant.was}\n  + {mutant.becomes}", flush=True)

    print(f"{name}: {len(mutants)} mutants, {len(tried)} to try", flush=True)
    failed = _run(tried, found, subject["tests"]) if tried else ""
    if failed:
        print(f"{name}: {failed}", file=sys.stderr)
        return 1
    _save(given.out, name, results)
    noticed = sum(1 for test in results.values() if test)
    print(f"{name}: {len(results)} of {len(mutants)} tried, {noticed} noticed", flush=True)
    return 0


def _run(mutants: list[Mutant], found: Any, tests: list[str]) -> str:
    """Try mutants in one pytest; what went wrong, "" for nothing."""
    trial = Trial(mutants, found)
    options = ["-q", "-q", "-p", "no:cacheprovider", "-p", "no:xdist", "-p", "no:terminalreporter"]
    status = pytest.main([*options, *[f"{TESTS}/{test}" for test in tests]], plugins=[trial])
    return trial.failed or ("" if status in (0, 5) else f"pytest ended with {status}")


def _sample(subjects: dict[str, dict[str, list[str]]]) -> int:
    """The sample of the gate: every mutant of it whose code is still there has to be noticed."""
    core = ROOT / CORE
    rows = lists.read_sample(KEPT / "sample.toml")
    there = [row for row in rows if lists.is_there(core, *row[:3])]
    mutants = [lists.as_mutant(core, CORE, *row) for row in there]
    left: list[Mutant] = []
    for subject in subjects.values():
        mine = [mutant for mutant in mutants if mutant.key[0] in subject["files"]]
        failed = _run(mine, lambda mutant, noticed: None if noticed else left.append(mutant), subject["tests"])
        if failed:
            print(failed, file=sys.stderr)
            return 1
    print(f"{len(rows)} in the sample, {len(there)} of them still there, {len(there) - len(left)} noticed")
    for mutant in left:
        print(f"went unnoticed: {mutant.file} {mutant.function}\n  - {mutant.was}\n  + {mutant.becomes}")
    return 1 if left or 2 * len(there) < len(rows) else 0


def _keep(subjects: dict[str, dict[str, list[str]]], given: Any) -> None:
    """Write survivors and scores, or a sample of what was noticed."""
    path = KEPT / "survivors.toml"
    scores, groups = lists.read_survivors(path)
    noticed: list[Key] = []
    for name, subject in subjects.items():
        known, keys = _known(given.out, name), {mutant.key for mutant in _mutants(subject)}
        untried = len(keys - set(known))
        if untried:
            print(f"{name}: {untried} of {len(keys)} mutants were not tried: they count as not noticed")
        survivors = {key for key in keys if not known.get(key)}
        noticed += sorted(keys - survivors)
        groups = lists.sorted_in(groups, survivors, set(subject["files"]))
        same = sum(1 for group in groups if group.equivalent for mutant in group.mutants if mutant in survivors)
        scores[name] = {
            "mutants": len(keys), "noticed": len(keys) - len(survivors), "equivalent": same,
            "pct": round(100.0 * (len(keys) - len(survivors)) / len(keys), 1),
            "pct_without_equivalent": round(100.0 * (len(keys) - len(survivors)) / (len(keys) - same), 1),
        }
    if given.draw:
        plain = [key for key in noticed if key[4] == 1 and "\n" not in key[2] + key[3] and key[2] and key[3]]
        lists.write_sample(KEPT / "sample.toml", random.Random(given.seed).sample(plain, given.draw))
    else:
        lists.write_survivors(path, scores, groups)


def _mutants(subject: dict[str, list[str]]) -> list[Mutant]:
    return [mutant for file in subject["files"] for mutant in mutants_of(ROOT, f"{CORE}/{file}")]


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
