"""A chamber with faults: stands between the device and the chamber, applies them from outside, takes them away again.

A chamber without faults needs none of this and is not slowed by it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from plantsim.chamber import OUTPUTS, Chamber
from plantsim.faults.actuators import Act, actuator
from plantsim.faults.changes import ContactBoard, KnobBoard, Turn, contact_of, knob_of
from plantsim.faults.fault import Fault
from plantsim.faults.fit import amount_of, objections, places_of
from plantsim.faults.kinds import KINDS
from plantsim.faults.sensors import Spoil, sensor
from plantsim.kernel import layout as at
from plantsim.pack.probes import SPANS

# which instruments report a drive's position
WITNESSES = {"fan": ("fan_speed", "airflow"), "heat": ("valve",), "vent": ("damper",)}
NEVER = 1 << 62


class Faulted:
    """Sensor, actuator and plant faults, and switches left in hand, on one chamber. Others are not its business.

    ValueError with everything that does not fit the chamber.
    """

    def __init__(self, chamber: Chamber, faults: Sequence[Fault]) -> None:
        if wrong := objections(faults, places_of(chamber.params)):
            raise ValueError("\n".join(map(str, wrong)))
        self.chamber = chamber
        self.dt_s = chamber.dt_s
        self._seed = chamber.seed
        self._mine = [fault for fault in faults if in_chamber(fault)]
        self._channel = {probe.tag: i for i, probe in enumerate(chamber.params.probe)}
        self._sees = [probe.sees for probe in chamber.params.probe]
        self._spans = [(float(lo), float(hi)) for lo, hi in (SPANS.get(sees, (-10.0, 60.0)) for sees in self._sees)]
        self._knobs, self._contacts = KnobBoard(chamber), ContactBoard(chamber)
        self._turned: dict[Fault, Turn] = {}
        self._sensors: dict[Fault, list[tuple[int, Spoil]]] = {}
        self._acts: dict[Fault, Act] = {}
        self._says: dict[Fault, dict[str, bool]] = {}
        self._active: list[Fault] = []
        self._scan = 0
        self._outputs: Sequence[float] = (0.0,) * len(OUTPUTS)
        self._uA: list[int] | None = None
        self._shown: tuple[object, dict[str, bool], Mapping[str, bool]] | None = None
        self._next = min((fault.scans(self.dt_s)[0] for fault in self._mine), default=NEVER)

    @property
    def state(self) -> Any:
        """The state of the chamber, live."""
        return self.chamber.state

    @property
    def active(self) -> tuple[Fault, ...]:
        """Faults that act now, in the order in which they began."""
        return tuple(self._active)

    @property
    def microamps(self) -> Sequence[int]:
        """Currents as they reach the input cards."""
        return self.chamber.microamps if self._uA is None else self._uA

    @property
    def contacts(self) -> Mapping[str, bool]:
        """Contacts as the panel sees them; a new object when one of them changed."""
        true, lies = self.chamber.contacts, {}
        for said in self._says.values():
            lies.update(said)
        if not lies:
            self._shown = None
            return true
        if self._shown is None or self._shown[0] is not true or self._shown[1] != lies:
            self._shown = (true, lies, {**true, **lies})
        return self._shown[2]

    def set_spans(self, spans: Mapping[str, tuple[float, float]]) -> None:
        """As of the chamber; sensor faults in units of a value need them too."""
        self.chamber.set_spans(spans)
        for tag, span in spans.items():
            self._spans[self._channel[tag]] = span

    def compile(self) -> None:
        """As of the chamber."""
        self.chamber.compile()

    def step(self, outputs: Sequence[float]) -> None:
        """One step of the chamber with what the faulty drives make of the outputs."""
        scan = self._scan
        if scan >= self._next:
            self._turn_over(scan)
        out = list(outputs)
        for act in self._acts.values():
            act(out, scan)
        self._outputs = tuple(out)
        self.chamber.step(self._outputs)
        self._say()
        self._scan = scan + 1
        self._uA = self._spoilt(scan) if self._sensors else None

    def _spoilt(self, scan: int) -> list[int]:
        uA = list(self.chamber.microamps)
        for spoils in self._sensors.values():
            for channel, spoil in spoils:
                uA[channel] = spoil(uA[channel], scan)
        return uA

    def _turn_over(self, scan: int) -> None:
        """End what is over, then begin what is due, each in the order of its start."""
        for fault in [fault for fault in self._active if (fault.scans(self.dt_s)[1] or NEVER) <= scan]:
            self._end(fault)
        later = NEVER
        for fault in self._mine:
            first, end = fault.scans(self.dt_s)
            if first <= scan < (end or NEVER) and fault not in self._active:
                self._begin(fault)
            later = min(later, *(when for when in (first, end or NEVER) if when > scan), NEVER)
        self._next = later

    def _begin(self, fault: Fault) -> None:
        self._active.append(fault)
        room = KINDS[fault.kind].room
        knob, contact = knob_of(fault), contact_of(fault, self.chamber.params.heat.kind)
        if knob is not None:
            name, turn = knob
            self._turned[fault] = turn
            self._knobs.turn(name, turn)
        if contact is not None:
            self._contacts.hold_open(contact, amount_of(fault))
        if knob is not None or contact is not None:
            return
        if room == "sensor":
            channel = self._channel[fault.target]
            was, span = self.microamps[channel], self._spans[channel]
            self._sensors[fault] = [(channel, sensor(fault, was, span, self._seed, self.dt_s))]
        elif fault.kind == "feedback-lies":
            self._sensors[fault] = self._lies(fault)
        else:
            self._acts[fault] = actuator(fault, self._outputs, self.dt_s)

    def _end(self, fault: Fault) -> None:
        self._active.remove(fault)
        if (knob := knob_of(fault)) is not None:
            self._knobs.back(knob[0], self._turned.pop(fault))
        if (contact := contact_of(fault, self.chamber.params.heat.kind)) is not None:
            self._contacts.back(contact)
        for table in (self._sensors, self._acts, self._says):
            table.pop(fault, None)

    def _lies(self, fault: Fault) -> list[tuple[int, Spoil]]:
        shown = round(4000.0 + 160.0 * amount_of(fault))
        return [(i, lambda _uA, _scan: shown) for i, sees in enumerate(self._sees) if sees in WITNESSES[fault.target]]

    def _say(self) -> None:
        """What contacts say that do not tell the truth: a lying contact, or a motor that turns without its belt."""
        for fault in self._active:
            if fault.kind == "feedback-lies" and fault.target == "fan":
                on = amount_of(fault) > 0.0
                self._says[fault] = {"fan_runs": on, "airflow": on}
            elif fault.kind == "belt-off":
                self._says[fault] = {"fan_runs": bool(self.chamber.state.gear[at.G_SPEED] > 0.0)}


def in_chamber(fault: Fault) -> bool:
    """Does it act in the chamber or at its panel? Else on the wire, or at a screen. KeyError for an unknown kind."""
    return KINDS[fault.kind].room in ("sensor", "actuator", "plant") or fault.kind == "hand-left-on"
