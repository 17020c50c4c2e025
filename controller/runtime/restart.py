"""Coming back after a stop, a crash or a power cut: one controller a record, state restored, never resumed silently."""

from __future__ import annotations

import fcntl
import os
import socket
import time
from collections.abc import Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Generic

from controller.core.frames import Command, Event
from controller.core.orders.verbs import RESUMING
from controller.core.sequence.phase_kinds import Outage, classed, ordered_after
from controller.core.sequence.recipe import Phase
from controller.errors import UnavailableError
from controller.store.checkpoint import State, StateCodec
from controller.store.reader import Reader
from controller.store.schema import is_begun
from controller.store.trouble import advice

OUTAGE_S_MAX = 30 * 86400.0


class InstanceLock:
    """Held while a controller runs. The system lets go of it when the process ends, however it ends: a lock file that
    is left over holds nobody up. It says which process holds it, on which computer, since when. made: folders that were
    made for it, innermost first; what else it makes itself it knows.
    """

    def __init__(self, folder: Path, made: Sequence[Path] = ()) -> None:
        self._path = folder / "dewhold.lock"
        self._file: int | None = None
        self._made = list(made)

    def __enter__(self) -> InstanceLock:
        folder = self._path.parent
        self._made = self._made or [path for path in (folder, *folder.parents) if not path.exists()]
        folder.mkdir(parents=True, exist_ok=True)
        try:
            file = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError as error:
            raise UnavailableError(
                f"{self._path} cannot be written: {error.strerror}; {advice(error, self._path)}"
            ) from error
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            holder = " ".join(os.read(file, 200).decode(errors="replace").split()) or "process unknown"
            os.close(file)
            raise UnavailableError(
                f"another controller ({holder}) uses {self._path.parent}; two would fight over one chamber:"
                " stop that one first, or give another --out"
            ) from None
        self._file = file
        since = _utc(time.time_ns() // 1_000_000)
        with suppress(OSError):  # a full disk: it is held all the same, and only does not say by whom
            os.ftruncate(file, 0)
            os.write(file, f"process {os.getpid()} on {socket.gethostname()} since {since}\n".encode())
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            self._leave_nothing()
        if self._file is not None:
            os.close(self._file)
            self._file = None

    def _leave_nothing(self) -> None:
        """A run that did not come about leaves no folder behind that it had made, unless something is in it."""
        with suppress(OSError):
            if self._made and list(self._path.parent.iterdir()) == [self._path]:
                self._path.unlink()
                for folder in self._made:
                    folder.rmdir()


@dataclass(frozen=True, slots=True)
class Resumed(Generic[State]):
    """Where to go on. scan, now_s: of the first scan to come; event: the outage, with both stamps.

    unseen_s: what the state knows nothing of, beside the first scan to come: since its checkpoint, outage included.
    """

    state: State
    scan: int
    now_s: float
    outage_s: float
    unseen_s: float
    kind: Outage
    event: Event


def restore(path: Path, codec: StateCodec[State], now_ms: int) -> Resumed[State] | None:
    """The state of the last checkpoint, None when there is none. Raises StoreError when it cannot be read.

    now_s goes on over the outage, measured with UTC from the last scan in the record and clamped to 0..30 days.
    """
    if not is_begun(path):
        return None
    with closing(Reader(path)) as reader:
        checkpoint = reader.checkpoint()
        last = reader.last_scan()
        scan_s = reader.header().scan_s if checkpoint is not None else 1.0
    if checkpoint is None:
        return None
    scan, utc_ms = max(last or (-1, 0), (checkpoint.scan, checkpoint.utc_ms))
    now_s = checkpoint.now_s + (scan - checkpoint.scan) * scan_s
    unseen_s = now_s - checkpoint.now_s - scan_s  # the next scan has its own time
    return after_outage(codec.load(checkpoint.state), scan + 1, now_s, utc_ms, now_ms, unseen_s)


def after_outage(
    state: State, scan: int, now_s: float, utc_ms: int, now_ms: int, unseen_s: float = 0.0
) -> Resumed[State]:
    """Where to go on from a state. scan: the next one; now_s, utc_ms: of the last one before the outage. unseen_s: what
    of the time before the outage the state does not know."""
    outage_s = 1e-3 * (now_ms - utc_ms)
    kind = classed(outage_s)
    clamped_s = min(max(outage_s, 0.0), OUTAGE_S_MAX)
    text = f"no controller from {_utc(utc_ms)} to {_utc(now_ms)} ({clamped_s:.0f} s, {kind})"
    if kind == "clock":
        text += "; the computer's clock was set back, check its time"
    return Resumed(
        state=state,
        scan=scan,
        now_s=now_s + clamped_s,
        outage_s=clamped_s,
        unseen_s=max(0.0, unseen_s + clamped_s),
        kind=kind,
        event=Event("note", "OUTAGE", text, (("from_ms", utc_ms), ("to_ms", now_ms), ("kind", kind))),
    )


def commands_after(kind: Outage, procedure: str, scan: int, phase: Phase) -> tuple[Command, ...]:
    """What is ordered after an outage, by the table of the phases: to stop the clock, or to end the cycle; in the first
    scan, and, where the phase resumes by itself, "restart" RESTART_S later.

    A clock that already stood still goes on only by a person. procedure: state of the sequence in the checkpoint.
    """
    if procedure in ("idle", "complete", "stopped", "aborted", "aborting", "stopping"):
        return ()
    verbs = ordered_after(kind, phase.on_outage, phase.kind)
    if procedure in ("held", "holding") and "abort" not in verbs:
        return ()
    return tuple(Command(f"outage-{scan}" + (f"-{verb}" if n else ""), verb, RESUMING) for n, verb in enumerate(verbs))


def _utc(utc_ms: int) -> str:
    return datetime.fromtimestamp(1e-3 * utc_ms, UTC).strftime("%Y-%m-%d %H:%M:%S UTC")
