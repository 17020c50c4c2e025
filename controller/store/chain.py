"""The hash chain: every row names the one before it, so nothing can be changed, taken out or put between unseen.

It proves rows, not the bytes of the file; what is cut off at the end shows only against the heads that are written
when a cycle ends. SHA-256 after FIPS 180-4, from the standard library.
"""

from __future__ import annotations

from hashlib import sha256
from struct import Struct

GENESIS = b"\x00" * 32
_BLOCK = Struct(">QIqI").pack
_END = Struct(">qq").pack
_LINE = Struct(">QQq").pack


def after_cycle(head: bytes, header: str) -> bytes:
    """Head of a cycle: its header after the cycle before it. Both chains of the cycle begin here."""
    return sha256(head + header.encode()).digest()


def after_block(head: bytes, first_scan: int, scans: int, utc_ms: int, block: bytes, minute: bytes) -> bytes:
    """Head after one block of frames and the minute folded from it."""
    return sha256(head + _BLOCK(first_scan, scans, utc_ms, len(block)) + block + minute).digest()


def after_line(head: bytes, line: tuple[int, int, int, str, str, str, str]) -> bytes:
    """Head after one journal line: id, scan, utc_ms, kind, tag, text, data."""
    number, scan, utc_ms, *texts = line
    parts = [part.encode() for part in texts]
    sizes = b"".join(len(part).to_bytes(4, "big") for part in parts)  # so that no text can run into the next
    return sha256(b"".join((head, _LINE(number, scan, utc_ms), sizes, *parts))).digest()


def seal_of(ended_ms: int, last_scan: int, summary: str, frames_head: bytes, journal_head: bytes) -> bytes:
    """Seal of an ended cycle: its end, its summary and both heads."""
    return sha256(_END(ended_ms, last_scan) + frames_head + journal_head + summary.encode()).digest()
