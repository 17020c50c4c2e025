"""`dewhold bench`: speed, closure and control quality against their targets."""

from __future__ import annotations

import argparse
import json
import re
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from controller.cli.progress import progress
from controller.errors import ConfigError, Problem, UnavailableError

if TYPE_CHECKING:
    from controller.rig.bench.rows import Target


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold bench`; without any it measures every row, which takes some minutes."""
    parser.add_argument(
        "--rows", default="", metavar="TEXT",
        help="only rows whose name contains this; whatif = a cycle in each what-if case (they alone, some minutes)",
    )  # fmt: skip
    length = parser.add_mutually_exclusive_group()
    length.add_argument("--quick", action="store_true", help="an hour instead of a day, and no rows about the hold")
    length.add_argument(
        "--full",
        action="store_true",
        help="also the variation of gentle, some minutes more: seasons, loads, wetting and scan times (they alone: "
        "--rows variation)",
    )
    parser.add_argument("--json", action="store_true", help="print the rows as JSON instead of the table")


def run(args: argparse.Namespace) -> int:
    """Measure; 0 when every must is reached, 1 otherwise."""
    try:
        from controller.rig.bench import bench
        from controller.rig.bench import whatif as bench_whatif
        from controller.rig.bench.rows import as_json, table
    except ModuleNotFoundError as error:
        raise UnavailableError(
            f"the chamber model needs the package {error.name}: install Dewhold with its extra, dewhold[sim]"
        ) from None
    rows, loop_s = bench.measure(
        args.rows, quick=args.quick, full=args.full, show=progress("bench", quiet=args.json)
    )
    if not rows:
        targets = bench.targets(quick=args.quick, full=args.full)
        limit = "must be part of a row's name"
        raise ConfigError([Problem("command line", "--rows", args.rows, limit, _groups(targets))])
    if args.json:
        print(json.dumps(as_json(rows, loop_s), indent=2, allow_nan=False))
    else:
        print(bench_whatif.table(rows) if rows[0].name.startswith(bench_whatif.NAME) else table(rows))
        loop = f"a fixed loop of plain Python, here {1e3 * loop_s:.2f} ms"
        print(f"\nratio: time over that of {loop}; ok +: the dream is reached")
        missed = [row.name for row in rows if not row.holds]
        print("missed: " + "; ".join(missed) if missed else "every must is reached")
    return 0 if all(row.holds for row in rows) else 1


def _groups(targets: Sequence[Target]) -> str:
    """How names begin, up to their first comma or colon, a line each with how many rows begin so."""
    counts = Counter(re.split("[,:]", target.name)[0] for target in targets)
    return "\n".join(["names begin with", *[f"  {begin} ({count})" for begin, count in counts.items()]])
