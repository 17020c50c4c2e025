"""Where the devices of one chamber are: each has a name and an address of its own, and the address is one."""

from __future__ import annotations

import re
from ipaddress import IPv6Address
from typing import Any

from controller.config.loader import Loaded
from controller.errors import Problem

_HOST = re.compile(r"[A-Za-z0-9_]([A-Za-z0-9_.-]*[A-Za-z0-9_])?")
# What two devices must not share, where it stands, and what else a change of it takes.
_OWN = (("name", ("name",), ", in the column device of its points too"), ("port", ("host", "port", "unit_id"), ""))


def problems(devices: list[Loaded[Any]]) -> list[Problem]:
    """All that is wrong with them; words of one device would be taken for those of another."""
    return [*_hosts(devices), *_twice(devices)]


def _hosts(devices: list[Loaded[Any]]) -> list[Problem]:
    return [
        Problem(
            device.path, "host", host, "must be an address or a name and nothing else",
            "for example 192.168.10.20; the port is a key of its own",
        )
        for device in devices if not _is_host(host := str(getattr(device.value, "host", "localhost")))
    ]  # fmt: skip


def _is_host(host: str) -> bool:
    if ":" not in host:
        return _HOST.fullmatch(host) is not None
    try:
        IPv6Address(host)
    except ValueError:
        return False
    return True


def _twice(devices: list[Loaded[Any]]) -> list[Problem]:
    found: list[Problem] = []
    for field, keys, more in _OWN:
        seen: dict[tuple[object, ...], str] = {}
        for device in devices:
            own = tuple(getattr(device.value, key, device.path) for key in keys)
            first = seen.setdefault(own, device.path)
            if first != device.path:
                value, limit = str(own[keys.index(field)]), f"{first} has the same {', '.join(keys)}"
                found.append(Problem(device.path, field, value, limit, f"give each its own{more}"))
    return found
