"""One block of frames: the raw words of consecutive scans, made small without losing a bit.

A row is one scan: age of the inputs in scans, input words, output words, each an unsigned 16-bit big-endian number.
A block is its rows in order, then: every word less the same word one scan earlier (the first row less zero) plus 128,
modulo 65536; then turned so that all first bytes stand together, all second bytes, and so on; then deflated (RFC 1951,
no header). Neighbouring scans differ by little, up or down, so first bytes are long runs of zeros and second bytes are
near 128; without the 128 a fall would turn its first byte to 255, and the block would be a third larger.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from functools import lru_cache
from struct import Struct

# Measured on rows of noisy probes: runs and Huffman codes alone are within 5 % of the size of a full search for
# repeats, in a third of its time. A window of 4 KiB holds half a block.
_MIDDLE = 128
_LEVEL, _WINDOW, _MEMORY, _STRATEGY = 1, -12, 7, zlib.Z_RLE


def pack_block(rows: Sequence[bytes]) -> bytes:
    """Deflate rows of equal length, at least one."""
    width = len(rows[0])
    steps = _subtract(b"".join(rows), width)
    deflate = zlib.compressobj(_LEVEL, zlib.DEFLATED, _WINDOW, _MEMORY, _STRATEGY)
    return deflate.compress(b"".join([steps[byte::width] for byte in range(width)])) + deflate.flush()


def unpack_block(block: bytes, words: int) -> list[tuple[int, ...]]:
    """Rows of a block, each a tuple of `words` numbers.

    Raises ValueError when the bytes are no block of such rows.
    """
    try:
        turned = zlib.decompress(block, _WINDOW)
    except zlib.error as error:
        raise ValueError(f"a frame block cannot be inflated: {error}") from None
    width = 2 * words
    scans, rest = divmod(len(turned), width)
    if rest or not scans:
        raise ValueError(f"a frame block has {len(turned)} bytes, not a multiple of {width}")
    unpack = Struct(f">{words}H").unpack
    rows: list[tuple[int, ...]] = []
    last: Sequence[int] = (0,) * words
    for scan in range(scans):
        step = unpack(turned[scan::scans])
        last = [(word + change - _MIDDLE) & 0xFFFF for word, change in zip(last, step, strict=True)]
        rows.append(tuple(last))
    return rows


def _subtract(rows: bytes, width: int) -> bytes:
    """Every 16-bit word less the one `width` bytes earlier plus 128, modulo 65536, in a few sums of long integers.

    The top bit of every word is set in the number taken from and cleared in the number taken, so no word borrows from
    its neighbour; the true top bit is put back with exclusive or. The sum keeps top bits apart in the same way.
    """
    size = len(rows)
    top, low, middle = _masks(size)
    number = int.from_bytes(rows, "big")
    earlier = number >> (8 * width)
    step = ((number | top) - (earlier & low)) ^ ((number ^ ~earlier) & top)
    return (((step & low) + middle) ^ (step & top)).to_bytes(size, "big")


@lru_cache(maxsize=64)
def _masks(size: int) -> tuple[int, int, int]:
    """Top bit, all other bits, and 128 in each of the words of `size` bytes."""
    words = size // 2
    top, low, middle = [
        int.from_bytes(word.to_bytes(2, "big") * words, "big") for word in (0x8000, 0x7FFF, _MIDDLE)
    ]
    return top, low, middle
