"""Telling somebody that a job has ended: a signed message to an address the job brought along.

The message is signed as an HTTP Message Signature (RFC 9421, algorithm hmac-sha256) over the method,
the address, the content digest (RFC 9530) and the media type, with the time it was made. The
addresses a name has are looked at when the connection is made, and private ones refused, so that no
job can make the service speak to machines that only the service can reach.
"""

from __future__ import annotations

import base64
import hmac
import json
import socket
import ssl
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from ipaddress import ip_address, ip_network
from typing import Any
from urllib.parse import urlsplit

import httpcore

from annotator.errors import CrooklineError
from workers.context import Context
from workers.jobs import Job
from workers.status import Status

SECONDS = 5.0
KEY_ID = "crookline"
# IPv6 networks that write an IPv4 address at their end: RFC 6052, RFC 8215, and RFC 4291, 2.5.5.1.
WITH_IPV4 = tuple(map(ip_network, ("64:ff9b::/96", "64:ff9b:1::/48", "::/96")))
TOLD = "output/told.json"
COMPONENTS = ("@method", "@target-uri", "content-digest", "content-type")


class NotDelivered(CrooklineError):
    """The message was not taken; ``again`` says whether another try makes sense."""

    code = "callback-not-delivered"

    def __init__(self, message: str, *, again: bool) -> None:
        super().__init__(message)
        self.again = again


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent: the fields of the header, and the body."""

    headers: dict[str, str]
    body: bytes


def fault_of(url: str) -> str:
    """What is wrong with an address, or ``""``. Whether it may be reached shows when it is."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return f"{url!r} is no address"
    if parts.scheme not in ("http", "https") or not parts.hostname or port == 0:
        return "a callback goes to an http:// or https:// address"
    if parts.username is not None or parts.password is not None:
        return "a callback's address must not carry a name or password"
    if not url.isascii() or any(character.isspace() for character in url):
        return "a callback's address must be ASCII, without spaces"
    return ""


def my_turn(context: Context, ref: str, message: str, wait: float = 0.0) -> bool:
    """Whether it is this message's turn to tell of a job's end: nobody has told, and no other message is at
    it, or waits ``wait`` seconds to try again. Tasks may come twice; who is told should be told once."""
    key = f"crookline:telling:{ref}"
    seconds = int(wait + 4 * SECONDS) + 30
    other = context.connection.set(key, message, nx=True, get=True, ex=seconds)
    if other not in (None, message):
        return False
    context.connection.expire(key, seconds)
    return not context.store.exists(ref, TOLD)


def told(context: Context, ref: str, how: str) -> None:
    """Note that the end of a job has been told, or that it was given up."""
    if context.store.has(ref):
        context.store.put(ref, TOLD, json.dumps({"schema": "crookline.told/1", "told": how}).encode())


def message(job: Job, status: Status, secret: str, now: float) -> Message:
    """The message on a job's end, signed."""
    document = {
        "schema": "crookline.callback/1",
        "id": job.id,
        "state": status.state,
        "counts": status.counts(job),
        "finished": datetime.fromtimestamp(
            max(outcome.finished for outcome in status.outcomes.values()), UTC
        ).isoformat(timespec="milliseconds"),
        "job": f"/v1/jobs/{job.id}",
    }
    body = json.dumps(document).encode()
    headers = {
        "Content-Type": "application/json",
        "Content-Digest": f"sha-256=:{base64.b64encode(sha256(body).digest()).decode()}:",
        "User-Agent": "crookline",
    }
    headers |= sign(job.callback_url, headers, secret.encode(), int(now))
    return Message(headers, body)


def sign(url: str, headers: Mapping[str, str], secret: bytes, created: int) -> dict[str, str]:
    """The two fields of a signature over a POST to ``url`` with these fields (RFC 9421, 2.5 and 3.3.3)."""
    values = {"@method": "POST", "@target-uri": target_uri(url)} | {
        name.lower(): value for name, value in headers.items()
    }
    covered = " ".join(f'"{name}"' for name in COMPONENTS)
    parameters = f'({covered});created={created};keyid="{KEY_ID}";alg="hmac-sha256"'
    base = signature_base([(name, values[name]) for name in COMPONENTS], parameters)
    signed = base64.b64encode(hmac_sha256(secret, base)).decode()
    return {"Signature-Input": f"sig={parameters}", "Signature": f"sig=:{signed}:"}


