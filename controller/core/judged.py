"""What came in, channel by channel: scaled, judged by itself, by its own past, and by its siblings."""

from __future__ import annotations

from typing import Protocol

from controller.core.climate import siblings
from controller.core.climate.siblings import SiblingsPlan, SiblingsState
from controller.core.frames import Event, Frame, RawInputs
from controller.core.sequence.setaside import AsideState
from controller.core.signals import frozen, signals
from controller.core.signals.frozen import FrozenPlan, FrozenState
from controller.core.signals.signals import SignalPlan, SignalState


class Plans(Protocol):
    """What is needed of the plan of a scan."""

    @property
    def dt_s(self) -> float: ...
    @property
    def signals(self) -> SignalPlan: ...
    @property
    def frozen(self) -> FrozenPlan: ...
    @property
    def siblings(self) -> SiblingsPlan: ...


class States(Protocol):
    """What is needed of the state before a scan."""

    @property
    def signals(self) -> SignalState: ...
    @property
    def frozen(self) -> FrozenState: ...
    @property
    def siblings(self) -> SiblingsState: ...
    @property
    def aside(self) -> AsideState: ...


def judge(
    plan: Plans, state: States, raw: RawInputs, now_s: float
) -> tuple[SignalState, FrozenState, SiblingsState, Frame, tuple[Event, ...]]:
    """One scan of all channels. Siblings are looked at once a minute, or while one of them is left out."""
    dt_s, siblings_state = plan.dt_s, state.siblings
    signal_state, frame = signals.evaluate(plan.signals, state.signals, raw, dt_s)
    frozen_state, frame, events = frozen.watch(plan.frozen, state.frozen, frame, now_s, dt_s)
    if siblings_state.out or now_s // siblings.EVERY_S != (now_s - dt_s) // siblings.EVERY_S:
        siblings_state, frame, more = siblings.watch(
            plan.siblings, siblings_state, frame, state.aside.mask, now_s, dt_s
        )
        events = (*events, *more)
    return signal_state, frozen_state, siblings_state, frame, events
