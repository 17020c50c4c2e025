"""strace: which calls are watched, what is done at the n-th, and what its log says."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

Way = Literal["kill", "full", "error", "readonly", "short"]
Thread = Literal["main", "recorder"]

# What changes a file or its place. `?`: not every machine has it.
WATCHED = (
    "write", "pwrite64", "writev", "pwritev", "fsync", "fdatasync", "ftruncate", "fallocate", "rename", "renameat",
    "renameat2", "unlink", "unlinkat",
)  # fmt: skip
OPTIONAL = ("?rename", "?renameat", "?renameat2", "?unlink", "?unlinkat", "?writev", "?pwritev")
# What SQLite asks of a disk, and what puts a whole file in an older one's place.
REFUSABLE = (
    "pwrite64", "fsync", "fdatasync", "ftruncate", "rename", "renameat", "renameat2", "unlink", "unlinkat",
)  # fmt: skip
_LINE = re.compile(r"^(\d+)\s+(\w+)\((.*)$")
_ATTACH_S = 30.0


class Call(NamedTuple):
    """One call of a clean run. nth: of this thread and this kind of call, from 1, as strace counts."""

    thread: int
    name: str
    nth: int
    text: str


@dataclass(frozen=True, slots=True)
class Inject:
    """What happens at the n-th call of a kind in one thread, from where that begins.

    limit: for a short write: how large a file may get, which is the middle of this write.  file: which one that is.
    """

    way: Way
    name: str
    nth: int
    thread: Thread
    limit: int | None = None
    file: str = ""

    def words(self) -> list[str]:
        """Arguments of strace."""
        if self.way == "short":
            return ["-e", "trace=none"]
        spec = {
            "kill": f"signal=KILL:when={self.nth}",
            "full": f"error=ENOSPC:when={self.nth}..{self.nth + 2}",
            "error": f"error=EIO:when={self.nth}..{self.nth + 2}",
            "readonly": f"error=EROFS:when={self.nth}..{self.nth + 2}",
        }[self.way]
        return ["-e", f"trace={self.name}", "-e", f"inject={self.name}:{spec}"]


COUNT = ["-f", "-y", "-e", "trace=" + ",".join(name if f"?{name}" not in OPTIONAL else f"?{name}" for name in WATCHED)]


def unavailable() -> str:
    """Why calls cannot be traced here; "" when they can."""
    strace = shutil.which("strace")
    if strace is None:
        return "no strace (Debian: apt-get install strace)"
    tried = subprocess.run(
        [strace, "-f", "-qq", "-e", "trace=write", "-e", "inject=write:error=EIO:when=1..9", sys.executable, "-c",
         "import os; os.write(1, b'1')"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    if tried.returncode == 1 and "Input/output error" in tried.stderr:
        return ""
    said = (tried.stderr.strip().splitlines() or ["it does nothing"])[-1]
    return f"strace may not trace here ({said}); a container needs the capability SYS_PTRACE"


def attach(thread: int, words: list[str], log: Path) -> subprocess.Popen[str]:
    """strace on a thread that stands still."""
    deadline = time.monotonic() + _ATTACH_S
    status = Path(f"/proc/{thread}/status")
    _wait(status, "State:\tT", deadline)
    tracer = subprocess.Popen(
        ["strace", "-q", "-o", str(log), *words, "-e", "signal=none", "-p", str(thread)],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    try:
        _wait(status, f"TracerPid:\t{tracer.pid}\n", deadline)
    except BaseException:
        tracer.kill()
        raise
    return tracer


def _wait(status: Path, text: str, deadline: float) -> None:
    while text not in status.read_text(encoding="utf-8"):
        if time.monotonic() > deadline:
            raise RuntimeError(f"{status} does not come to {text!r} in {_ATTACH_S:g} s")
        time.sleep(0.002)


def calls(log: Path) -> list[Call]:
    """Every watched call of a run, in order."""
    counts: dict[tuple[int, str], int] = {}
    found = []
    for line in log.read_text(encoding="utf-8", errors="replace").splitlines():
        match = _LINE.match(line)
        if match is None:
            continue
        thread, name = int(match[1]), match[2]
        counts[thread, name] = nth = counts.get((thread, name), 0) + 1
        found.append(Call(thread, name, nth, match[3]))
    return found
