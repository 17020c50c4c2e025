"""`sh tools/verify`: runs the checks, writes the report, says in one line each what holds."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

from verification.check import Effort
from verification.checks import ALL
from verification.measured import Validation
from verification.page import as_json, as_page
from verification.results import Result, run
from verification.trade import Fact, all_facts
from verification.validate import validate


def main(arguments: list[str]) -> int:
    """0 when every check holds and every planted error was caught, else 1; validation does not count."""
    asked = parsed(arguments)
    effort = Effort.GATE if asked.quick else Effort.FULL
    began = time.monotonic()
    results = []
    for check in ALL:
        result = run(check, effort)
        results.append(result)
        seen = sum(one.caught for one in result.caught)
        print(
            f"{'holds' if result.holds else 'FAILS'}  {check.name}: {len(result.figures)} figures, "
            f"{seen} of {len(result.caught)} planted errors caught, {result.cpu_s:.1f} s",
            flush=True,
        )
    facts = all_facts()
    validations = validate(asked.data)
    write(asked.out, results, facts, validations)
    failed = [result.check.name for result in results if not result.holds]
    for validation in validations:
        print(f"{validation.state}: {validation.name}")
    print(f"{len(results) - len(failed)} of {len(results)} checks hold, {time.monotonic() - began:.0f} s")
    print(asked.out / "verification.html")
    return 1 if failed else 0


def parsed(arguments: list[str]) -> argparse.Namespace:
    """--out, --data, --quick."""
    parser = argparse.ArgumentParser(prog="tools/verify", description=__doc__)
    parser.add_argument("--out", type=Path, default=Path("out/verification"), help="folder of the report")
    parser.add_argument("--data", type=Path, help="folder with measured data; without it the model is not validated")
    parser.add_argument("--quick", action="store_true", help="the short runs of the tests")
    asked = parser.parse_args(arguments)
    if asked.data is not None and not asked.data.is_dir():
        parser.error(f"--data {asked.data}: no such folder")
    return asked


def write(out: Path, results: list[Result], facts: list[Fact], validations: list[Validation]) -> None:
    """Both files."""
    out.mkdir(parents=True, exist_ok=True)
    told = as_json(results, facts, validations)
    (out / "verification.json").write_text(json.dumps(told, indent=1) + "\n", encoding="utf-8")
    (out / "verification.html").write_text(as_page(told, validations), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
