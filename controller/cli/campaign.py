"""`dewhold campaign`: many simulated chambers in trouble, each drawn from its seed, and what did not hold."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from controller.cli import options as opt
from controller.cli.ending import on_request
from controller.cli.main import DID_NOT_HOLD, GOOD, INTERRUPTED
from controller.cli.progress import progress
from controller.errors import UnavailableError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold campaign`; without any it lives through four chamber-days."""
    parser.add_argument("--seeds", type=int, metavar="N", help="how many runs (default: 24; of the matrix: 3 a cell)")
    parser.add_argument("--first-seed", type=int, default=1, metavar="S", help="seed of the first one (default: 1)")
    parser.add_argument(
        "--hours", type=float, default=4.0, help="of each run; in its last half hour all is healed (default: 4)"
    )
    parser.add_argument("--scan", type=float, default=2.0, metavar="S", help="scan time (default: 2 s)")
    parser.add_argument("--workers", type=int, metavar="W", help="processes (default: one for each core)")
    parser.add_argument(
        "--matrix", action="store_true", help="instead: every kind of fault in every situation, one fault a run"
    )
    parser.add_argument("--kind", action="append", default=[], metavar="KIND", help="of the matrix: only this kind")
    parser.add_argument(
        "--situation", action="append", default=[], metavar="NAME", help="of the matrix: only this situation"
    )
    parser.add_argument(
        "--complete", action="store_true",
        help="fail too when something was not met at all: a kind, a situation, a state or the case of an invariant",
    )  # fmt: skip
    parser.add_argument(
        "--results", type=Path, metavar="FILE",
        help="keep results of runs here, one a line; what stands there already is not run again",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print the figures as JSON instead of the table")


def run(args: argparse.Namespace) -> int:
    """Run the seeds; 0 when nothing was violated (and, with --complete, left out), 1 otherwise, 130 ended early."""
    try:
        from controller.rig.campaign import campaign, matrix, pool
    except ModuleNotFoundError as error:
        raise UnavailableError(opt.without_model(error.name)) from None
    workers = pool.cores() if args.workers is None else args.workers
    if not args.matrix and (args.kind or args.situation):
        option, value = ("--kind", args.kind[0]) if args.kind else ("--situation", args.situation[0])
        raise opt.problem(option, value, "belongs to --matrix", "give --matrix too, or leave it out")
    if args.matrix and args.complete:
        raise opt.problem("--complete", "true", "belongs to a campaign of seeds", "leave it out")
    seeds = (3 if args.matrix else 24) if args.seeds is None else args.seeds
    counts = {
        "seeds": int(opt.within("--seeds", seeds, 1, 1_000_000, "runs")),
        "first_seed": int(opt.within("--first-seed", args.first_seed, 0, 2_000_000_000, "")),
        "workers": int(opt.within("--workers", workers, 1, 256, "processes")),
    }
    scan_s = opt.within("--scan", args.scan, 0.25, 2.0, "s")
    hours = opt.within("--hours", args.hours, 0.75, 48.0, "h")
    asked_to_end: list[bool] = []
    show = progress("matrix" if args.matrix else "campaign", quiet=args.json)
    with on_request(lambda: asked_to_end.append(True)):
        if args.matrix:
            wanted = matrix.Asked(**counts, scan_s=scan_s, kinds=tuple(args.kind), situations=tuple(args.situation),
                                  results=args.results)  # fmt: skip
            found, cells = matrix.run(wanted, show, lambda: bool(asked_to_end))
            figures, text = matrix.as_json(found, cells, wanted), matrix.table(found, cells, wanted)
        else:
            runs = campaign.Asked(**counts, scan_s=scan_s, hours=hours, results=args.results)
            found = campaign.run(runs, show, lambda: bool(asked_to_end))
            figures, text = campaign.as_json(found), campaign.table(found)
    print(json.dumps(figures, indent=2) if args.json else text)
    if found.interrupted:
        return INTERRUPTED
    lacking = figures["lacking"] if args.complete else []
    if lacking:
        print(f"not complete, no run met {'; '.join(lacking)}", file=sys.stderr)
    return DID_NOT_HOLD if found.failing or lacking else GOOD
