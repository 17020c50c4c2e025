"""What has tripped, and what of it waits for nothing but a reset."""

from __future__ import annotations

from controller.core.protection.plan import ProtectionPlan
from controller.core.protection.protection import ProtectionState


def tripped(plan: ProtectionPlan, state: ProtectionState) -> list[str]:
    """Tags of the rows that have tripped."""
    return [row.tag for row, on in zip(plan.rows, state.tripped, strict=True) if on]


def cause_gone(
    plan: ProtectionPlan, state: ProtectionState, contacts: tuple[bool, ...], link_age_scans: int
) -> list[str]:
    """Tags of latched rows that have tripped and whose cause is gone, as far as that can be seen from outside.

    contacts, link_age_scans: of the newest scan. A row with a delay has a timer that runs while its cause is there;
    one without is known by its contacts, or by the link. Of the watchdog of a panel nothing is known here.
    """
    found = []
    for number, (row, on, timer_s) in enumerate(zip(plan.rows, state.tripped, state.timer_s, strict=True)):
        if not on or not row.latch:
            continue
        closed = plan.contacts_of_row(number)
        if row.tag == "link-lost":
            gone = link_age_scans <= plan.link_age_scans_max
        elif row.delay_s > 0.0:
            gone = timer_s <= 0.0
        else:
            gone = bool(closed) and all(contacts[column] for column in closed)
        if gone:
            found.append(row.tag)
    return found
