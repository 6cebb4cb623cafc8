"""Uploads made at random: files under all sorts of names, archives of them, true ones and others."""

from __future__ import annotations

import io
import warnings
import zipfile
from random import Random

from annotator.score.mxl import CONTAINER
from tests.fuzz.mutate import damaged, mutant
from tests.unit import odd_files

Upload = list[tuple[str, bytes]]

_FOLDERS = (
    *(
        "",
        "",
        "",
        "act 1/",
        "a.xml/",
        "a.xml.report.json/",
        "./",
        "a//",
        "../",
        "a/../../",
        "/",
        "C:\\",
    ),
    *(
        "C:",
        "..\\",
        "\\\\host\\share\\",
        "~/",
        "__MACOSX/",
        "con/",
        ". /",
        ".. /",
        "…/",
        "．．/",
        "\u202e../",
    ),
)
_STEMS = (
    *("a", "A", "b", "Tromba ♭", "é", "e\u0301", "a (2)", "a ", "a.", "..", ".", "", "CON", "com1", "nul.a"),
    *(
        "12: Trumpet",
        'say "F"',
        "a*?<>|",
        "-rf",
        "\x00",
        "a\nb",
        "\udc80",
        "\ufdd0",
        "soft\u00adhyphen",
        "x" * 260,
    ),
    *("日本" * 90, "y/" * 600, "summary", "a.xml", "a.failed.txt", "%2e%2e%2fa", "\u200da", "\u00a0a"),
)
_SUFFIXES = (
    *(
        ".xml",
        ".xml",
        ".musicxml",
        ".mxl",
        ".mxl",
        ".XML",
        ".zip",
        ".Zip",
        "",
        ".pdf",
        ".mscz",
        ".mid",
        ".krn",
    ),
    *(".abc", ".mei", ".xml.", ".xml ", ".xml/", ".xml\x00", ".json", ".html"),
)
_KINDS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
_SIZES = (0, 1, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFE, 0xFFFFFFFF)
_LINK = 0o120777 << 16
_BOMB = bytes(3_000_000)


def upload(number: int, seed: int) -> Upload:
    """Upload ``number`` of a run with ``seed``: the same every time."""
    random = Random(f"{seed}/upload/{number}")
    return [_file(random, depth=0) for _ in range(random.choice((1, 1, 1, 2, 6)))]


def _file(random: Random, depth: int) -> tuple[str, bytes]:
    name = _name(random)
    ending = name.lower().rpartition(".")[2]
    chance = random.random()
    if ending == "zip" or chance < 0.05:
        return name if chance < 0.05 else f"{name[:-4]}.zip", archive(random, depth)
    if ending == "mxl" or chance < 0.1:
        return name, _score_archive(random)
    if chance < 0.15:
        return name, random.choice((b"", b"PK\x03\x04", b"\x00", _BOMB, random.randbytes(200)))
    return name, odd_files.PART if chance < 0.6 else mutant(random.randrange(1_000_000), 0)


def _name(random: Random) -> str:
    return random.choice(_FOLDERS) + random.choice(_STEMS) + random.choice(_SUFFIXES)


def archive(random: Random, depth: int = 0) -> bytes:
    """A .zip of some files, true or not."""
    count = 0 if depth > 1 else random.choice((0, 1, 2, 5, 70 if random.random() < 0.1 else 3))
    return _zipped(random, [_file(random, depth + 1) for _ in range(count)])


def _score_archive(random: Random) -> bytes:
    """A compressed score whose container may point anywhere."""
    inside = random.choice(
        ("score.xml", "../score.xml", "/etc/passwd", "", "a/b.xml", "META-INF/container.xml")
    )
    root = f'<container><rootfiles><rootfile full-path="{inside}"/></rootfiles></container>'
    container = random.choice(
        (root, root, root, "", "<container/>", root * 2, root.replace("full-path", "path"))
    )
    files = [
        (CONTAINER, container.encode()),
        (random.choice((inside, "score.xml")) or "s.xml", odd_files.PART),
    ]
    random.shuffle(files)
    return _zipped(random, files[: random.choice((1, 2, 2, 2))])


def _zipped(random: Random, files: Upload) -> bytes:
    out = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as made:
        warnings.simplefilter("ignore")  # two of a name are meant
        for name, data in files:
            info = zipfile.ZipInfo(name.encode("utf-8", "replace").decode(), (2026, 1, 2, 3, 4, 6))
            info.compress_type = random.choice(_KINDS)
            if random.random() < 0.05:
                info.external_attr = _LINK
            info.create_system = random.choice((0, 3))
            info.extra = b"" if random.random() < 0.9 else random.randbytes(8)
            made.writestr(info, data)
        if random.random() < 0.1:
            made.comment = random.randbytes(40)
    data = out.getvalue()
    chance = random.random()
    if chance < 0.2:
        return damaged(random, data)
    return _lying(random, data) if chance < 0.5 else data


def _lying(random: Random, data: bytes) -> bytes:
    """An archive some of whose headers say something else than is so."""
    changed = bytearray(data)
    # Local header, entry and end of the directory (PKWARE APPNOTE 4.3.7, 4.3.12, 4.3.16): where each begins.
    marks = [at for mark in (b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06") for at in _all(data, mark)]
    for _ in range(random.choice((1, 1, 3))):
        at = random.choice(marks) + random.randrange(4, 46)
        width = random.choice((1, 2, 4))
        value = random.choice(_SIZES) if random.random() < 0.7 else random.getrandbits(32)
        changed[at : at + width] = (value & (1 << 8 * width) - 1).to_bytes(width, "little")
    return bytes(changed)


def _all(data: bytes, mark: bytes) -> list[int]:
    found, at = [], data.find(mark)
    while at >= 0:
        found.append(at)
        at = data.find(mark, at + 1)
    return found
