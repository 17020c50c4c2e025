"""What is sent when nobody controls any more: every output at the safe value of the point list."""

from __future__ import annotations

from controller.core.frames import Outputs
from controller.core.points import Point, of_kind


def safe_outputs(points: tuple[Point, ...]) -> Outputs:
    """The values the device itself takes when it hears nothing: heat and fog off, the air kept moving."""
    return Outputs(
        tuple(point.safe for point in of_kind(points, "AO")),
        tuple(point.safe != 0.0 for point in of_kind(points, "DO")),
    )
