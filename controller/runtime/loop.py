"""The loop: link -> scan -> link -> record, for ever, and safe outputs at the end.

Real time: read at the deadline, scan, write at once. Lockstep: the answer to the turn of scan k is the input of
scan k + 1. In both the first contact is a read, nothing is written before one scan ran on real inputs, and the
heartbeat counts every scan, answered or not.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace
from time import perf_counter_ns
from typing import Any, Protocol

from controller.core.frames import Command, Event, Frame, Outputs, RawInputs
from controller.core.orders.commands import Orders
from controller.errors import InvariantError, LinkError
from controller.link.liveness import Liveness, watch
from controller.link.protocol import Link, WordImage
from controller.runtime.clock import Clock
from controller.runtime.orders import MergedOrders, ScriptOrders
from controller.runtime.own_troubles import QUIET_SCANS, OwnTroubles
from controller.runtime.report import Report, Times
from controller.runtime.reserve import Reserve
from controller.runtime.start import Start as Start
from controller.runtime.trace import Trace
from controller.store.header import Header
from controller.store.recorder import Scan, scan_row


class Result(Protocol):
    """What the loop needs of the result of a scan."""

    @property
    def state(self) -> Any: ...
    @property
    def outputs(self) -> Outputs: ...
    @property
    def events(self) -> tuple[Event, ...]: ...
    @property
    def broken(self) -> tuple[str, ...]: ...
    @property
    def frame(self) -> Frame: ...


class Change(Protocol):
    """What goes on from here in place of what was: commands and state of this scan, step and head of the record."""

    @property
    def commands(self) -> tuple[Command, ...]: ...
    @property
    def state(self) -> Any: ...
    @property
    def step(self) -> Callable[[Any, RawInputs, tuple[Command, ...], float], Any] | None: ...
    @property
    def header(self) -> Header | None: ...


class Changes(Protocol):
    """Looks at the commands of a scan for one that changes the plan."""

    def look(self, state: Any, commands: tuple[Command, ...], raw: RawInputs, now_s: float) -> Change | None:
        """None when nothing changes."""
        ...


class Sink(Protocol):
    """Where scans go: the recorder, inline or behind its thread."""

    notices: deque[Event]

    def add(self, row: Scan) -> None:
        """Take one scan; never raises for a disk."""
        ...


class Runner:
    """Runs one chamber over one link.

    step(state, raw, commands, now_s) -> result is the scan with its plan bound; columns(result) -> computed columns.
    safe: what is sent last, and when an invariant is broken.  strict: a broken invariant raises InvariantError.
    changeover: looks at commands that may change the plan, before the scan that gets them.
    """

    def __init__(
        self,
        *,
        link: Link,
        image: WordImage,
        clock: Clock,
        orders: Orders,
        step: Callable[[Any, RawInputs, tuple[Command, ...], float], Any],
        columns: Callable[[Any], tuple[float, ...]],
        safe: Outputs,
        scan_s: float,
        recorder: Sink | None = None,
        strict: bool = False,
        changeover: Changes | None = None,
    ) -> None:
        self._link, self._image, self._clock, self._orders = link, image, clock, orders
        self._step, self._columns, self._safe = step, columns, safe
        self._scan_s, self._scan_ms = scan_s, round(1000 * scan_s)
        self._recorder, self._strict, self._changeover = recorder, strict, changeover
        self._begins: Header | None = None
        self.trace = Trace(image.input_count, image.output_count)
        self._beats = image.device.input.header == image.device.output.header == "standard"
        self._liveness = Liveness()
        self._own_commands: tuple[Command, ...] = ()
        self._own_events: list[Event] = []
        self._broken: tuple[str, ...] = ()
        self._heartbeat = 0
        self._words: Sequence[int] = ()
        self._wrote = self._stop = self._deaf = False
        self.link_failures = self.overruns = self.invariants_broken = 0
        self._last_overrun = -QUIET_SCANS  # an overrun so long after the last one is a new one, worth a journal line
        self._troubles = OwnTroubles()
        self._reserve = Reserve()

    def stop(self) -> None:
        """End after the scan that runs now. Safe to call from a signal handler."""
        self._stop = True

    def begin_cycle(self, header: Header) -> None:
        """The next scan is the first of another cycle of the record. Called between scans."""
        self._begins = header

    def run(
        self,
        start: Start,
        max_scans: int | None = None,
        until: Callable[[Any], bool] | None = None,
        each: Callable[[int, Any], None] | None = None,
    ) -> Report:
        """Run until `until(result)`, `max_scans` or `stop()`. each(scan, result): called after every scan.

        Raises LinkError when the first contact fails, InvariantError when strict. Whatever ends it, safe
        outputs are sent last.
        """
        began_ns = perf_counter_ns()
        self._words = self._link.read()
        raw = self._image.decode(self._words)
        self._liveness, _reasons = watch(Liveness(), raw, None, lockstep=self._clock.lockstep)
        self._heartbeat = (raw.echo + start.skipped_scans) & 0xFFFF
        self._own_commands, self._own_events = start.commands, list(start.events)
        times = Times()
        try:
            scans, state, why = self._loop(start, raw, max_scans, until, each, times)
        finally:
            self._make_safe()
        return Report(
            scans=scans,
            why=why,
            state=state,
            trace_sha256=self.trace.hexdigest(),
            wall_s=1e-9 * (perf_counter_ns() - began_ns),
            scan_us=times.scan_us(),
            exchange_us=times.exchange_us(),
            link_failures=self.link_failures,
            overruns=self.overruns,
            missed=self._clock.missed,
            invariants_broken=self.invariants_broken,
        )

    def _loop(
        self,
        start: Start,
        raw: RawInputs,
        max_scans: int | None,
        until: Callable[[Any], bool] | None,
        each: Callable[[int, Any], None] | None,
        times: Times,
    ) -> tuple[int, Any, str]:
        clock, step, scan_s, now_ns = self._clock, self._step, self._scan_s, perf_counter_ns
        lockstep, state, troubles = clock.lockstep, start.state, self._troubles
        due = self._orders.due if not start.later else MergedOrders(ScriptOrders(start.later), self._orders).due
        done = 0
        while max_scans is None or done < max_scans:
            scan = start.scan + done
            late_s = clock.wait()
            began = now_ns()
            if not lockstep and done:  # the first contact is the read of the first scan
                raw = self._read(raw)
            commands = due(scan)
            if troubles.waiting:
                commands = (*troubles.due(scan), *commands)
            if self._own_commands:
                commands, self._own_commands = (*self._own_commands, *commands), ()
            now_s = start.now_s + done * scan_s
            if commands and self._changeover is not None:
                change = self._changeover.look(state, commands, raw, now_s)
                if change is not None:
                    commands, state, step = change.commands, change.state, change.step or step
                    self._begins = change.header or self._begins
            result = step(state, raw, commands, now_s)
            state = result.state
            words_in, age = self._words, raw.age_scans
            words_out = self._encode(scan, result)
            sent = now_ns()
            raw = self._turn(raw, words_out) if lockstep else self._write(raw, words_out)
            back = now_ns()
            self._keep(scan, now_s, age, words_in, words_out, commands, result)
            if each is not None:
                each(scan, result)
            done += 1
            took_ns = now_ns() - began
            if late_s >= scan_s or (not lockstep and took_ns > 1e9 * scan_s):
                self._overran(scan, late_s)
            times.add(took_ns - (back - sent), back - sent)
            if self._broken and self._strict:
                raise InvariantError(f"scan {scan}: {', '.join(self._broken)}")
            if self._stop:
                return done, state, "stopped"
            if until is not None and until(result):
                return done, state, "done"
        return done, state, "scans"

    def _encode(self, scan: int, result: Any) -> list[int]:
        """Words of this scan's outputs; the safe ones when an invariant is broken or they do not fit."""
        self._heartbeat = heartbeat = (self._heartbeat + 1) & 0xFFFF
        broken = result.broken
        if not broken:
            try:
                words = self._image.encode(result.outputs, heartbeat, self._scan_ms)
            except LinkError as error:
                broken = (str(error),)
            else:
                self._broken = ()
                return words
        self.invariants_broken += 1
        self._troubles.broken(scan)
        if not self._broken:
            text = f"broken: {'; '.join(broken)}; safe outputs are sent and the cycle is aborted; report this"
            self._own_events.append(Event("invariant", "INVARIANT", text))
            self._own_commands = (Command(f"invariant-{scan}", "abort", "invariants"),)
        self._broken = broken
        return self._image.encode(self._safe, heartbeat, self._scan_ms, alive=False)

    def _keep(
        self,
        scan: int,
        now_s: float,
        age: int,
        words_in: Sequence[int],
        words_out: Sequence[int],
        commands: tuple[Command, ...],
        result: Any,
    ) -> None:
        events = result.events
        row = self.trace.add(scan, age, words_in, words_out, commands, events)
        recorder = self._recorder
        if recorder is None:
            self._own_events.clear()
            return
        while recorder.notices:
            self._own_events.append(recorder.notices.popleft())
            self._troubles.noticed(scan, self._own_events[-1])
        if self._own_events:  # of the runtime: journaled, but no part of the trace
            events = (*events, *self._own_events)
            self._own_events.clear()
        frame = result.frame
        utc_ms = self._clock.utc_ms(scan)
        recorder.add(scan_row((
            scan, utc_ms, now_s, row, frame.values, frame.qualities, self._columns(result), result.state, commands,
            events, self._begins,
        )))  # fmt: skip
        self._begins = None

    def _turn(self, raw: RawInputs, words: list[int]) -> RawInputs:
        self._wrote = True  # whatever becomes of the answer, it may have arrived
        try:
            answer = self._link.turn(words)
            fresh = self._image.decode(answer)
        except LinkError as error:
            return self._aged(raw, error.kind, str(error))
        return self._judged(raw, fresh, answer)

    def _read(self, raw: RawInputs) -> RawInputs:
        try:
            answer = self._link.read()
            fresh = self._image.decode(answer)
        except LinkError as error:
            return self._aged(raw, error.kind, str(error))
        return self._judged(raw, fresh, answer)

    def _write(self, raw: RawInputs, words: list[int]) -> RawInputs:
        self._wrote = True
        try:
            self._link.write(words)
        except LinkError as error:
            self.link_failures += 1
            if not self._deaf:
                self._own_events.append(Event("link", "LINK", str(error), (("kind", error.kind),)))
            self._deaf = True
        else:
            self._deaf = False
        return raw

    def _judged(self, raw: RawInputs, fresh: RawInputs, answer: Sequence[int]) -> RawInputs:
        """The fresh frame, or the last one aged when the device is frozen or does not hear us."""
        if self._beats:
            written = self._heartbeat if self._wrote else None
            self._liveness, reasons = watch(self._liveness, fresh, written, lockstep=self._clock.lockstep)
            if reasons:
                return self._aged(raw, "not-alive", "; ".join(reasons))
        if raw.age_scans:
            text = f"the device answers again after {raw.age_scans} scans"
            self._own_events.append(Event("link", "LINK", text, (("scans", raw.age_scans),)))
        self._words = answer
        return fresh

    def _aged(self, raw: RawInputs, kind: str, text: str) -> RawInputs:
        self.link_failures += 1
        if raw.age_scans == 0:
            self._own_events.append(Event("link", "LINK", text, (("kind", kind),)))
        return replace(raw, age_scans=raw.age_scans + 1)

    def _overran(self, scan: int, late_s: float) -> None:
        self.overruns += 1
        self._troubles.late(scan, late_s / self._scan_s)
        if scan - self._last_overrun >= QUIET_SCANS:
            text = (
                f"a scan took longer than {self._scan_s:g} s or began {late_s:.1f} s late; time was left out, not"
                " stretched; look for another program that uses this computer"
            )
            self._own_events.append(Event("note", "SCAN", text, (("late_s", late_s), ("missed", self._clock.missed))))
        self._last_overrun = scan

    def _make_safe(self) -> None:
        """The last block of a run. Sent once; a device that does not hear it has its own watchdog."""
        self._reserve.release()  # it may be for want of memory that the run ends
        if not self._wrote:
            return
        self._heartbeat = (self._heartbeat + 1) & 0xFFFF
        try:
            self._link.write(self._image.encode(self._safe, self._heartbeat, self._scan_ms, alive=False))
        except LinkError:
            self.link_failures += 1
