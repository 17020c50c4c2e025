"""Passwords: argon2id, slow enough to guess, small enough for a page on an industrial PC; and secrets to hand out."""

from __future__ import annotations

import secrets
from hashlib import sha256

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

LENGTH_MIN, LENGTH_MAX = 15, 128  # 15 where there is no second factor: CISA cross-sector goals
# 19 MiB, two passes, one lane: the least that OWASP's password storage cheat sheet names for argon2id, from memory.
_HASHER = PasswordHasher(time_cost=2, memory_cost=19_456, parallelism=1)
_NOBODY = _HASHER.hash(secrets.token_hex())


def hashed(password: str) -> str:
    """What is kept of a password."""
    return _HASHER.hash(password)


def fits(kept: str | None, password: str) -> bool:
    """Whether it is the password. kept: None for nobody, which takes as long and never fits."""
    try:
        return _HASHER.verify(_NOBODY if kept is None else kept, password) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


def objection(password: str, name: str) -> str:
    """Key of the text that says why a new password will not do; "" when it does."""
    if len(password) < LENGTH_MIN:
        return "password.short"
    if len(password) > LENGTH_MAX:
        return "password.long"
    if len(set(password)) < 6 or name.lower() in password.lower():
        return "password.weak"
    return ""


def new_secret() -> str:
    """A secret that nobody guesses: a session, a token."""
    return secrets.token_urlsafe(32)


def setup_code() -> str:
    """A code that somebody reads off a terminal and types: two groups of five, no letters that look alike."""
    letters = "abcdefghjkmnpqrstuvwxyz23456789"
    return "-".join("".join(secrets.choice(letters) for _ in range(5)) for _ in range(2))


def digest(secret: str) -> str:
    """What is kept of a secret that is random already."""
    return sha256(secret.encode()).hexdigest()
