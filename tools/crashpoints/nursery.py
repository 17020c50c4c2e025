"""Starts controllers quickly: everything is imported once, then each one is a fork of this process.

A line of JSON in (arguments, folder, file for what is said, whether to wait for a tracer), `pid N` out, and
`end STATUS` when it is over: an exit code, or minus the signal.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import traceback
from pathlib import Path

import controller.cli.run  # noqa: F401  what takes long to import
from controller.cli.main import main as dewhold


def main() -> None:
    """Until the input ends."""
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(asked)
        print(f"pid {child}", flush=True)
        _pid, status = os.waitpid(child, 0)
        print(f"end {os.waitstatus_to_exitcode(status)}", flush=True)


def _become(asked: dict[str, object]) -> None:
    """Be the controller; never returns."""
    code = 99
    try:
        said = os.open(str(asked["said"]), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(said, 1)
        os.dup2(said, 2)
        os.close(said)
        os.chdir(Path(str(asked["folder"])))
        if asked["traced"]:
            os.kill(os.getpid(), signal.SIGSTOP)  # until the tracer is there, so that its counts begin here
        arguments = asked["arguments"]
        assert isinstance(arguments, list)
        code = dewhold([str(word) for word in arguments])
        sys.stdout.flush()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 1
    except BaseException:  # noqa: BLE001  said as the interpreter would
        traceback.print_exc()
        sys.stderr.flush()
        code = 1
    finally:
        os._exit(code)


if __name__ == "__main__":
    main()
