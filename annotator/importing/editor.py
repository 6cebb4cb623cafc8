"""Files in an editor's own format, brought to MusicXML by the editor itself where it is installed.

MuseScore's .mscz and .mscx are no open standard: the program that writes them is the one that reads them
well.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from pathlib import Path, PurePath

from annotator.errors import UnreadableScore

SUFFIXES = (".mscz", ".mscx")
COMMANDS = ("musescore", "mscore", "musescore4", "mscore4", "musescore3", "mscore3")
"""What the program is called on the PATH, by its makers and by Debian; the newest first."""
SECONDS = 120
LARGEST = 50_000_000  # bytes


def command() -> str | None:
    """The editor's command, or None where it is not installed."""
    return next((found for name in COMMANDS if (found := shutil.which(name)) is not None), None)


def to_musicxml(data: bytes, name: str) -> bytes:
    """``data`` of an .mscz or .mscx file as MusicXML.

    Raises UnreadableScore where the editor is not installed, or does not open the file in ``SECONDS``.
    """
    suffix = PurePath(name).suffix.lower()
    editor = command()
    if editor is None:
        raise UnreadableScore(
            f"{name} is in an editor's own format ({suffix}), and the editor is not installed here; open it "
            "there, choose File, Export, MusicXML, and take that file"
        )
    if len(data) > LARGEST:
        raise UnreadableScore(f"{name} has {len(data):,} bytes; at most {LARGEST:,} are taken")
    with tempfile.TemporaryDirectory(prefix="score-") as folder:
        source, target = Path(folder, f"score{suffix}"), Path(folder, "score.musicxml")
        source.write_bytes(data)
        # Its settings and its runtime files go into the folder too, so that nothing of it stays.
        apart = {"QT_QPA_PLATFORM": "offscreen", "XDG_RUNTIME_DIR": folder, "HOME": folder}
        try:
            subprocess.run(
                [editor, "-o", str(target), str(source)],
                capture_output=True,
                timeout=SECONDS,
                check=False,
                env=os.environ | apart,
            )
            return target.read_bytes()
        except subprocess.TimeoutExpired:
            raise UnreadableScore(
                f"the editor did not open {name} within {SECONDS} seconds; export it as MusicXML there"
            ) from None
        except FileNotFoundError:
            raise UnreadableScore(
                f"the editor that is installed could not open {name}; it may be of a newer version, or "
                "broken. Open it where it was written, and export it as MusicXML"
            ) from None