def target_uri(url: str) -> str:
    """The address as the one who is asked puts it together (RFC 9421, 2.2.2; RFC 9110, 4.2.3 and 7.1).

    Scheme and host in small letters, no default port, at least ``/`` for a path, no fragment.
    """
    parts = urlsplit(url)
    host = parts.hostname or ""
    host = f"[{host}]" if ":" in host else host
    default = {"http": 80, "https": 443}[parts.scheme]
    port = f":{parts.port}" if parts.port not in (None, default) else ""
    query = f"?{parts.query}" if "?" in url.partition("#")[0] else ""
    return f"{parts.scheme}://{host}{port}{parts.path or '/'}{query}"


def signature_base(components: Iterable[tuple[str, str]], parameters: str) -> bytes:
    """What is signed: a line for each component, and the parameters (RFC 9421, 2.5)."""
    lines = [f'"{name}": {value}' for name, value in components]
    return "\n".join([*lines, f'"@signature-params": {parameters}']).encode()


def hmac_sha256(secret: bytes, base: bytes) -> bytes:
    """The signature of a base (RFC 9421, 3.3.3)."""
    return hmac.new(secret, base, "sha256").digest()


def deliver(url: str, sent: Message, *, private: bool) -> int:
    """Send a message; gives the status of the answer, 200 to 299. Raises NotDelivered.

    No redirect is followed. ``private``: whether private and loopback addresses may be reached.
    """
    fields = [(name.encode(), value.encode()) for name, value in sent.headers.items()]
    timeout = {"connect": SECONDS, "read": SECONDS, "write": SECONDS, "pool": SECONDS}
    with httpcore.ConnectionPool(
        ssl_context=ssl.create_default_context(), network_backend=PublicOnly(private=private)
    ) as pool:
        try:
            with pool.stream(
                "POST", url, headers=fields, content=sent.body, extensions={"timeout": timeout}
            ) as response:
                status = response.status
        except NotDelivered:
            raise
        except (httpcore.NetworkError, httpcore.TimeoutException, httpcore.ProtocolError, OSError) as error:
            raise NotDelivered(f"{type(error).__name__}: {error}", again=True) from None
    if 200 <= status < 300:
        return status
    raise NotDelivered(f"the answer was {status}", again=status >= 500 or status in (408, 425, 429))


class PublicOnly(httpcore.NetworkBackend):
    """Connects to the very addresses it has looked at; a second look-up could give others."""

    def __init__(self, *, private: bool) -> None:
        self._private = private
        self._inner = httpcore.SyncBackend()

    def connect_tcp(
        self,
        host: str,
        port: int,
        timeout: float | None = None,
        local_address: str | None = None,
        socket_options: Iterable[Any] | None = None,
    ) -> httpcore.NetworkStream:
        """Connect to the first address of the name that answers, if all of them may be reached."""
        addresses = resolve(host, port)
        if not self._private:
            refused = [address for address in addresses if not is_public(address)]
            if refused:
                raise NotDelivered(f"{host} is at {refused[0]}, which is no public address", again=False)
        fault: Exception = OSError(f"{host} has no address")
        for address in addresses:
            try:
                return self._inner.connect_tcp(address, port, timeout, local_address, socket_options)
            except (httpcore.ConnectError, httpcore.ConnectTimeout) as error:
                fault = error
        raise fault

    def sleep(self, seconds: float) -> None:
        """Wait."""
        time.sleep(seconds)


def resolve(host: str, port: int) -> list[str]:
    """The addresses a name has now. Raises NotDelivered."""
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise NotDelivered(f"{host} cannot be looked up ({error})", again=True) from None
    return list(dict.fromkeys(str(entry[4][0]) for entry in found))


def private_of(url: str) -> str:
    """Which private address a callback would go to, in words; "" for none, or where the name is not known
    yet. It is looked at again when the message is sent."""
    parts = urlsplit(url)
    host, port = parts.hostname or "", parts.port or {"http": 80, "https": 443}[parts.scheme]
    try:
        refused = [address for address in resolve(host, port) if not is_public(address)]
    except NotDelivered:
        return ""
    return f"{host} is at {refused[0]}" if refused else ""


def is_public(address: str) -> bool:
    """Whether an address is one of the internet at large (and not, say, an IPv4 one in disguise)."""
    found = ip_address(address.partition("%")[0])
    inner = [getattr(found, name, None) for name in ("ipv4_mapped", "sixtofour")]
    inner += getattr(found, "teredo", None) or ()
    if any(found in network for network in WITH_IPV4):
        inner.append(ip_address(int(found) & 0xFFFF_FFFF))
    if any(other is not None and not other.is_global for other in inner):
        return False
    return found.is_global and not found.is_multicast
