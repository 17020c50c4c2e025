"""`dewhold backup`: a copy of a data folder while control writes it, and the way back."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from controller.cli import options as opt
from controller.cli.written import require_own
from controller.store.backup import RECORD, back_up, is_backup, restore


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold backup`."""
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--data", default="out/run", metavar="DIR", help="what to copy (default: out/run)")
    what.add_argument("--restore", metavar="FILE", help="put this backup back, into the folder --to")
    parser.add_argument("--to", metavar="FILE", help="the backup to write (default: DIR.backup.zip), or the folder")
    parser.add_argument("--json", action="store_true", help="print the manifest as JSON")


def run(args: argparse.Namespace) -> int:
    """Copy or restore; 0 when it is done and proven."""
    if args.restore is not None:
        return _restore(args)
    data = Path(args.data)
    if not (data / RECORD).is_file():
        raise opt.problem("--data", data, f"no {RECORD} in this folder", "give the --out folder of a cycle or run")
    file = Path(args.to) if args.to else data.with_name(data.absolute().name + ".backup.zip")
    if file.exists() and file.samefile(data / RECORD):
        raise opt.problem("--to", file, "is the record itself", "name another file")
    require_own("--to", file, "backup", is_backup)
    manifest = back_up(data, file)
    size = file.stat().st_size / 1e6
    _say(manifest, f"backup: {file} ({size:.2f} MB), verified", as_json=args.json, file=str(file))
    return 0


def _restore(args: argparse.Namespace) -> int:
    if args.to is None:
        raise opt.problem("--to", "(missing)", "must name a folder", "give the folder to restore into")
    folder = Path(args.to)
    if folder.exists() and not folder.is_dir():
        raise opt.problem("--to", folder, "is a file", "give the folder to restore into")
    manifest = restore(Path(args.restore), folder)
    text = f"restored: {folder}, verified"
    if manifest["cycle_open"]:
        text += f"\na cycle was in progress: dewhold run --out {folder} goes on with it, given what it was begun with"
    _say(manifest, text, as_json=args.json, folder=str(folder))
    return 0


def _say(manifest: dict[str, Any], text: str, *, as_json: bool, **where: str) -> None:
    if as_json:
        print(json.dumps({"ok": True, **where, **manifest}, indent=2))
        return
    print(text)
    for name, why in manifest.get("left_out", {}).items():
        print(f"left out: {name}, {why}")
    print(f"up to scan {manifest['last_scan']}; {', '.join(manifest['files'])}; made {manifest['made']}")
