"""What must be true of a run and that only somebody can say who knows the chamber model: rules beside the invariants.

The invariants of the core look at what the controller knows. This looks at what is so: is the block that was written
in force, is heat off where no air moves, does the controller believe what is true while nothing is wrong, and do the
books of the model close, without which none of it would mean anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf
from typing import Any

from controller.core.rows.protection import FAN
from controller.core.scan import ScanResult
from controller.rig.judging import calm
from controller.rig.judging.witness import Overhearing, Witness
from controller.rig.plant import Plant
from controller.runtime.session import CODEC, Session
from plantsim.faults import Fault
from plantsim.truth import COLUMN

RULES: dict[str, str] = {
    "books": "energy or water of the chamber model does not add up",
    "humidity-range": "the chamber model has less than no humidity, or far more than air can hold",
    "age-fell": "the product of the chamber model grew younger",
    "heartbeat": "the heartbeat sent did not advance by one",
    "not-in-force": "what was written is not in force at the device, and the controller takes its readings for fresh",
    "watchdog-late": "heat or fog was on for longer than the device's watchdog allows without news",
    "heat-in-still-air": "heat is on where no air moves",
    "heats-hot-air": "heat is on although the air is truly hotter than the chamber may be",
    "fogs-wet-surfaces": "fog is on although a surface is truly far below the dew point",
    "run-on-cut": "the fan was stopped right after heat",
    "believes-wrong": "nothing is wrong, and the controller believes what is not so",
    "one-probe": "one wrong probe moves what the controller believes of the whole chamber",
    "checkpoint": "a state that is written and read again is another one",
    "journal": "a scan is missing in the record",
    "overrun": "scans came late and nobody was told",
    "alarm-chatters": "an alarm came again sooner than its delays allow",
}
CLOSURE_MAX = 1e-6
RH_PCT_MAX = 100.5  # above it water should have condensed within the step
SATURATED_PCT = 99.9
IN_FORCE_SCANS = 3
STILL_KG_PER_S, STILL_S = 0.5, 60.0  # less moves no heat away; flow switch, filters and delays take less than this
HOT_K, HOT_S = 2.0, 90.0  # probes are not everywhere, and lag
WET_K, WET_S = 0.15, 1200.0  # quiet cycles fog at -0.1 K for moments, measured; fog that never ends holds -0.17 K
PULSE_S = 120.0  # fog comes in pulses of at most so long
BELIEVED_K = 0.6  # air and dew point, probes against all cells; quiet cycles have up to 0.3, measured
ONE_PROBE_K = 1.6  # a probe up to 5 K off is believed, and weighs a quarter where there are four
HANDED_S = 1200.0  # what people have simulated or fogged by hand is gone after so long: fog that ends soon, filters
MIXED_S = 600.0  # still air lies in layers that no probe sees: boards that come in make 0.7 K of dew point, measured
CHECKPOINT_S, BOOKS_S = 1800.0, 600.0
_T, _LO, _HI = COLUMN["air_mean_degC"], COLUMN["rh_min_pct"], COLUMN["rh_max_pct"]
_HOTTEST, _DEW = COLUMN["air_max_degC"], COLUMN["dew_point_mean_degC"]
_FLOW, _MARGIN = COLUMN["flow_kg_per_s"], COLUMN["dew_margin_K"]
_AGE, _TONNES = COLUMN["equivalent_age_mean_h"], COLUMN["tonnes_inside"]


@dataclass(frozen=True, slots=True)
class Violation:
    """rule: of RULES, or of the invariants. what: the figures."""

    scan: int
    rule: str
    what: str


class Judge:
    """Looks at every scan of one run, scan by scan. first: the first thing that was found, None so far. live: rules
    whose case has come up, so that a run in which nothing is found can be told from one in which nothing happened.
    """

    def __init__(
        self, plant: Plant, session: Session, link: Overhearing, witness: Witness, faults: Sequence[Fault]
    ) -> None:
        dt_s = plant.log.dt_s
        self.first: Violation | None = None
        self.live: set[str] = set()
        self._plant, self._link, self._witness, self._dt_s = plant, link, witness, dt_s
        self._truth: Any = plant.chamber.state.truth
        self._plan = session.plan
        self._single = not plant.field
        self._beat: int | None = None
        self._unlike = 0
        self._still_s = self._hot_s = self._wet_s = 0.0
        self._heated_s = self._fogged_s = inf  # since heat and fog were on
        self._aged: tuple[float, float] = (0.0, 0.0)
        self._calm = calm.spans(faults, plant.params)
        self._moved_s = inf  # since the air began to move
        self._handed_s = inf  # since people had overridden something
        self._every = (round(CHECKPOINT_S / dt_s), round(BOOKS_S / dt_s))

    def look(self, scan: int, result: ScanResult) -> None:
        """One scan: after it was carried out and its outputs were written."""
        truth = self._truth
        heat, fog = _on(self._plan, result)
        self._look_at_wire(scan, result)
        if heat or self._heated_s < inf:
            self._look_at_heat(scan, result, truth, heat)
        self._fogged_s = 0.0 if fog else self._fogged_s + self._dt_s
        self._handed_s = self._handed_s + self._dt_s if result.state.by_hand.idle else 0.0
        wets = self._fogged_s < PULSE_S and truth[_MARGIN] < -WET_K
        self._wet_s = self._wet_s + self._dt_s if wets else 0.0
        if wets:
            self.live.add("fogs-wet-surfaces")
        if self._wet_s > WET_S and self._handed_s > HANDED_S and self._calm.sensors(scan * self._dt_s):
            self._found(scan, "fogs-wet-surfaces", f"{truth[_MARGIN]:.2f} K of dew margin for {self._wet_s:.0f} s")
        if truth[_HI] > SATURATED_PCT:
            self.live.add("humidity-range")
        if not (truth[_LO] >= 0.0 and truth[_HI] <= RH_PCT_MAX):
            self._found(scan, "humidity-range", f"{truth[_LO]:.2f} to {truth[_HI]:.2f} %RH")
        self._look_at_belief(scan, result, truth)
        checkpoint, books = self._every
        if scan % books == books - 1:
            self._look_at_books(scan)
        if scan % checkpoint == checkpoint - 1:
            self._look_at_checkpoint(scan, result)

    def finish(self, scan: int, result: ScanResult) -> None:
        """After the last scan."""
        self._look_at_books(scan)
        self._look_at_checkpoint(scan, result)

    def restarted(self) -> None:
        """Another controller goes on: its heartbeat begins where the device is, and nobody wrote meanwhile."""
        self._beat, self._unlike, self._heated_s, self._fogged_s = None, 0, inf, inf

    def _found(self, scan: int, rule: str, what: str) -> None:
        if self.first is None:
            self.first = Violation(scan, rule, what)

    def _look_at_wire(self, scan: int, result: ScanResult) -> None:
        """Heartbeat, what is in force, and the device's watchdog."""
        sent = self._link.sent
        beat = sent[0] if self._single else None
        if self._single:
            self.live.add("heartbeat")
        if beat is not None and self._beat is not None and beat != (self._beat + 1) & 0xFFFF:
            self._found(scan, "heartbeat", f"{self._beat} was followed by {beat}")
        self._beat = beat
        if self._single:
            same = self._plant.device.words_out[2:] == list(sent[2:])
            if not same:
                self.live.add("not-in-force")
            self._unlike = 0 if same or result.frame.age_scans else self._unlike + 1
            if self._unlike > IN_FORCE_SCANS:
                self._found(scan, "not-in-force", f"for {self._unlike} scans: {self._plant.device.words_out}")
        if self._witness.late:
            self.live.add("watchdog-late")
        if self._witness.unsafe_steps:
            self._found(scan, "watchdog-late", f"{self._witness.unheard * self._dt_s:g} s without a fresh block")

    def _look_at_heat(self, scan: int, result: ScanResult, truth: Any, heat: bool) -> None:
        """Heat, and what must be with it. What people turn by hand and what lies to the controller is not its fault."""
        dt_s, now_s, plan = self._dt_s, scan * self._dt_s, self._plan
        fan = result.outputs.discrete[plan.protection.fan_run]
        allowed = bool(result.state.by_hand.locks) or any(
            tripped and row.blocks & FAN
            for row, tripped in zip(plan.protection.rows, result.state.protection.tripped, strict=True)
        )
        if not heat and self._heated_s == 0.0:
            self.live.add("run-on-cut")
        if not heat and not fan and not allowed and self._heated_s + dt_s < plan.protection.run_on_s:
            self._found(scan, "run-on-cut", f"{self._heated_s:g} s after heat")
        self._heated_s = 0.0 if heat else self._heated_s + dt_s if fan else inf
        self._still_s = self._still_s + dt_s if heat and truth[_FLOW] < STILL_KG_PER_S else 0.0
        if self._still_s > 0.0:
            self.live.add("heat-in-still-air")
        if self._still_s > STILL_S and self._calm.flow(now_s):
            self._found(scan, "heat-in-still-air", f"{truth[_FLOW]:.2f} kg/s for {self._still_s:.0f} s")
        limit_degC = plan.protection.air_degC_max + HOT_K
        if truth[_HOTTEST] > plan.protection.air_degC_max:
            self.live.add("heats-hot-air")
        self._hot_s = self._hot_s + dt_s if heat and truth[_HOTTEST] > limit_degC else 0.0
        if self._hot_s > HOT_S and self._calm.sensors(now_s):
            self._found(scan, "heats-hot-air", f"{truth[_HOTTEST]:.1f} degC for {self._hot_s:.0f} s")

    def _look_at_belief(self, scan: int, result: ScanResult, truth: Any) -> None:
        """What the controller believes against what is true, while it can know: readings are real, air moves."""
        air, now_s = result.climate, scan * self._dt_s
        self._moved_s = self._moved_s + self._dt_s if truth[_FLOW] >= STILL_KG_PER_S else 0.0
        if self._handed_s <= HANDED_S or self._moved_s < MIXED_S:
            return
        if result.frame.age_scans or not (air.temperature_ok and air.moisture_ok):
            return
        if self._calm.all(now_s):
            self.live.add("believes-wrong")
            off, dew = abs(air.temperature_degC - truth[_T]), abs(air.dew_point_degC - truth[_DEW])
            if off > BELIEVED_K or dew > BELIEVED_K:
                self._found(scan, "believes-wrong", f"air off by {off:.2f} K, dew point by {dew:.2f} K")
        elif self._calm.but_one_probe(now_s):
            self.live.add("one-probe")
            off = abs(air.temperature_degC - truth[_T])
            if off > ONE_PROBE_K:
                self._found(scan, "one-probe", f"air off by {off:.2f} K")

    def _look_at_books(self, scan: int) -> None:
        books = self._plant.chamber.books
        self.live.add("books")
        worst = max(abs(books.energy_closure), abs(books.water_closure))
        if not worst <= CLOSURE_MAX:
            self._found(scan, "books", f"closure {worst:.2e}")
        age, tonnes = float(self._truth[_AGE]), float(self._truth[_TONNES])
        if tonnes == self._aged[1] > 0.0:
            self.live.add("age-fell")
        if tonnes == self._aged[1] and age < self._aged[0]:
            self._found(scan, "age-fell", f"from {self._aged[0]:.4f} to {age:.4f} h of equivalent age, mean")
        self._aged = (age, tonnes)

    def _look_at_checkpoint(self, scan: int, result: ScanResult) -> None:
        self.live.add("checkpoint")
        if repr(CODEC.load(CODEC.dump(result.state))) != repr(result.state):
            self._found(scan, "checkpoint", "differs after it was written and read")


def _on(plan: Any, result: ScanResult) -> tuple[bool, bool]:
    """Are heat and fog on, as written?"""
    at, analog, discrete = plan.protection, result.outputs.analog, result.outputs.discrete
    heat = discrete[at.heat_run] or (at.heat_valve >= 0 and analog[at.heat_valve] > 0.0)
    return heat, any(discrete[column] for column in at.fog_valves)
