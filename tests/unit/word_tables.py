"""Tables of headings, changes and texts that are none: from memory of printed parts, before the grammar.

Common practice, no source. ``reads`` is the crook's id, ``-`` for none, ``F/C`` for two that the text offers,
``1:F 2:C`` for each player's. ``python -m tests.unit.word_tables`` prints every miss and counts by language.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from annotator.reading.changes import read_words
from annotator.reading.names import family_in, is_trumpet, read_heading
from annotator.reading.said import Named

Row = dict[str, str]


def table(name: str) -> list[Row]:
    """The rows of one of the tables: ``headings``, ``changes`` or ``no_changes``."""
    path = Path(__file__).with_name("words") / f"{name}.csv"
    with path.open(encoding="utf-8", newline="") as file:
        return [
            {key: value or "" for key, value in row.items()}
            for row in csv.DictReader(file, delimiter="|", quoting=csv.QUOTE_NONE)
        ]


def reads(named: Named | None) -> str:
    """What a text names, written as in the tables."""
    if named is None:
        return "-"
    each = [one for one in (named, *named.further) if one.crook is not None]
    if len({one.players for one in each}) > 1:
        return " ".join(f"{','.join(map(str, one.players))}:{one.crook.id}" for one in each if one.crook)
    return "/".join([one.crook.id for one in each if one.crook] + [crook.id for crook in named.also]) or "-"


def left(text: str, spans: tuple[tuple[int, int], ...]) -> str:
    """What ``text`` says beside ``spans``, without the signs that only joined the two."""
    kept = "".join(char for at, char in enumerate(text) if not any(a <= at < b for a, b in spans))
    return re.sub(r"^[\s,;:–-]+|[\s,;:–-]+$|^\.\s*|^[([]\s*[)\]]$", "", " ".join(kept.split()))


def heading_said(row: Row) -> tuple[str, str]:
    """A heading's crooks and family; none where it is another instrument's."""
    text = row["text"]
    if not is_trumpet(text) and family_in(text) in ("", "piccolo"):
        return "-", "-"
    named = read_heading(text)
    return reads(named), (named.family if named else "") or family_in(text)


def change_said(row: Row) -> tuple[str, str, str, str]:
    """A change's crooks, players, family and what is left of the text."""
    change = read_words(row["text"]).change
    if change is None:
        return "nothing", "", "", ""
    named = change.named
    players = "" if named.further else ",".join(map(str, named.players))
    return reads(named), players, named.family, left(row["text"], change.spans)


def misses(name: str) -> Iterator[tuple[Row, str]]:
    """The rows of a table that are read otherwise, and how."""
    for row in table(name):
        if name == "headings":
            if heading_said(row) != (row["reads"], row["family"]):
                yield row, " ".join(heading_said(row))
        elif name == "changes":
            if change_said(row) != (row["reads"], row["players"], row["family"], row["leaves"]):
                said = "" if read_words(row["text"]).not_read else " SILENT"
                yield row, "|".join(change_said(row)) + (said if change_said(row)[0] == "nothing" else "")
        else:
            words = read_words(row["text"])
            if words.change is not None or words.not_read:
                yield row, f"{words.change and reads(words.change.named)} {words.not_read!r}"


def main() -> None:
    """Print each table's misses and its counts by language and kind."""
    for name in ("headings", "changes", "no_changes"):
        wrong = list(misses(name))
        for row, said in wrong:
            print(f"{name}: {row['language']} {row['text']!r} wants {'|'.join(row.values())}, read {said}")
        rows = table(name)
        for key in ("language", "how", "why"):
            if key in rows[0]:
                all_of = Counter(row[key] for row in rows)
                missed = Counter(row[key] for row, _ in wrong)
                print(
                    f"{name} by {key}:",
                    ", ".join(f"{k} {n - missed[k]}/{n}" for k, n in sorted(all_of.items())),
                )
        print(f"{name}: {len(rows) - len(wrong)} of {len(rows)}")


if __name__ == "__main__":
    main()
