"""One controller on a copy of a folder, with somebody who reads, until it ends or is ended; what is known then."""

from __future__ import annotations

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from controller.store.desk import DESK, Desk, Order, ask
from crashpoints import witness
from crashpoints.stage import Stage
from crashpoints.tracing import Inject, Thread, attach

RECORD = "record.sqlite"
PATIENCE_S = 120.0
PACE = 50.0  # 20 ms a scan: the recorder has its thread
LIMITED_SCANS = 12
_LOOK_S = 0.002


@dataclass(slots=True)
class Seen:
    """What people outside knew. status: exit code, or minus the signal. lines: journal id -> chain; scan: the newest
    that a reader saw; lived: steps of the device, each with what drove it; asked: ids of orders given at the desk;
    cut: a write was cut short by the limit."""

    status: int = 0
    said: str = ""
    lines: dict[int, str] = field(default_factory=dict)
    scan: int = -1
    lived: int = 0
    asked: list[str] = field(default_factory=list)
    driven: list[tuple[float, ...]] = field(default_factory=list)
    cut: bool = False


class Nursery:
    """The process whose forks are the controllers."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "crashpoints.nursery"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)},
        )  # fmt: skip
        self._running: int | None = None

    def begin(self, arguments: list[str], folder: Path, said: Path, traced: Thread | None) -> tuple[int, int]:
        """Start one: (process, thread that stands still for its tracer). That thread's calls are to be traced."""
        asked = {"arguments": arguments, "folder": str(folder), "said": str(said), "traced": traced}
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._running = int(self._answer("pid"))
        return self._running, int(self._answer("thread")) if traced else self._running

    def end(self) -> int:
        """Wait until the one that runs is over: its exit code, or minus the signal."""
        status = int(self._answer("end"))
        self._running = None
        return status

    def close(self) -> None:
        """No more of them."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        if self._running is not None:
            with suppress(ProcessLookupError):
                os.kill(self._running, signal.SIGKILL)
        self._process.wait(PATIENCE_S)
        assert self._process.stdout is not None
        self._process.stdout.close()

    def _answer(self, kind: str) -> str:
        assert self._process.stdout is not None
        word, _, value = self._process.stdout.readline().partition(" ")
        if word != kind:
            raise RuntimeError(f"the nursery says {word!r} {value!r} where {kind} is due; it ended")
        return value


@dataclass(frozen=True, slots=True, kw_only=True)
class Play:
    """What one controller is to live through. arguments: of `dewhold run`, beside folder, port and pace.

    scans: it ends after so many. reader_first: somebody reads already when it starts, so the log of the one before
    is not folded back at the start. asks: at the desk after so many steps. trip: somebody presses the button of a
    person inside at this step.
    """

    arguments: tuple[str, ...]
    scans: int
    reader_first: bool = False
    asks: tuple[int, ...] = ()
    trip: int | None = None


class Theatre:
    """Plays on one stage with one nursery."""

    def __init__(self, stage: Stage, folder: Path) -> None:
        self.stage, self.folder = stage, folder
        self.nursery = Nursery()

    def close(self) -> None:
        """The nursery ends."""
        self.nursery.close()

    def run(
        self, play: Play, out: Path, tracer: list[str] | Inject | None, log: Path,
        *, kill_when: Callable[[], bool] | None = None,
    ) -> Seen:
        """One controller from its start to its end. tracer: what strace is told.

        kill_when: it is killed then.
        """
        stage, limit = self.stage, tracer.limit if isinstance(tracer, Inject) else None
        acts: dict[int, Callable[[], None]] = {}
        if play.trip is not None:
            acts = {play.trip: lambda: stage.person(inside=True), play.trip + 4: lambda: stage.person(inside=False)}
        stage.reset(acts)
        said = self.folder / "said.txt"
        said.unlink(missing_ok=True)
        out.mkdir(exist_ok=True)
        reader = None
        if play.reader_first:
            reader = self._reader(out)
            assert reader.stdout is not None
            reader.stdout.readline()  # it has seen what is there
        arguments = [
            "run", "--port", str(stage.port), "--recipe", str(self.folder / "quick.toml"), "--out", str(out),
            "--pace", f"{PACE:g}", "--hours", f"{play.scans / 3600.0:.6f}", "--no-report", *play.arguments,
        ]  # fmt: skip
        traced: Thread | None = tracer.thread if isinstance(tracer, Inject) else "main" if tracer else None
        pid, thread = self.nursery.begin(arguments, self.folder, said, traced)
        strace = None
        if tracer is not None:
            log.unlink(missing_ok=True)
            strace = attach(thread, tracer.words() if isinstance(tracer, Inject) else tracer, log)
        if limit is not None:
            resource.prlimit(pid, resource.RLIMIT_FSIZE, (limit, resource.RLIM_INFINITY))
        if tracer is not None:
            os.kill(pid, signal.SIGCONT)
        seen = Seen()
        over = threading.Event()
        cut = out / tracer.file if isinstance(tracer, Inject) and tracer.limit is not None else None
        follower = threading.Thread(
            target=self._follow, args=(play, out, pid, limit, cut, kill_when, seen, reader, over)
        )
        follower.start()
        try:
            seen.status = self.nursery.end()
        finally:
            over.set()
            follower.join()
        if strace is not None:
            strace.wait(PATIENCE_S)
        seen.said = said.read_text(encoding="utf-8", errors="replace") if said.exists() else ""
        seen.lived, seen.driven = stage.scans, list(stage.lived.driven)
        return seen

    def _reader(self, out: Path) -> subprocess.Popen[str]:
        return subprocess.Popen(
            [sys.executable, "-I", "-S", witness.__file__, str(out / RECORD)], stdout=subprocess.PIPE, text=True
        )

    def _follow(
        self, play: Play, out: Path, pid: int, limit: int | None, cut: Path | None,
        kill_when: Callable[[], bool] | None, seen: Seen, reader: subprocess.Popen[str] | None, over: threading.Event,
    ) -> None:
        """Beside a controller that runs: read, ask, lift the limit, end what hangs."""
        stage, asks, deadline = self.stage, list(play.asks), time.monotonic() + PATIENCE_S
        lift: int | None = None
        while not over.is_set():
            scans = stage.scans
            if reader is None and scans:
                reader = self._reader(out)
            if asks and scans >= asks[0]:
                asks.pop(0)
                with Desk(out / DESK) as desk:
                    seen.asked.append(ask(desk, Order(verb="silence", who="reader", role="operator")))
            if limit is not None:
                if lift is None and cut is not None and _size(cut) == limit:
                    lift, seen.cut = scans + LIMITED_SCANS, True
                if lift is not None and scans >= lift:
                    resource.prlimit(pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
                    limit = None
            if time.monotonic() > deadline or (kill_when is not None and kill_when()):
                with suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                kill_when, deadline = None, float("inf")
            time.sleep(_LOOK_S)
        if reader is not None:
            reader.kill()
            output, _errors = reader.communicate()
            _note(output, seen)


def copied(folder: Path, to: Path) -> Path:
    """A fresh copy of a folder; not the shared memory of the log, which is made anew as after a power cut."""
    shutil.rmtree(to, ignore_errors=True)
    shutil.copytree(folder, to, ignore=shutil.ignore_patterns("*-shm"))
    return to


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except FileNotFoundError:
        return 0


def _note(output: str, seen: Seen) -> None:
    for line in output.splitlines():
        words = line.split()
        if words[0] == "line" and len(words) == 3 and len(words[2]) == 64:  # the last one may be cut off
            seen.lines[int(words[1])] = words[2]
        elif words[0] == "scan" and len(words) == 2:
            seen.scan = max(seen.scan, int(words[1]))
