"""`dewhold run`: control a chamber over Modbus TCP until its cycle is over or somebody ends it."""

from __future__ import annotations

import argparse
import contextlib
import gc
import json
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from math import inf
from pathlib import Path

from controller.cli import options as opt
from controller.cli import report as page
from controller.cli.ending import on_request
from controller.cli.kept import kept
from controller.cli.orders import add_orders, check_orders, script
from controller.cli.sealing import Sealing
from controller.cli.tell import Teller, status_line
from controller.cli.written import require_results, write_summary
from controller.core.frames import Event, RawInputs
from controller.core.orders.commands import Orders
from controller.core.orders.procedure import AT_REST
from controller.core.scan import ScanResult, ScanState
from controller.core.sequence.phase_kinds import KINDS
from controller.errors import UnavailableError
from controller.link.panel import PanelLink
from controller.link.protocol import Link
from controller.link.reach import modbus_link
from controller.report.atstart import forecast_at_start
from controller.report.ran import summarise
from controller.report.summary import Run, Summary
from controller.report.table import table
from controller.runtime.changeover import Changeover, as_recorded
from controller.runtime.clock import Clock, LockstepClock, PacedClock, RealClock
from controller.runtime.desk import DeskOrders
from controller.runtime.logs import set_up_logs
from controller.runtime.loop import Start
from controller.runtime.notify import Notifier
from controller.runtime.orders import MergedOrders, ScriptOrders
from controller.runtime.report import Report
from controller.runtime.restart import InstanceLock
from controller.runtime.resume import begin, last_utc_ms, panel_anew
from controller.runtime.session import CODEC, Asked, Session, prepare
from controller.runtime.sole import WATCH_S, DeviceClaim, own_heartbeat, require_sole
from controller.store.desk import DESK
from controller.store.reader import Reader
from controller.store.recorder import Recorder
from controller.store.seal import seal_cycle
from controller.store.threaded import ThreadedRecorder

