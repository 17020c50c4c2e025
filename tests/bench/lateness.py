"""A controller at a real-time scan that writes down how late each scan was: run as a process of its own.

    python -m tests.bench.lateness PORT FOLDER SCANS SCAN_S

prints {"at_s": [...], "late_ms": [...], "missed": [...]}: monotonic time of the computer at each scan, how late it was,
deadlines missed until then. A file called `end` in FOLDER ends it before it has done all its scans.
"""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from controller.core.frames import Command
from controller.link.reach import modbus_link
from controller.runtime.clock import RealClock
from controller.runtime.desk import DeskOrders
from controller.runtime.loop import Runner, Start
from controller.runtime.orders import MergedOrders, ScriptOrders
from controller.runtime.session import CODEC, Asked, prepare
from controller.store.recorder import Recorder
from controller.store.threaded import ThreadedRecorder


class Watched:
    """A real clock that remembers how late it was."""

    def __init__(self, scan_s: float) -> None:
        self._clock = RealClock(scan_s)
        self.late_ms: list[float] = []
        self.at_s: list[float] = []
        self.missed_by_then: list[int] = []

    @property
    def lockstep(self) -> bool:
        return self._clock.lockstep

    @property
    def missed(self) -> int:
        return self._clock.missed

    def wait(self) -> float:
        late_s = self._clock.wait()
        self.late_ms.append(round(1000.0 * late_s, 4))
        self.at_s.append(round(time.monotonic(), 4))
        self.missed_by_then.append(self._clock.missed)
        return late_s

    def utc_ms(self, scan: int, /) -> int:
        return self._clock.utc_ms(scan)


def ends(runner: Runner, end: Path, every: int = 10) -> Callable[[int, Any], None]:
    """Called after each scan: stops when the file is there. Looks seldom, as a look is a call into the system."""

    def look(scan: int, _result: object) -> None:
        if scan % every == 0 and end.exists():
            runner.stop()

    return look


def main(port: int, folder: Path, scans: int, scan_s: float) -> None:
    asked = Asked(chamber="demo-north", recipe="gentle", mix="demo-60", load_t=120.0, mix_degC=20.0, scan_s=scan_s,
                  host="127.0.0.1", port=port)  # fmt: skip
    session = prepare(asked)
    clock = Watched(scan_s)
    record = folder / "record.sqlite"
    recorder = ThreadedRecorder(Recorder(
        record, session.header("modbus", simulated=True), CODEC, began_ms=clock.utc_ms(0), group_minutes=1,
        every_scan=True,
    ))  # fmt: skip
    start = ScriptOrders([(20, Command("start-20", "start", "bench"))])
    orders = MergedOrders(start, DeskOrders(folder / "desk.sqlite", record, recorder.notices.append))
    with closing(modbus_link(session.image)) as link, closing(recorder):
        runner = session.runner(link=link, clock=clock, orders=orders, recorder=recorder)
        runner.run(Start(state=session.fresh()), max_scans=scans, each=ends(runner, folder / "end"))
    found = {"at_s": clock.at_s, "late_ms": clock.late_ms, "missed": clock.missed_by_then}
    sys.stdout.write(json.dumps(found) + "\n")


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]), float(sys.argv[4]))
