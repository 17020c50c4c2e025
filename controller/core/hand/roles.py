"""Roles of people, weakest first. Control cannot see who is logged in: what an order says of its sender is believed, so
a rank is no security, it only keeps colleagues out of each other's way."""

from __future__ import annotations

ROLES: tuple[str, ...] = ("viewer", "operator", "supervisor", "maintenance", "engineer")


def rank(role: str) -> int:
    """Place of a role; -1 for one that may not operate (admin) or is not known."""
    return ROLES.index(role) if role in ROLES else -1
