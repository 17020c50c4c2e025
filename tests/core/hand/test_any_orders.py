"""Whatever the desk sends, in any order and with any arguments, and whatever opens or breaks meanwhile: a scan never
raises, every invariant holds, and nothing heats without air, against a safety contact or against a lock."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from controller.core.frames import Command
from controller.core.orders.verbs import VERBS

CONTACTS = ("HS-101", "TZS-103", "HS-103", "FS-101", "ZS-101C", "PS-102", "HS-113", "YS-110", "YS-103")
TAGS = (
    "fog-pressure", "battery", "emergency-stop", "TT-101A", "TT-104A", "MT-101B", "TT-108", "HS-101", "FS-101",
    "PS-102", "TCV-103", "SC-101", "ZC-120", "YC-101", "YC-103", "XV-102A", "YC-106", "YL-190", "YC-192", "heat",
    "fog", "vent", "fan", "temperature", "humidity", "all", "none", "by-hand",
)  # fmt: skip
SCALARS = st.one_of(
    st.sampled_from(TAGS), st.text(max_size=5), st.booleans(), st.integers(-5, 200), st.floats(-1e6, 1e6),
    st.sampled_from((0.0, 1.0, 50.0, 100.0, 1e300)),
)  # fmt: skip
ARGS = st.fixed_dictionaries(
    {},
    optional={
        "tag": st.one_of(st.sampled_from(TAGS), SCALARS),
        "value": st.one_of(st.sampled_from((0, 1, 20.0, 80.0)), SCALARS),
        "hours": st.one_of(st.sampled_from((0.001, 0.01, 1.0)), SCALARS),
        "reason": st.one_of(st.just("trial"), SCALARS), "role": SCALARS, "of": SCALARS, "bay": SCALARS,
        "level": SCALARS, "tonnes": SCALARS, "degC": SCALARS, "mix": SCALARS, "age_h": SCALARS, "settled": SCALARS,
        "mix_degC": SCALARS, "item": SCALARS, "note": SCALARS,
    },
)  # fmt: skip
ORDER = st.tuples(st.just("order"), st.sampled_from(sorted(VERBS)), ARGS)
USEFUL = st.tuples(
    st.just("order"),
    st.sampled_from(("start", "bypass", "force", "simulate", "manual", "trim", "lock-out", "lift-lock", "reset-trips")),
    st.fixed_dictionaries(
        {"tag": st.sampled_from(TAGS), "hours": st.just(0.01), "reason": st.just("trial")},
        optional={"value": st.sampled_from((0, 1, 20.0, 80.0))},
    ),
)
STEP = st.one_of(
    ORDER,
    USEFUL,
    st.tuples(st.just("contact"), st.sampled_from(CONTACTS), st.booleans()),
    st.tuples(st.just("reading"), st.sampled_from(("TT-101A", "TT-104A", "TT-108", "MT-101A")), st.floats(-60.0, 90.0)),
    st.tuples(st.just("scans"), st.integers(1, 60), st.none()),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.lists(STEP, max_size=25))
def test_nothing_that_is_sent_breaks_a_scan(make_chamber: Callable[[], Any], steps: list[Any]) -> None:
    chamber = make_chamber()
    chamber.scan(20)
    number = 0
    for kind, what, more in steps:
        if kind == "order":
            number += 1
            chamber.scan(1, Command(f"c{number}", what, "ana", tuple(sorted(more.items()))))
        elif kind == "contact":
            (chamber.open.add if more else chamber.open.discard)(what)
        elif kind == "reading":
            chamber.values[what] = more
        else:
            chamber.scan(what)
        chamber.scan(2)
        heats = chamber.out("YC-103") or chamber.out("TCV-103") > 0.0
        assert not (heats and {"HS-101", "TZS-103", "HS-103", "FS-101"} & chamber.open)
        if chamber.state.by_hand.locks:
            chamber.scan(1)
            assert not any(chamber.out(tag) for tag in ("YC-101", "YC-103", "XV-102A", "XV-102B", "YC-106", "TCV-103"))
        assert chamber.broken == set()
    answered = [str(dict(event.data)["id"]) for event in chamber.events if event.kind == "command"]
    assert sorted(answered) == sorted({f"c{one}" for one in range(1, number + 1)})
