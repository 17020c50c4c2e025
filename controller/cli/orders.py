"""Orders given with the command that starts a run, each for one moment. A desk for people at work comes beside it."""

from __future__ import annotations

import argparse

from controller.cli.options import problem, within
from controller.core.frames import Command
from controller.core.orders.procedure import AT_REST
from controller.core.orders.verbs import VERBS
from controller.runtime.loop import Start

START_S = 5.0  # so long probes and link are judged before a cycle is ordered to start
WHO = "command line"


def add_orders(parser: argparse.ArgumentParser) -> None:
    """--start-now and --order."""
    parser.add_argument("--start-now", action="store_true", help=f"order the cycle to start after {START_S:g} s")
    parser.add_argument(
        "--order",
        action="append",
        default=[],
        metavar="VERB@S",
        help=f"order so many seconds after the first scan, may be given again; {', '.join(sorted(VERBS))}",
    )


def check_orders(args: argparse.Namespace) -> None:
    """Raises ConfigError for an order that cannot be understood."""
    for text in args.order:
        _order(text)


def script(args: argparse.Namespace, start: Start, scan_s: float) -> list[tuple[int, Command]]:
    """(scan, command) of every order, in their order in time. Raises ConfigError.

    --start-now first resets a cycle that is over; one in progress it does not touch: the start is then refused.
    """
    asked = [_order(text) for text in args.order]
    if args.start_now:
        over = start.state.sequence.state in AT_REST and start.state.sequence.state != "idle"
        asked += [(START_S, "reset")] if over else []
        asked.append((START_S, "start"))
    asked.sort(key=lambda order: order[0])
    return [_command(number, seconds, verb, start.scan, scan_s) for number, (seconds, verb) in enumerate(asked)]


def _order(text: str) -> tuple[float, str]:
    verb, _at, seconds = text.partition("@")
    if verb not in VERBS:
        raise problem("--order", text, f"must begin with one of {', '.join(sorted(VERBS))}", "for example restart@5")
    try:
        return within("--order", float(seconds), 0.0, 7 * 86_400.0, "s"), verb
    except ValueError:
        raise problem("--order", text, "must be VERB@SECONDS", "for example restart@5") from None


def _command(number: int, seconds: float, verb: str, first_scan: int, scan_s: float) -> tuple[int, Command]:
    scan = first_scan + round(seconds / scan_s)
    return scan, Command(f"{verb}-{scan}-{number}", verb, WHO)
