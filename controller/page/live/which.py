"""Which channels an alarm is about, where its words say only that there is one."""

from __future__ import annotations

from collections.abc import Sequence

from controller.core.frames import Quality
from controller.core.points import Point, of_kind
from controller.core.scan import ScanState
from controller.store.glance import Newest


def channels(points: tuple[Point, ...], newest: Newest, state: ScanState) -> dict[str, list[str]]:
    """Tags of analog inputs by the tag of their alarm; alarms of none are left out."""
    tags = [point.tag for point in of_kind(points, "AI")]
    bad = [column for column, quality in enumerate(newest.qualities) if quality == Quality.BAD]
    found: dict[str, Sequence[int]] = {
        "probe-bad": bad, "probe-frozen": state.frozen.frozen, "probe-disagrees": state.siblings.out,
    }  # fmt: skip
    return {alarm: [tags[column] for column in columns] for alarm, columns in found.items() if columns}
