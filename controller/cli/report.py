"""`dewhold report`: the page of a cycle from its record, or whether a record is unchanged."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from controller.cli import options as opt
from controller.cli.written import REPORT, require_folder, require_own
from controller.errors import UnavailableError
from controller.report.marks import counted
from controller.report.ours import is_report
from controller.store.trouble import advice
from controller.store.verify import verify

RECORD = "record.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold report`; without any it reports what `dewhold cycle` left."""
    parser.add_argument(
        "record", nargs="?", default="out/cycle", metavar="RECORD-OR-DIR", help="what to report (default: out/cycle)"
    )
    parser.add_argument("--out", metavar="FILE", help="where the page goes (default: report.html beside the record)")
    parser.add_argument("--cycle", type=int, metavar="N", help="which cycle of the record (default: the newest)")
    opt.add_language(parser)
    parser.add_argument("--verify", metavar="FILE", help="only say whether this record is as it was written")
    parser.add_argument("--json", action="store_true", help="print what was found as JSON")


def run(args: argparse.Namespace) -> int:
    """Make the page, or verify: 0 when the record is unchanged, 1 when not."""
    if args.verify is not None:
        return _verify(record_in(args.verify), as_json=args.json)
    record = record_in(args.record)
    out = Path(args.out) if args.out else record.with_name(REPORT)
    if out.exists() and out.samefile(record):
        raise opt.problem("--out", out, "is the record itself", "name another file")
    try:
        from controller.report.html import write_report
    except ModuleNotFoundError as error:
        raise UnavailableError(without_plots(error.name)) from None
    require_own("--out", out, "report", is_report)
    require_folder(out)
    try:
        made = write_report(record, out, args.cycle, args.language)
    except OSError as error:
        raise UnavailableError(f"the report {out} cannot be written: {error.strerror}; {advice(error, out)}") from None
    if args.json:
        print(json.dumps({"ok": not made["changed"], **made}, indent=2))
    else:
        print(f"report: {out} ({made['bytes'] / 1e6:.2f} MB), verdict {made['verdict']}")
        for problem in made["changed"]:
            print(f"the record was changed: {problem}")
    return 1 if made["changed"] else 0


def beside(out: Path, language: str) -> str:
    """Make report.html in a folder with a record, and say so in a line. A report never makes a cycle fail."""
    try:
        from controller.report.html import write_report

        require_own("--out", out / REPORT, "report", is_report, "move it away")
        write_report(out / RECORD, out / REPORT, language=language)
    except ModuleNotFoundError as error:
        return f"no report: {without_plots(error.name)}"
    except Exception as error:  # noqa: BLE001  # whatever it is, the cycle was run and its record is there
        option = "" if language == "en" else f" --language {language}"
        return f"no report: {error}; try again with: dewhold report {out}{option}"
    return f"report: {out / REPORT}"


def record_in(text: str) -> Path:
    """The record that a path means: the file, or record.sqlite in the folder. Raises ConfigError."""
    path = Path(text)
    found = path / RECORD if path.is_dir() else path
    if not found.is_file():
        what = f"no {RECORD} in this folder" if path.is_dir() else "there is no such file"
        raise opt.problem("record", text, what, f"give a {RECORD}, or the --out folder of a cycle or run")
    return found


def without_plots(package: str | None) -> str:
    """What to say when the packages for the page are not installed."""
    return f"it needs the package {package}; install Dewhold with its extra: pip install 'dewhold[report]'"


def _verify(record: Path, *, as_json: bool) -> int:
    problems = verify(record)
    if as_json:
        print(json.dumps({"ok": not problems, "record": str(record), "problems": problems}, indent=2))
    elif problems:
        for problem in problems:
            print(f"{record}: {problem}")
        print(f"{record}: changed in {counted(len(problems), 'place')}")
    else:
        print(f"{record}: unchanged")
    return 1 if problems else 0
