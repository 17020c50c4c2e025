"""Roles as one table: what each may do. Who administers accounts operates nothing, and the other way round."""

from __future__ import annotations

from typing import Final

VIEW, OPERATE, SUPERVISE, ENGINEER, ADMINISTER = "view", "operate", "supervise", "engineer", "administer"
ROLES: Final[tuple[str, ...]] = (VIEW, OPERATE, SUPERVISE, ENGINEER, ADMINISTER)

# may -> the roles that may
MAY: Final[dict[str, frozenset[str]]] = {
    "look": frozenset(ROLES),
    "operate": frozenset((OPERATE, SUPERVISE, ENGINEER)),
    "hide alarms": frozenset((SUPERVISE, ENGINEER)),
    "bypass": frozenset((SUPERVISE, ENGINEER)),
    "draft recipes": frozenset((OPERATE, SUPERVISE, ENGINEER)),
    "approve recipes": frozenset((SUPERVISE, ENGINEER)),
    "tune": frozenset((ENGINEER,)),
    "administer": frozenset((ADMINISTER,)),
    "read audit": frozenset((SUPERVISE, ENGINEER, ADMINISTER)),
}

# verb of an order -> what its sender must be allowed; a verb that is not here needs "tune", the narrowest
VERBS: Final[dict[str, str]] = {
    **dict.fromkeys(
        (
            "start", "pause", "resume", "hold", "restart", "stop", "abort", "reset", "reset-trips", "acknowledge",
            "next-phase", "charge", "discharge", "silence", "done",
        ),
        "operate",
    ),
    **dict.fromkeys(("shelve", "unshelve", "out-of-service", "in-service"), "hide alarms"),
    **dict.fromkeys(("bypass", "end-bypass", "manual", "automatic"), "bypass"),
    **dict.fromkeys(("trim",), "operate"),
    **dict.fromkeys(("force", "simulate", "release", "lock-out", "lift-lock"), "tune"),
}  # fmt: skip

# What control calls the role of a sender.
AT_DESK: Final[dict[str, str]] = {
    VIEW: "viewer", OPERATE: "operator", SUPERVISE: "supervisor", ENGINEER: "engineer", ADMINISTER: "admin",
}  # fmt: skip


def allowed(role: str, what: str) -> bool:
    """Whether a role may do something of MAY."""
    return role in MAY[what]


def needed(verb: str, tag: str = "") -> str:
    """What must be allowed to give an order. A trim is released by whoever may trim."""
    if verb == "release" and tag in ("temperature", "humidity"):
        return "operate"
    return VERBS.get(verb, "tune")
