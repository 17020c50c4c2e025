"""`dewhold callout`: tell people who are not there, by mail and web call, until somebody acknowledges."""

from __future__ import annotations

import argparse
import json
import threading
import time
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

import structlog

from controller.callout import words
from controller.callout.outbox import OUTBOX, Letter, Outbox
from controller.callout.planfile import Loaded, load_plan
from controller.callout.roster import gaps, on_duty, resolve
from controller.callout.service import LOOK_S, Service, send_now
from controller.cli import options as opt
from controller.cli.ending import on_request
from controller.config.find import find
from controller.config.summary import table
from controller.runtime.logs import set_up_logs
from controller.runtime.notify import Notifier

GOOD, DID_NOT_HOLD, INTERRUPTED = 0, 1, 130
TEST_PATIENCE_S = 60.0
COUNT_MAX = 100_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold callout`."""
    parser.add_argument("--config", default="demo", metavar="FILE", help="who is told when (default: demo)")
    parser.add_argument(
        "--data", action="append", default=[], metavar="DIR",
        help="folder of a record, may be given again (default: out/run)",
    )
    parser.add_argument("--outbox", metavar="FILE", help=f"what was and is to be sent (default: DIR/{OUTBOX})")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--check", action="store_true", help="check the file, and show who is on call and who is told")
    what.add_argument("--log", action="store_true", help="show what was sent and what became of it")
    what.add_argument("--test", metavar="WHO", help="send a test message now to a person, duty or everybody")
    parser.add_argument("--at", metavar="TIME", help="with --check: as of this local time (2026-03-02T02:30)")
    parser.add_argument("--count", type=int, default=30, metavar="N", help="with --log: so many messages (default: 30)")
    parser.add_argument("--json", action="store_true", help="print the result of --check, --log or --test as JSON")


def run(args: argparse.Namespace) -> int:
    """Tell people until somebody ends it (130), or one of the other jobs: 0 good, 1 a test did not go out."""
    folders = [Path(name) for name in args.data or ["out/run"]]
    outbox_file = Path(args.outbox) if args.outbox else folders[0] / OUTBOX
    if args.log:
        count = int(opt.within("--count", args.count, 1, COUNT_MAX, "messages"))
        if not folders[0].is_dir() and args.outbox is None:
            remedy = "give the --out folder of a cycle or run"
            raise opt.problem("--data", folders[0], "there is no such folder", remedy)
        if not outbox_file.is_file():
            if args.outbox is not None:
                raise opt.problem("--outbox", outbox_file, "there is no such file", "give that of `dewhold callout`")
            _show((), as_json=args.json)
            return GOOD
        with Outbox(outbox_file) as outbox:
            return _log(outbox, count, as_json=args.json)
    loaded = load_plan(find("callout", args.config))
    if args.check:
        return _check(loaded, _moment(args.at, loaded), as_json=args.json)
    set_up_logs()
    with Outbox(outbox_file) as outbox:
        service = Service(loaded, folders, outbox, say=structlog.get_logger().info)
        try:
            return _test(args, loaded, service, outbox) if args.test else _serve(service)
        finally:
            service.end()


def _serve(service: Service) -> int:
    asked = threading.Event()
    notifier = Notifier()
    try:
        with on_request(asked.set):
            while not asked.is_set():
                service.turn()
                notifier.alive(service.status)
                asked.wait(LOOK_S)
        notifier.stopping()
    finally:
        notifier.close()
    return INTERRUPTED


def _test(args: argparse.Namespace, loaded: Loaded, service: Service, outbox: Outbox) -> int:
    now_ms = time.time_ns() // 1_000_000
    people = resolve(loaded.plan, (args.test,), now_ms)
    known = {person.key for person in loaded.plan.people}
    if not people or not set(people) <= known:
        raise opt.problem("--test", args.test, "reaches nobody now", f"name one of {', '.join(sorted(known))}")
    wanted = outbox.put_test(f"asked {now_ms}", people, loaded.ways, now_ms)
    letters = send_now(service, wanted, outbox, TEST_PATIENCE_S)
    _show(letters, as_json=args.json)
    return GOOD if all(letter.state == "sent" for letter in letters) else DID_NOT_HOLD


def _log(outbox: Outbox, count: int, *, as_json: bool) -> int:
    _show(outbox.letters(count), as_json=as_json)
    return GOOD


def _show(letters: tuple[Letter, ...] | list[Letter], *, as_json: bool) -> None:
    if as_json:
        print(json.dumps([asdict(letter) for letter in letters], indent=2))
        return
    if not letters:
        print("nothing was sent yet")
        return
    head = ("made", "kind", "to", "by", "state", "tries", "subject; what was said")
    rows = [
        (_time(letter.made_ms), letter.kind, letter.person, letter.channel, letter.state, str(letter.tries),
         "; ".join(text for text in (letter.subject, letter.said) if text))
        for letter in letters
    ]
    print(table([head, *rows]))


def _check(loaded: Loaded, now_ms: int, *, as_json: bool) -> int:
    plan = loaded.plan
    names = {person.key: person.name for person in plan.people}
    duty = [names[key] for key in on_duty(plan, now_ms)]
    holes = gaps(plan, now_ms) if plan.shifts else []
    steps = [
        {"priority": priority, "after_min": step.after_min,
         "people": [names[key] for key in resolve(plan, step.who, now_ms + round(60_000 * step.after_min))],
         "hours": f"{rule.begin} to {rule.end}" if rule.begin else ""}
        for rule in plan.rules for priority in rule.priorities for step in rule.steps
    ]
    if as_json:
        said = [{"begin": gap.begin.isoformat(), "end": gap.end.isoformat()} for gap in holes]
        print(json.dumps({"ok": True, "on_duty": duty, "steps": steps, "gaps": said}, indent=2))
        return GOOD
    print(f"{plan.name}, {words.local(plan, now_ms, 0)}: on call: {', '.join(duty) or 'nobody'}\n")
    head = ("priority", "after", "told", "hours")
    rows = [(str(one["priority"]), f"{one['after_min']:g} min", ", ".join(one["people"]) or "nobody: next step at once",  # type: ignore[arg-type]
             str(one["hours"])) for one in steps]
    print(table([head, *rows]))
    if plan.test is not None:
        print(f"\ndaily test at {plan.test.at} to {', '.join(plan.test.who)}")
    for gap in holes:
        begin, end = (words.local(plan, 1000 * at.timestamp(), 0) for at in (gap.begin, gap.end))
        print(f"nobody is on call from {begin} to {end}")
    if not holes and plan.shifts:
        print("\nsomebody is on call at every moment of the coming week")
    return GOOD


def _moment(text: str | None, loaded: Loaded) -> int:
    if text is None:
        return time.time_ns() // 1_000_000
    from controller.callout.roster import zone_of

    try:
        there = datetime.fromisoformat(text)
    except ValueError:
        raise opt.problem("--at", text, "must be a local time", "for example 2026-03-02T02:30") from None
    if there.tzinfo is None:
        there = there.replace(tzinfo=zone_of(loaded.plan.zone))
        back = there.astimezone(UTC).astimezone(there.tzinfo)
        if back.replace(tzinfo=None) != there.replace(tzinfo=None):  # clocks were put forward over it
            raise opt.problem("--at", text, f"is no time in {loaded.plan.zone}: clocks go forward then",
                              f"give a time that there is, for example {back:%Y-%m-%dT%H:%M}")  # fmt: skip
    return round(there.timestamp() * 1000)


def _time(at_ms: int) -> str:
    return datetime.fromtimestamp(at_ms / 1000.0).astimezone().strftime("%Y-%m-%d %H:%M:%S")


