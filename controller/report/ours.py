"""Which files this program has written itself: only those does it write over."""

from __future__ import annotations

import json
from pathlib import Path

_REPORT = b'<meta name="generator" content="Dewhold, report'  # stands in the first lines of page.html
_REPORT_BEFORE = b"<h1>Curing cycle in "  # pages made before that line came
_SUMMARY = {"chamber", "recipe", "verdict", "trace_sha256"}  # among the keys of every version


def is_report(path: Path) -> bool:
    """Whether this is a report of ours, by its mark; a file that cannot be read is not."""
    try:
        text = path.read_bytes()
    except OSError:
        return False
    return _REPORT in text[:1000] or (text.startswith(b"<!DOCTYPE html>") and _REPORT_BEFORE in text)


def is_summary(path: Path) -> bool:
    """Whether this is a summary.json of ours, by its keys; a file that cannot be read is not."""
    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(found, dict) and found.keys() >= _SUMMARY
