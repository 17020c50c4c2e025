"""HTTP message signatures after RFC 9421 with hmac-sha256, and the digest of the body after RFC 9530.

The receiver checks that the call is ours, unchanged and new: signature over method, address, body digest and message
id, with the time at which it was made.
"""

from __future__ import annotations

import hmac
from base64 import b64encode
from collections.abc import Mapping
from hashlib import sha256

KEY_ID = "dewhold"
COVERED = ("@method", "@target-uri", "content-digest", "content-type", "idempotency-key")


def digest(body: bytes) -> str:
    """Content-Digest of a body."""
    return f"sha-256=:{b64encode(sha256(body).digest()).decode()}:"


def parameters(covered: tuple[str, ...], created_s: int, key_id: str = KEY_ID, *, algorithm: bool = True) -> str:
    """What is covered, when and with which key: the value of Signature-Input without its label."""
    names = " ".join(f'"{name}"' for name in covered)
    return f'({names});created={created_s};keyid="{key_id}"' + (';alg="hmac-sha256"' if algorithm else "")


def base(components: Mapping[str, str], params: str) -> str:
    """The signature base: one line a component, then the parameters."""
    lines = [f'"{name}": {value}' for name, value in components.items()]
    return "\n".join([*lines, f'"@signature-params": {params}'])


def sign(secret: bytes, text: str) -> str:
    """The signature of a base, as it stands in the field."""
    return f":{b64encode(hmac.digest(secret, text.encode(), 'sha256')).decode()}:"


def signed(secret: str, url: str, fields: Mapping[str, str], created_s: int) -> dict[str, str]:
    """The two fields that a POST to url with these fields (names in small letters) gets."""
    known = {"@method": "POST", "@target-uri": url, **fields}
    params = parameters(COVERED, created_s)
    text = base({name: known[name] for name in COVERED}, params)
    return {"Signature-Input": f"dewhold={params}", "Signature": f"dewhold={sign(secret.encode(), text)}"}
