"""`dewhold cycle`: a whole simulated cycle, its record, its summary and the table of it."""

from __future__ import annotations

import argparse
import json

from controller.cli import options as opt
from controller.cli import report
from controller.cli.progress import line, progress
from controller.cli.written import require_results, write_summary
from controller.errors import UnavailableError
from controller.report.table import table
from controller.store.seal import seal_cycle


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold cycle`; without any it runs the demo day."""
    opt.add_files(parser, "chamber", "recipe", "mix")
    opt.add_scene(parser)
    parser.add_argument("--link", choices=("modbus", "direct"), default="modbus", help="how the words travel")
    parser.add_argument("--hours", type=float, default=48.0, help="end at the latest after so long (default: 48)")
    parser.add_argument("--scan", type=float, default=1.0, metavar="S", help="scan time (default: 1 s)")
    parser.add_argument("--start", metavar="TIME", help="simulated time of the first scan (default: a fixed demo day)")
    parser.add_argument("--out", default="out/cycle", metavar="DIR", help="where record and summary go")
    parser.add_argument("--no-report", action="store_true", help="make no report.html")
    opt.add_language(parser)
    parser.add_argument("--json", action="store_true", help="print the summary as JSON instead of the table")
    parser.add_argument(
        "--faults", metavar="FILE", help='what goes wrong: a file, a demo name, "seed:N" or "list"'
    )
    parser.add_argument(
        "--what-if", action="append", default=[], metavar="NAME[=AMOUNT]",
        help='what is other than in the plant file: a demo name or a file, with an amount, or "list"; may be repeated',
    )  # fmt: skip


def run(args: argparse.Namespace) -> int:
    """Run it; 0 when the verdict is pass, 1 otherwise."""
    try:
        from controller.rig.cycle import Options
        from controller.rig.cycle import run as run_cycle
        from controller.rig.faults.faultfile import catalogue
        from controller.rig.summary import summarise
        from controller.rig.whatif.casefile import catalogue as cases
    except ModuleNotFoundError as error:
        raise UnavailableError(opt.without_model(error.name)) from None
    if args.faults == "list":
        print("\n".join(catalogue()))
        return 0
    if "list" in args.what_if:
        print("\n".join(cases()))
        return 0
    scan_s = opt.within("--scan", args.scan, 0.25, 2.0, "s")
    options = Options(
        scene=opt.with_faults(
            opt.with_what_ifs(opt.scene_of(args, scan_s), args.what_if), args.chamber, args.faults, args.hours
        ),
        chamber=args.chamber,
        recipe=args.recipe,
        mix=args.mix,
        link=args.link,
        start=opt.local_time(args.start),
        hours_max=opt.within("--hours", args.hours, 0.01, 168.0, "h"),
        out=opt.out_folder(args.out),
    )
    require_results(options.out, report=not args.no_report)
    ran = run_cycle(options, progress("cycle", quiet=args.json), say=line(quiet=args.json))
    summary = summarise(ran)
    text = json.dumps(summary, indent=2, allow_nan=False)
    seal_cycle(options.out / "record.sqlite", summary, ran.start_ms + round(1000 * scan_s * ran.report.scans))
    write_summary(options.out, text)
    said = "" if args.no_report else "\n" + report.beside(options.out, args.language)
    print(text if args.json else table(summary) + f"\n\nrecord and summary: {options.out}{said}")
    return 0 if summary["verdict"] == "pass" else 1
