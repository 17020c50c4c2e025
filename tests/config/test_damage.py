"""Damage to good files, at random: a typed error or a valid config, never anything else."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.config import bundle, crosschecks, pointlist, reach, tags
from controller.config.chamber import ChamberFile
from controller.config.find import find
from controller.config.loader import load, load_table, parse, parse_table
from controller.core.points import Point
from controller.core.product.mix import Mix
from controller.core.sequence.recipe import Recipe
from controller.errors import ConfigError
from controller.link.device import Device
from controller.link.layout import require_layout

TEXTS = {kind: find(kind, name).read_text(encoding="utf-8") for kind, name in
         (("chamber", "demo-north"), ("recipe", "gentle"), ("points", "panel-a"))}  # fmt: skip
CHAMBER = load(find("chamber", "demo-north"), ChamberFile)
POINTS = load_table(find("points", "panel-a"), Point)
MIX = load(find("mix", "demo-60"), Mix)
DEVICE = load(find("device", "panel-a"), Device)
# What a hand on the keyboard puts in the place of a value.
SLIPS = [
    "0",
    "-1",
    "1",
    "1e9",
    "1e-9",
    "nan",
    "inf",
    '""',
    '"x"',
    "true",
    "[]",
    "{}",
    "[[1]]",
    "1979-05-27",
    "",
    "=",
    "0.0",
]


def values(kind: str) -> list[re.Match[str]]:
    """Every value of a file: behind `key = `, or between two commas."""
    pattern = r"(?<=,)[^,\n]+(?=,)" if kind == "points" else r"(?m)^\w+ = (?P<value>[^\n#]+)"
    return list(re.finditer(pattern, TEXTS[kind]))


def slip(kind: str, at: int, piece: str) -> str:
    """The text of a file with one of its values replaced."""
    found = values(kind)
    value = found[at % len(found)]
    start, end = value.span("value") if kind != "points" else value.span()
    return TEXTS[kind][:start] + piece + TEXTS[kind][end:]


def judge(kind: str, text: str) -> str:
    """Read and cross-check one damaged file among good ones: "good" or "refused"."""
    data = text.encode("utf-8", "replace")
    try:
        if kind == "chamber":
            chamber = parse(data, ChamberFile, "f").value
            found = crosschecks.chamber_problems(chamber, "f") + tags.problems(chamber, POINTS, "f", "p")
        elif kind == "recipe":
            recipe = parse(data, Recipe, "f").value
            found = crosschecks.recipe_problems(recipe, CHAMBER, "f") + reach.problems(recipe, MIX, CHAMBER, "f")
            if not found:
                crosschecks.notes(recipe, CHAMBER)
        else:
            points = parse_table(data, Point, "f").value
            found = pointlist.problems(points, "f")
            if not found:
                found = tags.problems(CHAMBER, points, "f", "p")
                require_layout(points, DEVICE)
    except ConfigError as error:
        assert error.problems
        return "refused"
    return "refused" if found else "good"


@pytest.mark.parametrize("kind", TEXTS)
@settings(max_examples=100, deadline=None)
@given(at=st.integers(0, 2000), piece=st.sampled_from(SLIPS) | st.text(max_size=12))
def test_a_slipped_value_is_refused_or_fits(kind, at, piece):
    judge(kind, slip(kind, at, piece))


@pytest.mark.parametrize("kind", TEXTS)
@settings(max_examples=60, deadline=None)
@given(start=st.integers(0, 20_000), length=st.integers(0, 400))
def test_a_lost_piece_is_refused_or_fits(kind, start, length):
    """A file cut short, or with a hole in it."""
    text = TEXTS[kind]
    start %= len(text)
    judge(kind, text[:start] + text[start + length :])


@pytest.mark.parametrize("kind", ["chamber", "recipe"])
def test_nan_is_refused_in_the_place_of_every_value(kind):
    count = len(values(kind))
    assert count > 30
    assert [at for at in range(count) if judge(kind, slip(kind, at, "nan")) != "refused"] == []


def test_the_undamaged_files_are_good():
    assert {judge(kind, text) for kind, text in TEXTS.items()} == {"good"}
    assert bundle.read_points(find("points", "panel-a")).value == POINTS
