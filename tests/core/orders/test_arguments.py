"""What an order takes, in words: every order has them, its example is whole, and limits are those that are held."""

from __future__ import annotations

import shlex

import pytest

from controller.core.alarms.hiding import SHELF_H_MAX
from controller.core.frames import Command
from controller.core.hand.points import LOOPS, TRIMS
from controller.core.hand.register import REASON_MAX, ByHandConfig
from controller.core.orders.arguments import FORMS, missing
from controller.core.orders.commands import outcome, shown
from controller.core.orders.verbs import VERBS
from controller.core.product.moves import AGE_H_MAX, DEGC_MAX, DEGC_MIN
from controller.core.upkeep.duty import NOTE_MAX
from controller.runtime.changeover import LIMITS


def says(verb: str, name: str) -> str:
    return next(one.says for one in FORMS[verb].arguments if one.name == name)


def test_every_order_has_its_form() -> None:
    assert set(FORMS) == VERBS


@pytest.mark.parametrize("verb", sorted(FORMS))
def test_the_example_of_an_order_is_whole_and_has_only_what_it_takes(verb: str) -> None:
    given = frozenset(word.partition("=")[0] for word in shlex.split(FORMS[verb].example))
    assert missing(verb, given) == ()
    assert given <= {one.name for one in FORMS[verb].arguments}
    assert bool(FORMS[verb].example) is bool(FORMS[verb].arguments)


def test_what_is_missing_is_said_as_it_is_written() -> None:
    assert missing("trim", frozenset(("hours", "reason"))) == ("tag=temperature or humidity", "value=K")
    assert missing("start", frozenset()) == ()


def test_the_limits_in_words_are_those_that_are_held() -> None:
    assert f"0 to {SHELF_H_MAX:g} h" in says("shelve", "hours")
    assert f"0 to {ByHandConfig().hours_max:g} h" in says("force", "hours")
    assert f"at most {REASON_MAX} " in says("bypass", "reason")
    assert f"at most {NOTE_MAX} " in says("done", "note")
    assert f"{DEGC_MIN:g} to {DEGC_MAX:g} degC" in says("charge", "degC")
    assert f"0 to {AGE_H_MAX:g} h" in says("charge", "age_h")
    for name, (low, high) in LIMITS.items():
        assert f"{low:g} to {high:g} " in says("start", name)
    assert "nominal_t" in says("start", "load_t")
    assert says("trim", "tag") == " or ".join(TRIMS)
    assert says("manual", "tag") == f"{', '.join(LOOPS[:3])} or {LOOPS[3]}"


def test_a_refusal_shows_values_as_people_write_them_and_says_refused_once() -> None:
    assert [shown(value) for value in (None, 99.0, "x", True)] == ["(not given)", "99", "x", "True"]
    told = outcome(Command("1", "start", "ana"), "refused while running: reset it")
    assert told.text == "start by ana: refused while running: reset it"
    assert outcome(Command("1", "start", "ana"), "no").text == "start by ana: refused, no"
