"""Frames as a bad wire makes them: exactly the bytes that a kind of fault changes, and no others."""

from __future__ import annotations

import pytest

from plantsim.faults import Fault
from plantsim.frames import Content, framed, misshapen, pieces, refusal, whole

ASK = bytes.fromhex("1234 0000 0006 FF 03 0010 0003")
REPLY = bytes.fromhex("1234 0000 0009 FF 03 06 0102 0304 0506")
TURN = bytes.fromhex("1234 0000 000D FF 17 0010 0003 0100 0001 02 0007")
TURN_REPLY = bytes.fromhex("1234 0000 0009 FF 17 06 0102 0304 0506")
ACCEPTED = bytes.fromhex("1234 0000 0006 01 10 0100 0006")
BITS_ASK = bytes.fromhex("1234 0000 0006 01 02 0000 0014")
BITS = bytes.fromhex("1234 0000 0006 01 02 03 FF 00 0A")


@pytest.mark.parametrize(
    ("kind", "reply", "arrives"),
    [
        ("wrong-transaction", REPLY, "1235 0000 0009 FF 03 06 0102 0304 0506"),
        ("wrong-protocol", REPLY, "1234 0001 0009 FF 03 06 0102 0304 0506"),
        ("wrong-unit", REPLY, "1234 0000 0009 FE 03 06 0102 0304 0506"),
        ("false-length", REPLY, "1234 0000 000B FF 03 06 0102 0304 0506"),
        ("wrong-function", REPLY, "1234 0000 0009 FF 04 06 0102 0304 0506"),
        ("wrong-function", TURN_REPLY, "1234 0000 0009 FF 03 06 0102 0304 0506"),
        ("fewer-registers", REPLY, "1234 0000 0007 FF 03 04 0102 0304"),
        ("more-registers", REPLY, "1234 0000 000B FF 03 08 0102 0304 0506 0000"),
        ("fewer-registers", ACCEPTED, "1234 0000 0004 01 10 0100"),
        ("more-registers", BITS, "1234 0000 0008 01 02 05 FF 00 0A 00 00"),
        ("slow-reply", REPLY, REPLY.hex()),
    ],
)
def test_the_form_of_a_reply_is_wrong_in_its_one_place(kind: str, reply: bytes, arrives: str) -> None:
    assert misshapen(Fault(kind=kind), reply) == bytes.fromhex(arrives)


@pytest.mark.parametrize(
    ("fault", "asked", "reply", "arrives"),
    [
        (Fault(kind="byte-swapped"), ASK, REPLY, "0201 0403 0605"),
        (Fault(kind="word-swapped"), ASK, REPLY, "0304 0102 0506"),
        (Fault(kind="bit-flip", target="level", amount=0.0), ASK, REPLY, "0102 0305 0506"),
        (Fault(kind="bit-flip", target="level", amount=15.0), TURN, TURN_REPLY, "0102 8304 0506"),
        (Fault(kind="bit-flip", target="elsewhere", amount=0.0), ASK, REPLY, "0102 0304 0506"),
        (Fault(kind="bit-flip", target="contact", amount=1.0), BITS_ASK, BITS, "FD 00 0A"),
        (Fault(kind="bit-flip", target="contact", amount=9.0), BITS_ASK, BITS, "FF 02 0A"),
        (Fault(kind="bit-flip", target="level", amount=0.0), ASK, ACCEPTED, "00 0006"),
        (Fault(kind="byte-swapped"), BITS_ASK, BITS, "FF 00 0A"),
    ],
    ids=str,
)
def test_the_content_of_a_reply_is_spoilt_where_it_stands(
    fault: Fault, asked: bytes, reply: bytes, arrives: str
) -> None:
    content = Content({"level": (3, 0x11), "elsewhere": (3, 0x40), "contact": (2, 0)})
    shown = content([fault], asked, reply)
    assert shown is not None
    assert shown[9:] == bytes.fromhex(arrives)
    assert shown[:9] == reply[:9]


def test_stale_content_comes_under_the_right_header_and_stands_still() -> None:
    content, stale = Content({}), [Fault(kind="stale")]
    assert content(stale, ASK, REPLY) is None, "there was none before"
    content = Content({})
    content([], ASK, REPLY)
    newer = framed(b"\x56\x78" + REPLY[2:], bytes.fromhex("03 06 AAAA BBBB CCCC"))
    assert content(stale, ASK, newer) == b"\x56\x78" + REPLY[2:]
    assert content(stale, ASK, newer) == b"\x56\x78" + REPLY[2:]
    assert content([], ASK, newer) == newer
    assert content(stale, TURN, TURN_REPLY) is None, "an answer to another question is no earlier answer"


def test_a_register_sticks_at_what_it_showed_before() -> None:
    content, stuck = Content({"level": (3, 0x11)}), [Fault(kind="stuck-register", target="level")]
    newer = framed(REPLY, bytes.fromhex("03 06 AAAA BBBB CCCC"))
    content([], ASK, REPLY)
    for _ in range(3):
        shown = content(stuck, ASK, newer)
        assert shown is not None
        assert shown[9:] == bytes.fromhex("AAAA 0304 CCCC")
    assert content([], ASK, newer) == newer


@pytest.mark.parametrize("manner", ["slow-reply", "lost-reply", "broken-frame", "split", ""])
def test_pieces_make_the_whole_reply_in_good_time_or_too_late(manner: str) -> None:
    sent = pieces(manner, REPLY)
    assert b"".join(piece for _, piece in sent) == REPLY
    in_time = sum(pause for pause, _ in sent) < 1.0
    assert in_time == (manner in ("slow-reply", "split", ""))
    assert (len(sent) > 1) == (manner in ("broken-frame", "split"))


def test_what_is_cut_off_is_half_and_what_comes_twice_is_in_one_piece() -> None:
    assert pieces("cut", REPLY) == pieces("reset", REPLY) == [(0.0, REPLY[:7])]
    assert pieces("coalesced", REPLY) == [(0.0, REPLY + REPLY)]


@pytest.mark.outside("published: MODBUS Application Protocol Specification V1.1b3, section 7, coil 1185 absent")
def test_a_refusal_has_the_highest_bit_of_the_function_and_a_code() -> None:
    asked = bytes.fromhex("1234 0000 0006 FF 01 04A1 0001")
    assert refusal(asked, 2) == bytes.fromhex("1234 0000 0003 FF 81 02")


def test_a_frame_is_whole_when_its_length_says_so_and_what_is_none_is_refused() -> None:
    assert [whole(ASK[:size]) for size in (0, 6, 7, 12)] == [None, None, 12, 12]
    for strange in (b"GET / HTTP/1.1", bytes.fromhex("0001 0000 0001 FF"), bytes.fromhex("0001 0000 00FF FF")):
        with pytest.raises(ValueError, match="no Modbus frame"):
            whole(strange)
