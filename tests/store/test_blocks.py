"""Frame blocks give back every bit."""

from __future__ import annotations

import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.store.blocks import pack_block, unpack_block

WORD = st.integers(0, 65535)


@given(st.integers(1, 6).flatmap(lambda words: st.lists(st.tuples(*[WORD] * words), min_size=1, max_size=70)))
def test_any_words_come_back(rows: list[tuple[int, ...]]) -> None:
    packed = [struct.pack(f">{len(row)}H", *row) for row in rows]
    assert unpack_block(pack_block(packed), len(rows[0])) == rows


def test_quiet_words_and_counters_take_hardly_any_room() -> None:
    rows = [struct.pack(">54H", scan, *([12345] * 53)) for scan in range(60)]
    assert len(pack_block(rows)) < 200  # 6480 bytes as they are


def test_refuses_what_is_no_block_or_has_other_rows() -> None:
    with pytest.raises(ValueError, match="cannot be inflated"):
        unpack_block(b"\xff\x00\x01", 3)
    with pytest.raises(ValueError, match="not a multiple of 10"):
        unpack_block(pack_block([b"\0" * 6] * 3), 5)
