"""What came in, channel by channel: scaled, judged by itself, by its own past, and by its siblings."""

from __future__ import annotations

from typing import Protocol

from controller.core.climate import siblings
from controller.core.climate.siblings import SiblingsPlan, SiblingsState
from controller.core.frames import Event, Frame, RawInputs
from controller.core.sequence.setaside import AsideState
from controller.core.signals import frozen, signals
from controller.core.signals.frozen import EVERY_S, FrozenPlan, FrozenState
from controller.core.signals.signals import SignalPlan, SignalState

_NONE: tuple[Event, ...] = ()


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
    """One scan of all channels. Their past and their siblings are looked at once a minute, or while one is left out."""
    dt_s, frozen_state, siblings_state = plan.dt_s, state.frozen, state.siblings
    signal_state, frame = signals.evaluate(plan.signals, state.signals, raw, dt_s)
    events, due = _NONE, now_s // EVERY_S != (now_s - dt_s) // EVERY_S
    if due or frozen_state.frozen:
        frozen_state, frame, events = frozen.watch(plan.frozen, frozen_state, frame, now_s, dt_s)
    if due or siblings_state.out:
        siblings_state, frame, more = siblings.watch(
            plan.siblings, siblings_state, frame, state.aside.mask, now_s, dt_s
        )
        events = (*events, *more)
    return signal_state, frozen_state, siblings_state, frame, events
