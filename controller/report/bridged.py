"""What the equivalent ages of a cycle owe to times in which nobody saw the temperature of the product."""

from __future__ import annotations

from collections.abc import Iterable

from controller.core.product.gap import BRIDGED
from controller.report.summary import Summary
from controller.store.reader import JournalRow


def mark(believed: Summary, journal: Iterable[JournalRow]) -> None:
    """Write into the block `believed` what was bridged in the cycle; nothing where all was seen.

    hours: bridged altogether. younger_h, older_h: by how much a place may be less or more old than estimated; min and
    max of the equivalent age are what a place has at least and at most.
    """
    told = [row.data for row in journal if row.kind == "note" and row.tag == BRIDGED]
    if told:
        last = told[-1]
        believed["product"]["bridged"] = {
            "hours": round(float(last["all_h"]), 2),
            "younger_h": round(float(last["younger_h"]), 3),
            "older_h": round(float(last["older_h"]), 3),
        }
