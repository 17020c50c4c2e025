"""`dewhold`: one entry, one subcommand each, exit codes that a script can rely on.

0 good; 1 the thing checked did not hold; 2 bad input; 3 could not (no device, no disk); 130 interrupted.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from importlib import import_module

from controller import __version__
from controller.cli.parser import Parser, with_values_below_zero
from controller.errors import ConfigError, InvariantError, UnavailableError

NO_MEMORY = (
    "no more memory to be had, so it ended; end other programs on this computer, give it more, or lift the limit that"
    " is set for this one, then start it again"
)
GOOD, DID_NOT_HOLD, BAD_INPUT, COULD_NOT, INTERRUPTED = 0, 1, 2, 3, 130

# name -> (module, help). Modules are imported only when asked for: `dewhold check` must start fast.
COMMANDS = {
    "cycle": ("controller.cli.cycle", "run a whole simulated cycle against the chamber model and sum it up"),
    "plant": ("controller.cli.plant", "serve a simulated chamber as a Modbus TCP device"),
    "run": ("controller.cli.run", "control a chamber (or a simulated one) over Modbus TCP"),
    "order": ("controller.cli.order", "give a running controller an order, or list what is set by hand and due"),
    "page": ("controller.cli.page", "serve the operator's page of one chamber or a site"),
    "campaign": ("controller.cli.campaign", "put many simulated chambers in trouble and say what did not hold"),
    "report": ("controller.cli.report", "make the report of a cycle from its record, or verify a record"),
    "callout": ("controller.cli.callout", "tell people who are not there, by mail and web call"),
    "backup": ("controller.cli.backup", "copy a record while it is written, or restore a copy"),
    "check": ("controller.cli.check", "check chamber, point, recipe and mix files"),
    "bench": ("controller.cli.bench", "measure speed, closure and control quality against their targets"),
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    arguments = with_values_below_zero(sys.argv[1:] if argv is None else argv)
    if not __debug__:
        print("dewhold: refuses to run with python -O: its invariants are asserts; run it without -O", file=sys.stderr)
        return BAD_INPUT
    parser = _parser(arguments)
    args = _parsed(parser, arguments)
    try:
        return int(args.run(args))
    except ConfigError as error:
        return _say_config(error, as_json=getattr(args, "json", False))
    except UnavailableError as error:
        return _say(str(error), COULD_NOT, as_json=getattr(args, "json", False))
    except InvariantError as error:
        return _say(f"invariant broken: {error}", DID_NOT_HOLD, as_json=getattr(args, "json", False))
    except MemoryError:
        return _say(NO_MEMORY, COULD_NOT, as_json=False)
    except KeyboardInterrupt:
        print("dewhold: interrupted", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        sys.stderr.close()  # the reader went away; nothing is left to say
        return GOOD


def _parsed(parser: Parser, arguments: Sequence[str]) -> argparse.Namespace:
    """The options. Words of an order may stand behind them too: `order lift-lock --who ben of=anna`."""
    args, left = parser.parse_known_args(arguments)
    if left and hasattr(args, "words") and not any(word.startswith("-") for word in left):
        args.words += left
    elif left:
        parser.error(f"unrecognized arguments: {' '.join(left)}")
    return args


def _parser(arguments: Sequence[str]) -> Parser:
    parser = Parser(
        prog="dewhold",
        description="Holds the dew point of a concrete curing chamber. Control and monitoring only, never a safety "
        "function.",
    )
    parser.add_argument("--version", action="version", version=f"dewhold {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    asked = next((word for word in arguments if not word.startswith("-")), None)
    for name, (module_name, text) in COMMANDS.items():
        command = commands.add_parser(name, help=text, description=text)
        if name == asked:
            module = import_module(module_name)
            module.add_arguments(command)
            command.set_defaults(run=module.run)
    return parser


def _say_config(error: ConfigError, *, as_json: bool) -> int:
    if as_json:
        problems = [
            {"file": p.file, "field": p.field, "value": p.value, "limit": p.limit, "remedy": p.remedy}
            for p in error.problems
        ]
        print(json.dumps({"ok": False, "problems": problems}, indent=2))
    else:
        count = len(error.problems)
        for problem in error.problems:
            print(problem, file=sys.stderr)
        print(f"dewhold: {count} problem{'s' if count != 1 else ''}, nothing was started", file=sys.stderr)
    return BAD_INPUT


def _say(text: str, code: int, *, as_json: bool) -> int:
    if as_json:
        print(json.dumps({"ok": False, "error": text}, indent=2))
    else:
        print(f"dewhold: {text}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
