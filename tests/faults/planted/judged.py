"""Bugs for the judge, which knows the chamber model, and for liveness: one for every rule.

Each is lived through from the middle of a heated ramp of a quiet cycle. `wrong` is given the right function and
returns the wrong one; faults and orders are what provokes the bug, and break nothing by themselves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from controller.core.frames import Outputs
from controller.rig.campaign.swarm import after_healing
from controller.rig.judging.judge import _AGE, _HI, _HOTTEST
from plantsim.faults import Fault
from plantsim.kernel import layout as at

Wrong = Callable[[Any], Any]
SCAN_S = 2.0


@dataclass(frozen=True, slots=True)
class Bug:
    """names: the rule that must name it. where: what is replaced, and by what. minutes: of the run; the last
    healed_min of them nothing is wrong. orders: minute -> verb.
    """

    names: str
    says: str
    where: tuple[tuple[str, Wrong], ...]
    minutes: float = 10.0
    faults: tuple[Fault, ...] = ()
    orders: tuple[tuple[float, str], ...] = ()
    healed_min: float = 0.0
    attended: bool = False


def after(change: Callable[..., Any]) -> Wrong:
    """The right function, its result spoilt by `change`."""
    return lambda right: lambda *given, **named: change(right(*given, **named))


def also(deed: Callable[[Any], object]) -> Wrong:
    """A method that does something more to its object."""

    def wrong(right: Any) -> Any:
        def method(self: Any, *given: Any) -> Any:
            result = right(self, *given)
            deed(self)
            return result

        return method

    return wrong


def truth(column: int, value: Callable[[float], float]) -> Wrong:
    """Chamber.step: the model says something else of itself."""

    def change(chamber: Any) -> None:
        row = chamber.state.truth
        row[column] = value(float(row[column]))

    return also(change)


def warmer(chamber: Any) -> None:
    """Heat out of nowhere."""
    chamber.state.air[at.AIR_T] += 0.01


def air(**changes: Callable[[float], float]) -> Wrong:
    """climate.observe: the controller believes something else."""

    def change(result: Any) -> Any:
        state, seen = result
        return state, replace(seen, **{name: make(getattr(seen, name)) for name, make in changes.items()})

    return after(change)


def contacts(result: Any) -> Any:
    """signals.evaluate: every contact is taken for closed."""
    state, frame = result
    return state, replace(frame, discrete=(True,) * len(frame.discrete))


def other_words(right: Any) -> Any:
    """DirectLink.turn: another damper position arrives than was sent."""
    return lambda self, words: right(self, [*words[:4], words[4] ^ 1, *words[5:]])


def beat_twice(right: Any) -> Any:
    """Runner._encode: counts by two."""

    def encode(self: Any, *given: Any) -> Any:
        self._heartbeat = (self._heartbeat + 1) & 0xFFFF
        return right(self, *given)

    return encode


def no_run_on(right: Any) -> Any:
    """protection._overrule: the run-on is forgotten."""
    return lambda *given: right(*given[:-1], 0.0)


def fog_on(result: Any) -> Any:
    """actuation.actuate: fog valves that are never shut, a vent that never opens."""
    state, outputs, achieved = result
    discrete = (*outputs.discrete[:2], True, True, *outputs.discrete[4:])
    outputs = Outputs((*outputs.analog[:2], 0.0), discrete)
    return replace(state, wanted=outputs), outputs, achieved


def plain_mean(_right: Any) -> Any:
    """climate.robust_mean: every probe counts, however far off."""

    def mean(temperatures: Any, *_given: Any) -> float:
        known = [value for value in temperatures if value == value]
        return sum(known) / len(known)

    return mean


def every_hundredth(right: Any) -> Any:
    """Ledger.add: a scan gets lost."""
    return lambda self, row: None if row.scan % 100 == 99 else right(self, row)


def at_once(right: Any) -> Any:
    """alarms.live: delays and deadband are forgotten."""
    return lambda manner, *given, **named: right(replace(manner, on_s=0.0, off_s=0.0, deadband=0.0), *given, **named)


def for_ever(right: Any) -> Any:
    """protection._follow: what has tripped stays tripped."""

    def follow(row: Any, cause: bool, timer: float, tripped: bool, *given: Any) -> Any:
        return (timer, True) if tripped and not row.latch else right(row, cause, timer, tripped, *given)

    return follow


def once_bad(right: Any) -> Any:
    """signals.evaluate: a channel that was bad once is never good again."""
    ever: set[int] = set()

    def evaluate(*given: Any) -> Any:
        state, frame = right(*given)
        ever.update(n for n, quality in enumerate(frame.qualities) if quality == 2)
        if not ever:
            return state, frame
        return state, replace(frame, qualities=tuple(2 if n in ever else q for n, q in enumerate(frame.qualities)))

    return evaluate


def constant(value: Any) -> Wrong:
    """Always the same answer."""
    return lambda _right: lambda *_given, **_named: value


def fault(kind: str, target: str = "", start_min: float = 1.0, minutes: float = 2.0, **more: float) -> Fault:
    """A fault, in minutes."""
    return Fault(kind=kind, target=target, start_s=60.0 * start_min, length_s=60.0 * minutes, **more)


CORE, RUNTIME, CHAMBER = "controller.core.", "controller.runtime.", "plantsim.chamber.Chamber.step"
HEALED = after_healing(0.0, SCAN_S)
BUGS: tuple[Bug, ...] = (
    Bug("books", "heat comes from nowhere", ((CHAMBER, also(warmer)),), minutes=25.0),
    Bug("humidity-range", "more than air can hold", ((CHAMBER, truth(_HI, lambda _was: 101.0)),)),
    Bug("age-fell", "product grows younger", ((CHAMBER, truth(_AGE, lambda was: 10.0 - was)),), minutes=45.0),
    Bug("heartbeat", "the heartbeat counts by two", ((f"{RUNTIME}loop.Runner._encode", beat_twice),)),
    Bug("not-in-force", "a bit of a command is lost on the way",
        (("controller.link.direct.DirectLink.turn", other_words),)),
    Bug("watchdog-late", "the device has no watchdog", (("plantsim.remote_io.RemoteIo._trip", constant(None)),),
        faults=(fault("lost-request"),)),
    Bug("heat-in-still-air", "contacts are not looked at", ((f"{CORE}signals.signals.evaluate", after(contacts)),),
        faults=(fault("belt-off", minutes=8.0),)),
    Bug("heats-hot-air", "it is hot where no probe is", ((CHAMBER, truth(_HOTTEST, lambda _was: 55.0)),)),
    Bug("fogs-wet-surfaces", "fog is never shut off", ((f"{CORE}actuation.actuation.actuate", after(fog_on)),),
        minutes=90.0),
    Bug("run-on-cut", "the fan does not run on after heat", ((f"{CORE}protection.protection._overrule", no_run_on),),
        orders=((3.0, "abort"),)),
    Bug("believes-wrong", "a degree is added",
        ((f"{CORE}climate.climate.observe", air(temperature_degC=lambda was: was + 1.0)),), minutes=60.0),
    Bug("one-probe", "a probe that is far off counts like the others", ((
        f"{CORE}climate.climate.robust_mean", plain_mean),),
        minutes=60.0, faults=(fault("biased", "TT-101A", 50.0, 5.0, amount=20.0),)),
    Bug("checkpoint", "something is lost in a checkpoint",
        (("controller.store.checkpoint.StateCodec.load", after(lambda state: replace(state, effect="lost"))),)),
    Bug("journal", "a scan is lost on its way to the record",
        (("controller.rig.campaign.ledger.Ledger.add", every_hundredth),)),
    Bug("overrun", "scans come late and nobody is told",
        ((f"{RUNTIME}clock.LockstepClock.wait", constant(5.0)), (f"{RUNTIME}loop.Runner._overran", lambda _right: (
            lambda self, *_given: setattr(self, "overruns", self.overruns + 1))))),
    Bug("alarm-chatters", "alarms have no delay", ((f"{CORE}alarms.alarms.live", at_once),),
        faults=(fault("intermittent", "TT-105A", minutes=8.0, amount=0.5),)),
    Bug("liveness", "a door stays open for ever", ((f"{CORE}protection.protection._follow", for_ever),), minutes=30.0,
        faults=(fault("door-open", "2"),), healed_min=20.0),
    Bug("liveness", "a probe that was bad once is bad for ever", ((f"{CORE}signals.signals.evaluate", once_bad),),
        minutes=30.0, faults=(fault("off", "TT-105B"),), healed_min=20.0),
    Bug("liveness", "nobody can restart", ((f"{CORE}sequence.goingon.objection", constant("no")),), minutes=30.0,
        faults=(fault("door-open", "2"),), healed_min=20.0, attended=True),
    Bug("crash", "an error on the scan", ((f"{CORE}protection.protection._judge", constant(None)),),
        faults=(fault("door-open", "2"),)),
)
