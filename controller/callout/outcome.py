"""What became of one try to send something."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Outcome:
    """sent: the other side took it. again: it may go later. refused: it never will. said: what the other side said.

    wait_s: how long the other side asks to wait, 0 when it does not say.
    """

    result: Literal["sent", "again", "refused"]
    said: str
    wait_s: float = 0.0
