"""Starts controllers quickly: everything is imported once, then each one is a fork of this process.

A line of JSON in (arguments, folder, file for what is said, which thread is traced), `pid N` out, `thread N` when the
traced one stands still for its tracer, and `end STATUS` when it is over: an exit code, or minus the signal.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
import traceback
from pathlib import Path
from typing import Any

import controller.cli.run  # noqa: F401  what takes long to import
from controller.cli.main import main as dewhold
from controller.store.threaded import ThreadedRecorder


def main() -> None:
    """Until the input ends."""
    for line in sys.stdin:
        asked = json.loads(line)
        child = os.fork()
        if child == 0:
            _become(asked)
        _pid, status = os.waitpid(child, 0)
        print(f"end {os.waitstatus_to_exitcode(status)}", flush=True)


def _become(asked: dict[str, object]) -> None:
    """Be the controller; never returns."""
    code = 99
    try:
        answers = os.dup(1)
        os.write(answers, f"pid {os.getpid()}\n".encode())
        said = os.open(str(asked["said"]), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.dup2(said, 1)
        os.dup2(said, 2)
        os.close(said)
        os.chdir(Path(str(asked["folder"])))
        if asked["traced"] == "main":
            _stand_still(answers)
        elif asked["traced"] == "recorder":
            _when_it_begins(answers)
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


def _stand_still(answers: int) -> None:
    """Until the tracer is there, so that its counts begin here."""
    os.write(answers, f"thread {threading.get_native_id()}\n".encode())
    os.kill(os.getpid(), signal.SIGSTOP)


def _when_it_begins(answers: int) -> None:
    """The recorder's thread stands still before its first row, and everything with it."""
    work = ThreadedRecorder._work

    def stopped_first(recorder: ThreadedRecorder[Any]) -> None:
        _stand_still(answers)
        work(recorder)

    ThreadedRecorder._work = stopped_first  # type: ignore[method-assign, assignment]


if __name__ == "__main__":
    main()
