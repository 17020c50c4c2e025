"""Mails against a real server: taken, refused, put off, slow, gone, encrypted or not at all."""

from __future__ import annotations

import ssl
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from controller.callout import mail
from controller.callout.outcome import Outcome
from controller.callout.plan import Mail

SENDER = Mail(host="127.0.0.1", sender="dewhold@example.com", security="none", timeout_s=30.0)
TEXT = "demo-north: die Oberfläche trocknet\n\nin 45 min\n.\nend\n"


def send(config: Mail, password: str = "", subject: str = "demo-north: dries") -> Outcome:
    message = mail.letter(config, "anna@example.com", "Anna Bérg", "0123abcd", subject, TEXT, 1_772_467_200_000)
    return mail.send(config, password, message)


def test_a_mail_arrives_with_its_id_its_text_and_whom_it_is_for(make_post_office: Callable[..., Any]) -> None:
    office = make_post_office()
    assert send(replace(SENDER, port=office.port)).result == "sent"
    (got,) = office.got
    assert got["Message-ID"] == "<0123abcd@example.com>"
    assert got["To"].addresses[0].display_name == "Anna Bérg"
    assert got["To"].addresses[0].addr_spec == "anna@example.com"
    assert got["Subject"] == "demo-north: dries"
    assert got["Auto-Submitted"] == "auto-generated"
    assert got["Date"].datetime.isoformat() == "2026-03-02T16:00:00+00:00"
    assert got.get_content().replace("\r\n", "\n") == TEXT


def test_a_long_subject_arrives_in_one_piece(make_post_office: Callable[..., Any]) -> None:
    office = make_post_office()
    long = "demo works: the call-out cannot work as it should; demo-north: emergency stop; and a few words more"
    send(replace(SENDER, port=office.port), subject=long)
    assert office.got[0]["Subject"] == long
    assert max(len(line) for line in office.got[0].get_payload().splitlines()) <= 76


def test_a_subject_cannot_smuggle_fields_in(make_post_office: Callable[..., Any]) -> None:
    office = make_post_office()
    send(replace(SENDER, port=office.port), subject="one\r\nBcc: all@example.com")
    assert office.got[0]["Subject"] == "one Bcc: all@example.com"
    assert office.got[0]["Bcc"] is None


@pytest.mark.parametrize("answer", ["451 4.7.1 greylisted, come back in 60 s", "421 shutting down", "452 no room"])
def test_what_is_put_off_goes_later(make_post_office: Callable[..., Any], answer: str) -> None:
    office = make_post_office()
    office.answers.append(answer)
    config = replace(SENDER, port=office.port)
    assert send(config) == Outcome("again", answer)
    assert send(config).result == "sent"


@pytest.mark.parametrize("answer", ["550 5.1.1 no such person", "554 not wanted"])
def test_what_is_refused_is_not_tried_again(make_post_office: Callable[..., Any], answer: str) -> None:
    office = make_post_office()
    office.answers.append(answer)
    assert send(replace(SENDER, port=office.port)) == Outcome("refused", answer)


def test_nobody_there_goes_later() -> None:
    found = send(replace(SENDER, port=1))
    assert found == Outcome("again", "127.0.0.1:1: connection refused")


@pytest.mark.parametrize("security", ["none", "tls"])
@pytest.mark.parametrize("drip", [b"", b"2"])
def test_a_server_that_says_nothing_or_a_byte_now_and_then_is_left_at_the_deadline(
    make_mute: Callable[..., int], drip: bytes, security: Any
) -> None:
    port = make_mute(drip)
    began = time.monotonic()
    found = send(replace(SENDER, port=port, timeout_s=0.5, security=security))
    assert found.result == "again"
    assert time.monotonic() - began < 30.0, "a time-out that begins anew with every byte never ends"


def test_starttls_encrypts_and_log_in_is_asked_for(
    make_post_office: Callable[..., Any], server_tls: ssl.SSLContext, ca_file: str
) -> None:
    office = make_post_office(user="dewhold", password="secret", tls_context=server_tls, require_starttls=True)
    config = replace(SENDER, port=office.port, security="starttls", ca_file=ca_file, user="dewhold")
    assert send(config, "secret").result == "sent"
    assert office.seen_tls == [True]
    wrong = send(config, "other")
    assert (wrong.result, wrong.said[:3]) == ("refused", "535")
    assert len(office.got) == 1


def test_a_server_without_starttls_gets_neither_password_nor_text(make_post_office: Callable[..., Any]) -> None:
    office = make_post_office()
    found = send(replace(SENDER, port=office.port, security="starttls", user="dewhold"), "secret")
    assert found.result == "again"
    assert "STARTTLS" in found.said
    assert office.got == []


def test_tls_from_the_first_byte(
    make_post_office: Callable[..., Any], server_tls: ssl.SSLContext, ca_file: str
) -> None:
    office = make_post_office(ssl_context=server_tls)
    assert send(replace(SENDER, port=office.port, security="tls", ca_file=ca_file)).result == "sent"


@pytest.mark.parametrize("security", ["tls", "starttls"])
def test_a_certificate_of_a_stranger_is_not_trusted(
    make_post_office: Callable[..., Any], server_tls: ssl.SSLContext, security: Any
) -> None:
    starttls = {"tls_context": server_tls, "require_starttls": True}
    office = make_post_office(**({"ssl_context": server_tls} if security == "tls" else starttls))
    found = send(replace(SENDER, port=office.port, security=security))
    assert found.result == "again"
    assert "CERTIFICATE_VERIFY_FAILED" in found.said
    assert office.got == []