INTERRUPTED = 130
THREADED_FROM_S = 0.01  # scans that follow each other faster are recorded inline, a group in a commit
YEARS_H = 87_600.0
NO_MEMORY = Event("note", "MEMORY", (
    "no more memory to be had: the controller sent safe outputs and ended; if they did not arrive, the device's own"
    " watchdog sets them; end other programs on this computer, give it more, or lift the limit set for this one"
))  # fmt: skip
PACE_MIN, PACE_MAX = 0.1, 100_000.0
PACE_HELP = f"a simulated lockstep device at F times real time ({PACE_MIN:g} to {PACE_MAX:,.0f})"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `dewhold run`."""
    opt.add_files(parser, "chamber", "recipe", "mix")
    parser.add_argument(
        "--other-mix", action="append", default=[], metavar="FILE",
        help="another mix that single boards may be of (order charge ... mix=ITS-NAME); may be repeated",
    )  # fmt: skip
    parser.add_argument("--load", type=float, default=120.0, metavar="TONNES", help="fresh product (default: 120)")
    parser.add_argument("--mix-temperature", type=float, default=20.0, metavar="DEGC", help="of the mix (default: 20)")
    parser.add_argument("--empty-bay", type=int, action="append", default=[], metavar="N", help="bay without product")
    parser.add_argument("--host", help="address of the device (default: that of the device file)")
    parser.add_argument("--port", type=int, help="its port (default: that of its file); several have ports in a row")
    parser.add_argument(
        "--out", default="out/run", metavar="DIR", help="where record and summary go, and a restart finds them"
    )
    add_orders(parser)
    parser.add_argument("--stay", action="store_true", help="go on after a cycle, for the next start from the desk")
    parser.add_argument("--scan", type=float, default=1.0, metavar="S", help="scan time (default: 1 s)")
    parser.add_argument("--hours", type=float, default=YEARS_H, metavar="H", help="end after so long in any case")
    pace = parser.add_mutually_exclusive_group()
    pace.add_argument("--pace", type=float, metavar="F", help=PACE_HELP)
    pace.add_argument("--lockstep", action="store_true", help="a simulated lockstep device, as fast as it goes")
    parser.add_argument("--start", metavar="TIME", help="simulated time of the first scan, with --pace or --lockstep")
    parser.add_argument("--no-report", action="store_true", help="make no report.html at the end")
    opt.add_language(parser)
    parser.add_argument("--json", action="store_true", help="print the summary as JSON instead of the table")


def run(args: argparse.Namespace) -> int:
    """Control; 0 when the verdict is pass, 1 when not, 130 when somebody ended it. Raises what `main` says."""
    opt.within("--hours", args.hours, 0.001, YEARS_H, "h")
    if args.pace is not None:
        opt.within("--pace", args.pace, PACE_MIN, PACE_MAX, "times real time")
    check_orders(args)
    session = prepare(_asked(args))
    without = _without_product(args, session)
    missing = [path for path in (Path(args.out), *Path(args.out).parents) if not path.exists()]
    out = opt.out_folder(args.out)
    require_results(out, report=not args.no_report)
    set_up_logs()
    if without:
        print(without, file=sys.stderr, flush=True)
    with InstanceLock(out, made=missing):
        session, report, ended_ms, signals = _control(args, session, out / "record.sqlite")
        summary = _summary(session, out, report)
        at_rest = report.state.sequence.state in AT_REST
        if at_rest and (_ran(out / "record.sqlite") if args.stay else not signals):
            seal_cycle(out / "record.sqlite", summary, ended_ms)
    text = json.dumps(summary, indent=2, allow_nan=False)
    write_summary(out, text)
    # A cycle that is not over has no report yet; whoever ended it may not wait for one either.
    said = "\n" + page.beside(out, args.language) if at_rest and not signals and not args.no_report else ""
    print(text if args.json else table(summary) + f"\n\nrecord and summary: {out}{said}")
    if (slow := _too_slow(args, report)) and not args.json:
        print(slow)
    if not at_rest and not args.json:
        print(f"the cycle is not over ({report.state.sequence.state}); run again with --out {out} to go on with it")
    if signals:
        return INTERRUPTED
    return 0 if summary["verdict"] == "pass" else 1


def _without_product(args: argparse.Namespace, session: Session) -> str:
    """That nothing stands in the chamber, in words; "" when something does, or may come. Raises ConfigError."""
    place, recipe = session.bundle.chamber, session.bundle.recipe
    empty = opt.empty_bays(args, place.bays)
    needs = [f"{number} {phase.kind}" for number, phase in enumerate(recipe.phases, 1) if not KINDS[phase.kind].empty]
    if needs and len(set(empty)) == place.bays:
        limit = f"leaves no place for product, and {recipe.name} has {', '.join(needs)}"
        remedy = "leave a bay out, or say --load 0 for a trial without product"
        raise opt.problem("--empty-bay", ", ".join(map(str, empty)), limit, remedy)
    if args.load > 0.0 or not needs or session.plan.charges.each:
        return ""
    return "dewhold: no product (--load 0): nothing is aged, nothing becomes ready, and the cycle is a trial"


def _control(args: argparse.Namespace, session: Session, record: Path) -> tuple[Session, Report, int, list[int]]:
    """The run itself: (the session in force at its end, its report, UTC ms of its end, signals that ended it)."""
    lockstep = args.lockstep or args.pace is not None
    with contextlib.ExitStack() as stack:
        stack.enter_context(DeviceClaim(session.devices))
        link = modbus_link(session.image, lockstep=lockstep)
        stack.callback(link.close)
        first = _first_contact(args, session, link, record)
        simulated = first.simulated
        if lockstep and not simulated:
            raise UnavailableError(
                f"{session.image.where} does not say that it is simulated: --pace and --lockstep are for a simulated"
                " chamber only; leave them out to control a real one"
            )
        asked, session = session, as_recorded(session, record)
        if said := kept(asked, session, record.parent):
            print(said, file=sys.stderr, flush=True)
        header = session.header("modbus", simulated=simulated)
        began_ms = _first_ms(args, record) if lockstep else time.time_ns() // 1_000_000
        start = begin(session, record, header, began_ms)
        anew = panel_anew(record, session.image.decode, first)
        if anew is not None:
            start = replace(start, events=(*start.events, anew))
        clock, scan_wall_s = _clock(args, session.asked.scan_s, began_ms, start.scan)
        threaded = scan_wall_s >= THREADED_FROM_S
        inner = Recorder(record, header, CODEC, began_ms=began_ms, group_minutes=1, every_scan=threaded)
        recorder = ThreadedRecorder(inner) if threaded else inner
        stack.callback(recorder.close)
        teller = Teller(recorder)
        stack.callback(teller.close)
        orders = script(args, start, session.asked.scan_s)
        source: Orders = ScriptOrders(orders)
        desk, tell = record.with_name(DESK), recorder.notices.append
        changes = Changeover(session, desk, "modbus", simulated=simulated, trouble=lambda: recorder.trouble, tell=tell)
        if not args.lockstep:  # nobody can follow a chamber that runs as fast as it goes
            source = MergedOrders(source, DeskOrders(desk, record, tell))
        runner = session.runner(link=link, clock=clock, orders=source, recorder=teller, changeover=changes)
        notifier = Notifier()
        stack.callback(notifier.close)
        sealing = Sealing(
            record, inner, lambda: changes.session.header("modbus", simulated=simulated), runner.begin_cycle
        )
        stack.callback(sealing.close)
        if args.stay:
            sealing.resume(start)
        gc.collect()
        gc.freeze()  # what the start made stays: a sweep over it would hold a scan up for 30 ms
        stack.callback(gc.unfreeze)
        signals = stack.enter_context(on_request(_ending(runner.stop, notifier)))
        try:
            report = runner.run(
                start,
                max_scans=round(args.hours * 3600.0 / session.asked.scan_s),
                until=None if args.stay else _over(start, max((scan for scan, _order in orders), default=-1)),
                each=_after_each(teller, notifier, sealing if args.stay else None),
            )
        except MemoryError:
            tell(NO_MEMORY)
            raise
        return changes.session, report, clock.utc_ms(start.scan + report.scans), signals


def _too_slow(args: argparse.Namespace, report: Report) -> str:
    """That a simulated chamber did not go as fast as it was to, in words; nothing when it did."""
    reached = report.scans * args.scan / report.wall_s if args.pace and report.wall_s > 0.0 else inf
    if reached >= 0.95 * (args.pace or 0.0):
        return ""
    return f"reached {reached:,.0f} times real time of the {args.pace:,.10g} asked for: this machine does no more here"


def _after_each(
    teller: Teller, notifier: Notifier, sealing: Sealing | None
) -> Callable[[int, ScanResult], None]:
    """Called after every scan that was really done."""
    if not notifier.wanted and sealing is None:
        return teller.status

    def each(scan: int, result: ScanResult) -> None:
        teller.status(scan, result)
        if notifier.wanted:
            notifier.alive(partial(status_line, result))
        if sealing is not None:
            sealing.after(result)

    return each


def _ran(record: Path) -> bool:
    """Whether the newest cycle of the record has one of the process in it, or is what came after the last."""
    with Reader(record) as reader:
        newest = reader.newest()
        return newest is not None and newest.ended_ms is None and newest.cycle in reader.ran()


def _ending(stop: Callable[[], None], notifier: Notifier) -> Callable[[], None]:
    def end() -> None:
        notifier.stopping()
        stop()

    return end


def _first_contact(args: argparse.Namespace, session: Session, link: Link, record: Path) -> RawInputs:
    """The first inputs of a device that nobody else commands. Raises UnavailableError."""
    image = session.image
    word = image.heartbeat_word
    if word is None:
        return image.decode(link.read())  # no heartbeat to watch; `check` says so
    pace = inf if args.lockstep else args.pace
    watch_s = WATCH_S if pace is None else 0.1 + 3.0 * session.asked.scan_s / pace
    look = link.peek if isinstance(link, PanelLink) else link.read
    return require_sole(look, image.decode, image.where, own=own_heartbeat(record, word), watch_s=watch_s)


def _over(start: Start, last_order: int) -> Callable[[ScanResult], bool]:
    """Whether the cycle is over: it was in progress, is at rest, nothing is ordered any more and no trip is latched.

    With a trip latched control goes on: leaving gives the outputs to the device's safe values, and the fan would run.
    """
    scan, started = start.scan - 1, start.state.sequence.state not in AT_REST

    def over(result: ScanResult) -> bool:
        nonlocal scan, started
        scan += 1
        state: ScanState = result.state
        at_rest = state.sequence.state in AT_REST
        started = started or not at_rest
        return started and at_rest and scan >= last_order and True not in state.protection.tripped

    return over


def _asked(args: argparse.Namespace) -> Asked:
    return Asked(
        chamber=args.chamber,
        recipe=args.recipe,
        mix=args.mix,
        mixes=tuple(args.other_mix),
        load_t=opt.load_of(args),
        mix_degC=opt.within("--mix-temperature", args.mix_temperature, 5.0, 40.0, "degC"),
        empty_bays=tuple(args.empty_bay),
        scan_s=opt.within("--scan", args.scan, 0.25, 5.0, "s"),
        host=args.host,
        port=None if args.port is None else int(opt.within("--port", args.port, 1, 65535, "")),
    )


def _first_ms(args: argparse.Namespace, record: Path) -> int:
    """Simulated UTC of the first scan: after the last one in the record, else as asked for."""
    last_ms = last_utc_ms(record)
    return (
        round(1000 * opt.local_time(args.start).timestamp()) if last_ms is None else last_ms + round(1000 * args.scan)
    )


def _clock(args: argparse.Namespace, scan_s: float, began_ms: int, first_scan: int) -> tuple[Clock, float]:
    """The clock and how long a scan takes on the wall. Simulated UTC is began_ms at first_scan."""
    origin_ms = began_ms - round(1000 * scan_s * first_scan)
    if args.lockstep:
        return LockstepClock(origin_ms, scan_s), 0.0
    if args.pace is not None:
        return PacedClock(origin_ms, scan_s, args.pace), scan_s / args.pace
    return RealClock(scan_s), scan_s


def _summary(session: Session, out: Path, report: Report) -> Summary:
    bundle, asked = session.bundle, session.asked
    facts = Run(
        chamber=bundle.chamber.name,
        recipe=bundle.recipe,
        files=bundle.files,
        mix=bundle.mix.name,
        load_t=asked.load_t,
        mix_degC=asked.mix_degC,
        seed=None,
        link="modbus",
        scan_s=asked.scan_s,
        scans=report.scans,
        wall_s=report.wall_s,
        scan_us=report.scan_us,
        exchange_us=report.exchange_us,
        trace_sha256=report.trace_sha256,
        invariants_broken=report.invariants_broken,
        finished=report.state.sequence.state == "complete",
        ready_age_h=bundle.chamber.product.ready_age_h,
    )
    with Reader(out / "record.sqlite") as reader:
        return summarise(reader, replace(facts, ready_forecast=forecast_at_start(reader, reader.header())))
