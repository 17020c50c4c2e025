"""Our client's request bytes and the replies it takes, against the examples of the Modbus specification.

Seen as two unrelated public test suites transcribe them, the example of 6.12 in the specification too.
"""

from __future__ import annotations

import socket
import threading

import pytest

from controller.errors import LinkError
from controller.link.device import Device, InputBlock, OutputBlock
from controller.link.modbus import ModbusLink
from controller.link.pdu import ReadRequest, TurnRequest, WriteRequest

SPEC = "published: Modbus Application Protocol Specification V1.1b3, as two public test suites transcribe it"
GUIDE = "Modbus Messaging on TCP/IP Implementation Guide V1.0b as public sources cite it"
HERE = "example"


@pytest.mark.outside(f"{SPEC}: 6.3, registers 108-110")
def test_fc03_request_and_reply_are_those_of_the_specification() -> None:
    request = ReadRequest(HERE, base=107, count=3)
    assert request.pdu == bytes.fromhex("03 006B 0003")
    assert request.words(bytes.fromhex("03 06 022B 0000 0064")) == [555, 0, 100]


@pytest.mark.outside(f"{SPEC}: 6.12, two from register 2")
def test_fc10h_request_and_reply_are_those_of_the_specification() -> None:
    request = WriteRequest(HERE, base=1, count=2)
    assert request.pdu([0x000A, 0x0102]) == bytes.fromhex("10 0001 0002 04 000A 0102")
    request.accept(bytes.fromhex("10 0001 0002"))


@pytest.mark.outside(f"{SPEC}: 6.17")
def test_fc17h_request_and_reply_are_those_of_the_specification() -> None:
    """The example reads six registers from register 4 and writes three from register 15."""
    request = TurnRequest(HERE, write_base=14, write_count=3, read_base=3, read_count=6)
    assert request.pdu([0xFF, 0xFF, 0xFF]) == bytes.fromhex("17 0003 0006 000E 0003 06 00FF 00FF 00FF")
    reply = bytes.fromhex("17 0C 00FE 0ACD 0001 0003 000D 00FF")
    assert request.words(reply) == [0x00FE, 0x0ACD, 1, 3, 13, 255]


@pytest.mark.outside(f"{SPEC}: 7, function + 80h, code 02")
@pytest.mark.parametrize(
    ("reply", "take"),
    [
        ("83 02", lambda reply: ReadRequest(HERE, 1184, 1).words(reply)),
        ("90 02", lambda reply: WriteRequest(HERE, 1184, 1).accept(reply)),
        (
            "97 02",
            lambda reply: TurnRequest(HERE, write_base=0, write_count=1, read_base=1184, read_count=1).words(reply),
        ),
    ],
)
def test_an_exception_reply_is_the_function_with_its_high_bit_and_a_code(reply: str, take: object) -> None:
    with pytest.raises(LinkError, match="illegal data address") as caught:
        take(bytes.fromhex(reply))  # type: ignore[operator]
    assert caught.value.kind == "exception-2"


@pytest.mark.outside(f"{SPEC}: 6.3; header of {GUIDE}")
def test_on_the_wire_a_request_has_the_seven_byte_header_and_its_reply_repeats_it() -> None:
    """Transaction (counts from 1), protocol 0, length = unit + PDU, unit FFh for a device addressed by its IP."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        seen: list[bytes] = []

        def device() -> None:
            connection, _ = listener.accept()
            with connection:
                seen.append(connection.recv(260))
                connection.sendall(bytes.fromhex("0001 0000 0009 FF") + bytes.fromhex("03 06 022B 0000 0064"))

        thread = threading.Thread(target=device)
        thread.start()
        link = ModbusLink(
            Device(
                name="example",
                host="127.0.0.1",
                port=listener.getsockname()[1],
                input=InputBlock(base=107, header="none"),
                output=OutputBlock(base=0, header="none"),
            ),
            input_count=3,
            output_count=1,
        )
        assert link.read() == [555, 0, 100]
        thread.join(5.0)
        link.close()
    assert seen == [bytes.fromhex("0001 0000 0006 FF") + bytes.fromhex("03 006B 0003")]
