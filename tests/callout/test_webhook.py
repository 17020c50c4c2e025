"""Web calls against a real server: what it answers, how it is signed, slow, gone, redirecting, encrypted."""

from __future__ import annotations

import json
import re
import ssl
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.callout import signing
from controller.callout.outcome import Outcome
from controller.callout.plan import Hook
from controller.callout.webhook import call

BODY = json.dumps({"id": "0123abcd", "subject": "demo-north: trocknet für immer"})
HOOK = Hook(name="phones", url="http://127.0.0.1:1/", timeout_s=30.0)


def post(hook: Hook, secret: str = "") -> Outcome:
    return call(hook, secret, "0123abcd", BODY, 1_772_467_200)


def test_a_call_arrives_whole_and_signed_so_that_the_receiver_can_check_it(make_exchange: Callable[..., Any]) -> None:
    """The receiver's side, written from the standard: the base is formed again from what arrived."""
    exchange = make_exchange()
    assert post(replace(HOOK, url=exchange.url), "the secret").result == "sent"
    ((fields, body),) = exchange.got
    assert body.decode() == BODY
    assert fields["content-digest"] == signing.digest(body)
    shape = r'dewhold=(\((.*)\);created=(\d+);keyid="dewhold";alg="hmac-sha256")'
    found = re.fullmatch(shape, fields["signature-input"])
    assert found is not None
    covered = found[2].replace('"', "").split(" ")
    assert covered == ["@method", "@target-uri", "content-digest", "content-type", "idempotency-key"]
    known = {"@method": "POST", "@target-uri": exchange.url, **fields}
    base = signing.base({name: known[name] for name in covered}, found[1])
    assert fields["signature"] == f"dewhold={signing.sign(b'the secret', base)}"
    assert found[3] == "1772467200"
    assert fields["idempotency-key"] == '"0123abcd"'


def test_without_a_secret_it_is_not_signed(make_exchange: Callable[..., Any]) -> None:
    exchange = make_exchange()
    post(replace(HOOK, url=exchange.url))
    assert "signature" not in exchange.got[0][0]


@pytest.mark.parametrize(
    ("status", "fields", "result", "wait_s"),
    [
        (204, {}, "sent", 0.0), (500, {}, "again", 0.0), (503, {"Retry-After": "90"}, "again", 90.0),
        (429, {"Retry-After": "Wed, 21 Oct 2026 07:28:00 GMT"}, "again", 0.0), (408, {}, "again", 0.0),
        (400, {}, "refused", 0.0), (401, {}, "refused", 0.0), (410, {}, "refused", 0.0),
        (301, {"Location": "http://127.0.0.1:1/"}, "refused", 0.0),
    ],
)
def test_what_the_other_side_answers_decides(
    make_exchange: Callable[..., Any], status: int, fields: dict[str, str], result: str, wait_s: float
) -> None:
    exchange = make_exchange()
    exchange.answers.append((status, fields))
    found = post(replace(HOOK, url=exchange.url))
    assert (found.result, found.wait_s) == (result, wait_s)
    assert found.said.startswith(str(status))
    assert len(exchange.got) == 1  # a redirect is not followed: the text goes where the file says, nowhere else


def test_nobody_there_goes_later() -> None:
    assert post(HOOK) == Outcome("again", "127.0.0.1:1: connection refused")


@pytest.mark.parametrize("scheme", ["http", "https"])
@pytest.mark.parametrize("drip", [b"", b"H"])
def test_a_server_that_says_nothing_or_a_byte_now_and_then_is_left_at_the_deadline(
    make_mute: Callable[..., int], drip: bytes, scheme: str
) -> None:
    port = make_mute(drip)
    began = time.monotonic()
    found = post(replace(HOOK, url=f"{scheme}://127.0.0.1:{port}/", timeout_s=0.5))
    assert found.result == "again"
    assert time.monotonic() - began < 30.0, "a time-out that begins anew with every byte never ends"


def test_encrypted_with_a_certificate_that_is_trusted_and_not_otherwise(
    make_exchange: Callable[..., Any], server_tls: ssl.SSLContext, ca_file: str
) -> None:
    exchange = make_exchange(server_tls)
    assert post(replace(HOOK, url=exchange.url, ca_file=ca_file)).result == "sent"
    found = post(replace(HOOK, url=exchange.url))
    assert found.result == "again"
    assert "CERTIFICATE_VERIFY_FAILED" in found.said
