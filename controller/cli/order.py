"""`dewhold order`: give a running controller one order by its desk, and say what became of it; or list what is set by
hand, what is due, and hours of drives. Whoever may write into the folder may do this: accounts are the page's."""

from __future__ import annotations

import argparse
import getpass
import json
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from controller.cli import options as opt
from controller.cli.order_words import given
from controller.config.find import find
from controller.config.loader import read
from controller.core.hand.roles import ROLES
from controller.core.orders.arguments import FORMS
from controller.core.orders.verbs import NEXT_PHASE, SAFE, TROUBLE
from controller.core.sequence.recipe import Recipe
from controller.errors import UnavailableError
from controller.report.marks import counted
from controller.store.desk import DESK, EXPIRES_S, EXPIRES_S_MAX, Desk, Order, Outcome, ask, keep_recipe, wait_outcome
from controller.store.overridden import Overridden, overridden
from controller.store.reader import Reader
from controller.store.upkeep import DriveHours, Due, drive_hours, due_list

RECORD = "record.sqlite"
LINES_BACK = 20_000  # an outcome farther back than this is not looked for
_DONE = {"bypass": "bypassed", "force": "forced", "simulate": "simulated", "manual": "in manual", "trim": "trimmed"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold order`."""
    parser.formatter_class, parser.epilog = argparse.RawDescriptionHelpFormatter, _all_verbs()
    parser.add_argument("verb", nargs="?", metavar="VERB", help="one of those below")
    parser.add_argument("words", nargs="*", metavar="NAME=VALUE", help="its arguments, as listed below")
    parser.add_argument("--out", default="out/run", metavar="DIR", help="folder of the controller (default: out/run)")
    parser.add_argument("--who", metavar="NAME", help="who gives it (default: the user of this computer)")
    parser.add_argument("--role", default="operator", choices=ROLES, help="believed, see below (default: operator)")
    parser.add_argument("--seen", default="", metavar="STATE", help="refused unless the chamber is in this state")
    parser.add_argument("--id", default="", metavar="ID", help="of your own, 8 to 64 letters, digits, . _ -: "
                        "the same order again under it is no second one, for a script that tries again")
    parser.add_argument("--wait", type=float, default=EXPIRES_S, metavar="S", help="longest wait (default: 30 s)")
    parser.add_argument("--list", action="store_true", help="list what is set by hand, what is due, hours of drives")
    parser.add_argument("--json", action="store_true", help="print it as JSON")


def run(args: argparse.Namespace) -> int:
    """Give the order or list; 0 done, 1 refused with its reason, 3 nobody took it."""
    asked = {} if args.list else given(args.verb, args.words)
    out, args.id = Path(args.out), _id(args.id)
    if not (out / RECORD).is_file():
        raise UnavailableError(f"no controller has run in {out}: give the --out folder of `dewhold run`")
    if args.list:
        return _list(out, as_json=args.json)
    wait_s = opt.within("--wait", args.wait, 1.0, EXPIRES_S_MAX, "s")
    with Reader(out / RECORD) as record:
        newest = record.newest()
    if newest is not None and newest.ended_ms is not None:  # a desk laid down there would be read by nobody
        raise UnavailableError(
            f"nobody takes orders in {out}: its cycle is over; give the --out folder of a controller that runs"
        )
    with Desk(out / DESK) as desk, Reader(out / RECORD) as record:
        if args.verb == "start" and isinstance(asked.get("recipe"), str):
            asked["recipe"] = _recipe(desk, str(asked["recipe"]), args.who or getpass.getuser())
        if args.verb == NEXT_PHASE and "phase" not in asked and (number := _phase_meant(desk, record, args.id)):
            asked["phase"] = float(number)
            if not args.json:
                print(f"{NEXT_PHASE}: given for phase {number}, which runs now; phase={number} says so yourself")
        order = Order(
            verb=args.verb, who=args.who or getpass.getuser(), role=args.role, args=asked, seen=args.seen,
            expires_s=wait_s, id=args.id,
        )  # fmt: skip
        after = max(0, record.last_line() - (LINES_BACK if args.id else 0))  # it may have its outcome already
        found = wait_outcome(record, ask(desk, order), wait_s + 2.0, after)
    return _say(args.verb, found, as_json=args.json)


def _all_verbs() -> str:
    """Every verb with its arguments and an example, and who is believed."""
    lines = ["verbs (an argument in brackets may be left out; yes and no are values too):"]
    for verb, form in FORMS.items():
        lines.append(f"  {verb}: {form.does}")
        for one in form.arguments:
            name = one.name if one.needed else f"[{one.name}]"
            lines.append(f"      {name:<12} {one.says}")
        if form.example:
            lines.append(f"      e.g.         {verb} {form.example}")
    safe = sorted(verb for verb in SAFE if verb != TROUBLE)
    lines += [
        "",
        "--seen is not looked at for what stops, tells or only takes something back:",
        f"  {', '.join(safe[: len(safe) // 2])},",
        f"  {', '.join(safe[len(safe) // 2 :])}",
        "--who and --role are believed: a record of who ordered, no check (lift-lock compares and believes them).",
        "  Whoever may write into the folder may order; accounts and roles are checked by the page.",
        "A script that may try again gives each order an --id, and next-phase its phase=N: without it the phase that",
        "  runs when the order is sent is meant, and said; a second try would mean the next one.",
    ]
    return "\n".join(lines)


def _id(text: str) -> str:
    if text and not re.fullmatch(r"[A-Za-z0-9._-]{8,64}", text):
        raise opt.problem("--id", text, "must be 8 to 64 letters, digits, . _ or -", "for example --id shift-3-rack-17")
    return text


def _phase_meant(desk: Desk, record: Reader, id_: str) -> int:
    """Number of the phase that runs, from 1; of an order that was given before, the one that it was given for. 0 where
    none has begun."""
    if id_ and (rows := desk.rows("SELECT args FROM commands WHERE id = ?", (id_,))):
        return int(json.loads(rows[0][0]).get("phase", 0))
    begun = [line for line in record.journal(kind="phase") if line.data.get("what") == "begin"]
    return int(begun[-1].data["phase"]) + 1 if begun else 0


def _recipe(desk: Desk, name: str, who: str) -> str:
    """A version's SHA-256 as it is; a file's text is laid down at the desk under its own."""
    if len(name) == 64 and "." not in name:
        return name
    file = read(find("recipe", name), Recipe)
    return keep_recipe(desk, file.value.name, file.text, who, why="given with an order to start")


def _say(verb: str, found: Outcome | None, *, as_json: bool) -> int:
    if found is None:
        raise UnavailableError(f"nobody took the order {verb}: no controller runs there, or it cannot read its desk")
    if as_json:
        print(json.dumps({"ok": found.done, "verb": verb, **found._asdict()}, indent=2))
    else:
        why = found.reason if found.reason.startswith("refused") else f"refused, {found.reason}"
        print(f"{verb}: {'done' if found.done else why}")
    return 0 if found.done else 1


def _list(out: Path, *, as_json: bool) -> int:
    with Reader(out / RECORD) as record:
        hand, due, hours = overridden(record), due_list(record), drive_hours(record)
    if as_json:
        print(json.dumps(_facts(hand, due, hours), indent=2))
        return 0
    lines = ["set by hand:", *[f"  {_hand(one)}" for one in hand]] if hand else ["set by hand: nothing"]
    lines += ["to do:", *[f"  {_due(one)}" for one in due]] if due else ["to do: nothing is in the chamber file"]
    lines += ["drives:", *[f"  {_hours(one)}" for one in hours]] if hours else ["drives: none are counted"]
    print("\n".join(lines))
    return 0


def _hand(one: Overridden) -> str:
    whose = f"by {one.who} ({one.role or 'no role'}) since {_at(one.since_ms)}: {one.reason}"
    if one.until_ms is None:
        return f"locked out {whose}"
    value = "" if one.kind == "bypass" else f" at {one.value:g}"
    return f"{one.tag} {_DONE[one.kind]}{value} until {_at(one.until_ms)}, {whose}"


def _due(one: Due) -> str:
    when = "" if one.due_ms is None else f" {'since' if one.is_due else 'on'} {_at(one.due_ms)}"
    state = f"OVERDUE, due{when}" if one.overdue else f"due{when}" if one.is_due else f"not due, next{when}"
    state = "not due" if when == "" and not one.is_due else state
    last = f"; last {_at(one.done_ms)} by {one.who}" if one.done_ms is not None else ""
    return f"{one.item.tag} ({one.item.text}): {state}{last}" + (f"; {one.item.action}" if one.is_due else "")


def _hours(one: DriveHours) -> str:
    return f"{one.tag}: {one.hours:.1f} h, {counted(one.starts, 'start')}{', on now' if one.on else ''}"


def _at(utc_ms: int) -> str:
    return datetime.fromtimestamp(utc_ms / 1000.0, UTC).strftime("%Y-%m-%d %H:%M UTC")


def _facts(hand: tuple[Overridden, ...], due: tuple[Due, ...], hours: tuple[DriveHours, ...]) -> dict[str, Any]:
    return {
        "by_hand": [{name: getattr(one, name) for name in Overridden.__slots__} for one in hand],
        "due": [
            {
                "tag": one.item.tag, "text": one.item.text, "action": one.item.action, "kind": one.item.kind,
                "is_due": one.is_due, "overdue": one.overdue, "due_ms": one.due_ms, "done_ms": one.done_ms,
                "who": one.who, "note": one.note,
            }
            for one in due
        ],
        "drives": [{name: getattr(one, name) for name in DriveHours.__slots__} for one in hours],
    }  # fmt: skip
