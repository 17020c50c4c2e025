"""Orders given with the command that starts a run, each for one moment. A desk for people at work comes beside it."""

from __future__ import annotations

import argparse
import shlex
from typing import NamedTuple

from controller.cli.options import problem, within
from controller.cli.order_words import given
from controller.core.frames import Command
from controller.core.orders.procedure import AT_REST
from controller.runtime.loop import Start

START_S = 5.0  # so long probes and link are judged before a cycle is ordered to start
WHO, ROLE = "command line", "operator"
_EXAMPLE = "for example restart@5"


class _Asked(NamedTuple):
    """seconds: after the first scan."""

    seconds: float
    verb: str
    args: dict[str, str | float | bool]


def add_orders(parser: argparse.ArgumentParser) -> None:
    """--start-now and --order."""
    parser.add_argument("--start-now", action="store_true", help=f"order the cycle to start after {START_S:g} s")
    parser.add_argument(
        "--order", action="append", default=[], metavar="ORDER@S",
        help="an order as `dewhold order --help` lists them, so many seconds after the first scan: restart@5, or"
        " 'trim tag=temperature value=0.5 hours=2 reason=\"a trial\" @60'; may be given again",
    )  # fmt: skip


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
        asked += [_Asked(START_S, "reset", {})] if over else []
        asked.append(_Asked(START_S, "start", {}))
    asked.sort(key=lambda order: order.seconds)
    return [_command(number, order, start.scan, scan_s) for number, order in enumerate(asked)]


def _order(text: str) -> _Asked:
    """VERB NAME=VALUE ... @SECONDS, words with spaces in quotes."""
    said, _at, seconds = text.rpartition("@")
    try:
        words = shlex.split(said or text)
    except ValueError:
        raise problem("--order", text, "has a quote that nobody closes", "close it") from None
    verb, *rest = words or [""]
    args = given(verb, rest, '--order "{} @60"', "--order")
    try:
        after_s = float(seconds if said else "")
    except ValueError:
        raise problem("--order", text, "must be an order, @ and seconds", _EXAMPLE) from None
    return _Asked(within("--order", after_s, 0.0, 7 * 86_400.0, "s"), verb, args)


def _command(number: int, order: _Asked, first_scan: int, scan_s: float) -> tuple[int, Command]:
    scan = first_scan + round(order.seconds / scan_s)
    args = {**order.args, "role": ROLE} if order.args else {}
    return scan, Command(f"{order.verb}-{scan}-{number}", order.verb, WHO, tuple(sorted(args.items())))
