"""One mail over SMTP: STARTTLS or TLS where the file asks for it and never less, log-in, and what the server said."""

from __future__ import annotations

import smtplib
import socket
import ssl
from contextlib import suppress
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime

from controller.callout.deadline import Deadline
from controller.callout.outcome import Outcome
from controller.callout.plan import Mail
from controller.callout.roster import utc

_LINE_MAX = 990  # RFC 5322 2.1.1 allows 998


def letter(mail: Mail, to: str, name: str, letter_id: str, subject: str, body: str, made_ms: int) -> EmailMessage:
    """The message. Its id is that of the outbox: a server that sees it twice knows it for the same."""
    message = EmailMessage(policy=SMTP)
    message["From"] = mail.sender
    message["To"] = Address(name, addr_spec=to)
    message["Subject"] = " ".join(subject.split())
    message["Date"] = format_datetime(utc(made_ms))
    message["Message-ID"] = f"<{letter_id}@{mail.sender.rpartition('@')[2].strip('>') or 'dewhold.invalid'}>"
    message["Auto-Submitted"] = "auto-generated"  # RFC 3834: no machine answers it
    message.set_content(body, cte="quoted-printable")
    message.policy = SMTP.clone(max_line_length=_LINE_MAX)  # a subject in one piece: phones show what stands first
    return message


def send(mail: Mail, password: str, message: EmailMessage) -> Outcome:
    """Hand it to the server. Never raises for what a server or a network does."""
    with Deadline(mail.timeout_s) as deadline:
        try:
            said = _send(mail, password, message, deadline)
        except smtplib.SMTPRecipientsRefused as error:
            return _refusal(*next(iter(error.recipients.values())))
        except smtplib.SMTPResponseException as error:
            if not deadline.over:
                return _refusal(error.smtp_code, error.smtp_error)
            return _late(mail)
        except (smtplib.SMTPException, OSError) as error:
            return _late(mail) if deadline.over else Outcome("again", f"{mail.host}:{mail.port}: {_words(error)}")
    return Outcome("sent", said)


class _Kept(smtplib.SMTP):
    """Lets a deadline know of its connection before anything is read from it."""

    deadline: Deadline

    def _get_socket(self, host: str, port: int, timeout: float) -> socket.socket:
        return self.deadline.keep(super()._get_socket(host, port, timeout))  # type: ignore[misc]


class _KeptTls(smtplib.SMTP_SSL, _Kept):
    """The same under TLS; what is kept is the connection before its handshake."""


def _send(mail: Mail, password: str, message: EmailMessage, deadline: Deadline) -> str:
    context = ssl.create_default_context()
    if mail.ca_file:
        context.load_verify_locations(mail.ca_file)
    kind = type("_Smtp", (_KeptTls if mail.security == "tls" else _Kept,), {"deadline": deadline})
    options = {"context": context} if mail.security == "tls" else {}
    smtp: smtplib.SMTP = kind(mail.host, mail.port, timeout=mail.timeout_s, **options)
    try:
        smtp.ehlo_or_helo_if_needed()
        if mail.security == "starttls":
            smtp.starttls(context=context)
            smtp.ehlo()
        if mail.user:
            smtp.login(mail.user, password)
        smtp.send_message(message)
        with suppress(smtplib.SMTPException, OSError):  # it has taken the message; what comes now is manners
            smtp.quit()
    finally:
        smtp.close()
    return f"taken by {mail.host}:{mail.port}"


def _late(mail: Mail) -> Outcome:
    return Outcome("again", f"{mail.host}:{mail.port}: nothing settled within {mail.timeout_s:g} s")


def _refusal(code: int, text: bytes | str) -> Outcome:
    """After RFC 5321 4.2.1: 4xx may go later, 5xx never will."""
    said = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    return Outcome("refused" if 500 <= code <= 599 else "again", f"{code} {' '.join(said.split())}")


def _words(error: Exception) -> str:
    if isinstance(error, ConnectionRefusedError):
        return "connection refused"
    if isinstance(error, socket.gaierror):
        return "no such host name"
    if isinstance(error, TimeoutError):
        return "no answer"
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
