"""Files from the store as answers: conditional and in ranges (RFC 9110, 13 and 14), under a safe name."""

from __future__ import annotations

from io import BytesIO, RawIOBase
from typing import IO, TYPE_CHECKING, cast
from urllib.parse import quote

from flask import Response, request
from werkzeug.http import dump_options_header
from werkzeug.wsgi import wrap_file

from workers.media import SVG

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIEnvironment

DRAWING_POLICY = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; img-src data:"


def send_stream(file: tuple[RawIOBase, int], media_type: str, digest: str, file_name: str) -> Response:
    """Something to read and seek in, of a known size. ``digest`` names its contents, as its entity tag."""
    return _answer(file, media_type, digest, disposition(file_name))


def send_bytes(
    data: bytes, media_type: str, digest: str, file_name: str, *, inline: bool = False
) -> Response:
    """Bytes made for this answer."""
    return _answer((BytesIO(data), len(data)), media_type, digest, disposition(file_name, inline=inline))


def _answer(file: tuple[RawIOBase | IO[bytes], int], media_type: str, digest: str, shown: str) -> Response:
    stream, size = file
    response = Response(
        wrap_file(request.environ, cast("IO[bytes]", stream)),
        content_type=media_type,
        direct_passthrough=True,
    )
    response.call_on_close(stream.close)
    response.content_length = size
    response.set_etag(digest)
    response.headers["Cache-Control"] = "private, no-cache"
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Content-Disposition"] = shown
    if media_type == SVG:  # a drawing opened by itself runs nothing and fetches nothing
        response.headers["Content-Security-Policy"] = DRAWING_POLICY
    response.make_conditional(_understood(request.environ), accept_ranges=True, complete_length=size)
    return response


def _understood(environ: WSGIEnvironment) -> WSGIEnvironment:
    """The request without a range in a unit that is not understood, which is ignored (RFC 9110, 14.2)."""
    unit = environ.get("HTTP_RANGE", "bytes").partition("=")[0].strip().lower()
    if unit == "bytes":
        return environ
    return {name: value for name, value in environ.items() if name != "HTTP_RANGE"}


def disposition(file_name: str, *, inline: bool = False) -> str:
    """A ``Content-Disposition`` (RFC 6266) with the last piece of the name: plain ASCII for everyone,
    and the whole name in UTF-8 (RFC 8187) where it has more."""
    last = file_name.replace("\\", "/").rsplit("/", 1)[-1]
    last = "".join(character for character in last if character.isprintable()).strip() or "file"
    ascii_name = last.encode("ascii", "replace").decode().replace("?", "_").replace('"', "_")
    options = {"filename": ascii_name}
    if ascii_name != last:
        options["filename*"] = f"UTF-8''{quote(last, safe='')}"
    return dump_options_header("inline" if inline else "attachment", options)
