"""Channels that are watched for standing still, but whose steps are so coarse that they stand still by themselves."""

from __future__ import annotations

from controller.core.points import Point
from controller.core.signals.frozen import FrozenConfig

STEP_PCT = 0.05  # of the span: a 12-bit card has half of it. Ours; what lives moves a finer channel within the hour


def notes(config: FrozenConfig, points: tuple[Point, ...], file: str) -> list[str]:
    """A sentence about all of them: a probe that is taken for frozen is left out."""
    watched = [point for point in points if point.tag in config.tags and point.type != "float32"]
    steps = {point: 100.0 / (point.raw_hi - point.raw_lo) for point in watched if point.raw_hi > point.raw_lo}
    coarse = [point for point, step_pct in steps.items() if step_pct > STEP_PCT]
    if not coarse:
        return []
    first = coarse[0]
    step = (first.hi - first.lo) * steps[first] / 100.0
    tags = ", ".join(point.tag for point in coarse)
    how = f"a step of the raw number is {step:.2g} {first.unit} ({first.tag}, {file})"
    why = "a good probe stands still between two steps and is left out"
    return [f"frozen.tags: {tags}: {how}: {why}; take it out of the tags, or read it finer"]
