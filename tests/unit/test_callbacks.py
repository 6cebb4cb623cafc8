"""The message on a job's end: who may be told, and how it is signed."""

from __future__ import annotations

import base64
import socket
from typing import Any

import pytest

from workers import callbacks
from workers.callbacks import (
    NotDelivered,
    PublicOnly,
    fault_of,
    hmac_sha256,
    is_public,
    signature_base,
    target_uri,
)


def test_the_signature_of_the_standards_own_example() -> None:
    """RFC 9421, B.2.5, "Signing a Request Using hmac-sha256", with the key of B.1.5."""
    secret = "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ=="
    base = signature_base(
        [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ],
        '("date" "@authority" "content-type");created=1618884473;keyid="test-shared-secret"',
    )
    signature = base64.b64encode(hmac_sha256(base64.b64decode(secret), base)).decode()
    assert signature == "pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8="


def test_a_message_can_be_checked_by_who_knows_the_secret() -> None:
    headers = {"Content-Type": "application/json", "Content-Digest": "sha-256=:x:"}
    signed = callbacks.sign("https://library.example/hook", headers, b"secret", 1_700_000_000)
    assert signed["Signature-Input"].startswith(
        'sig=("@method" "@target-uri" "content-digest" "content-type");'
    )
    assert ";created=1700000000;" in signed["Signature-Input"]
    lines = [
        '"@method": POST',
        '"@target-uri": https://library.example/hook',
        '"content-digest": sha-256=:x:',
        '"content-type": application/json',
        f'"@signature-params": {signed["Signature-Input"].removeprefix("sig=")}',
    ]
    mac = base64.b64decode(signed["Signature"].removeprefix("sig=:").removesuffix(":"))
    assert mac == hmac_sha256(b"secret", "\n".join(lines).encode())
    assert mac != hmac_sha256(b"other", "\n".join(lines).encode())


@pytest.mark.parametrize(
    "url",
    [
        *("ftp://a.example/", "file:///etc/passwd", "https://", "https://u:p@a.example/", "a.example"),
        *("http://[::1", "http://a b/", "http://a.example:99999/", "https://bücher.example/"),
    ],
)
def test_an_address_that_cannot_be_used(url: str) -> None:
    assert fault_of(url)


@pytest.mark.parametrize("url", ["https://a.example/hook?x=1", "http://a.example:8080/", "http://127.0.0.1/"])
def test_an_address_that_can_be_written(url: str) -> None:
    assert not fault_of(url)


@pytest.mark.parametrize(
    "address",
    [
        # IANA IPv4 and IPv6 Special-Purpose Address Registries: not globally reachable
        *("127.0.0.1", "0.0.0.0", "10.1.2.3", "172.16.0.1", "192.168.1.1", "169.254.169.254", "100.64.0.1"),
        *("::1", "::", "fe80::1", "fe80::1%eth0", "fc00::1", "ff02::1", "224.0.0.1", "255.255.255.255"),
        *(
            "::ffff:127.0.0.1",
            "::ffff:10.0.0.1",
            "2002:7f00:1::",
            "64:ff9b::7f00:1",
            "64:ff9b:1::7f00:1",
            "::127.0.0.1",
            "192.0.2.1",
            "2001:db8::1",
        ),
    ],
)
def test_private_addresses_are_known_in_every_disguise(address: str) -> None:
    assert not is_public(address)


@pytest.mark.parametrize("address", ["93.184.216.34", "2606:2800:220:1:248:1893:25c8:1946"])
def test_public_addresses_are_known(address: str) -> None:
    assert is_public(address)


def test_the_name_is_looked_up_once_and_those_addresses_are_used(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[str] = []

    def look_up(host: str, port: int, **_: Any) -> list[Any]:
        looked.append(host)
        # The second answer would be another: a name whose owner changes it between look and use.
        address = "93.184.216.34" if len(looked) == 1 else "127.0.0.1"
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port))]

    connected: list[str] = []

    class Inner:
        def connect_tcp(self, host: str, *_: Any) -> str:
            connected.append(host)
            return "stream"

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    backend = PublicOnly(private=False)
    monkeypatch.setattr(backend, "_inner", Inner())
    backend.connect_tcp("library.example", 443)
    assert (looked, connected) == (["library.example"], ["93.184.216.34"])
    with pytest.raises(NotDelivered, match=r"127\.0\.0\.1") as refused:
        backend.connect_tcp("library.example", 443)
    assert not refused.value.again
    assert connected == ["93.184.216.34"]


def test_one_private_address_among_public_ones_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(callbacks, "resolve", lambda host, port: ["93.184.216.34", "10.0.0.1"])
    with pytest.raises(NotDelivered, match=r"10\.0\.0\.1"):
        PublicOnly(private=False).connect_tcp("library.example", 443)


@pytest.mark.parametrize(
    ("url", "seen"),
    [
        ("HTTP://Library.Example/Hook?Job=1#top", "http://library.example/Hook?Job=1"),
        ("https://library.example:443", "https://library.example/"),
        ("http://library.example:8080/?", "http://library.example:8080/?"),
        ("http://[2001:DB8::1]:80/a", "http://[2001:db8::1]/a"),
    ],
)
def test_what_is_signed_is_the_address_that_the_receiver_sees(url: str, seen: str) -> None:
    # RFC 9421, 2.2.2, with RFC 9110, 4.2.3: scheme and host in small letters, no default port, no fragment.
    assert not fault_of(url)
    assert target_uri(url) == seen
    assert target_uri(seen) == seen
