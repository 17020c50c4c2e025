"""Signatures of web calls against the vectors of the standards."""

from __future__ import annotations

from base64 import b64decode

import pytest

from controller.callout import signing

SECRET = "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ=="


@pytest.mark.outside("published: RFC 9421, appendix B.2.5, signing with hmac-sha256; seen in others' tests of it")
def test_the_hmac_vector_of_the_standard_comes_out() -> None:
    """The vector has no alg parameter."""
    params = signing.parameters(
        ("date", "@authority", "content-type"), 1618884473, "test-shared-secret", algorithm=False
    )
    assert params == '("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"'
    base = signing.base(
        {"date": "Tue, 20 Apr 2021 02:07:55 GMT", "@authority": "example.com", "content-type": "application/json"},
        params,
    )
    assert signing.sign(b64decode(SECRET), base) == ":pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:"


@pytest.mark.outside("memory: RFC 9530, appendix B, digest of the same body without a line end")
def test_the_digest_of_a_body() -> None:
    assert signing.digest(b'{"hello": "world"}') == "sha-256=:X48E9qOokqqrvdts8nOJRJN3OWDUoyWxBf7kbu9DBPE=:"
