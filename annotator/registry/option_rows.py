"""The options: a row for everything the user can ask for."""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from annotator.registry.mark_rows import DEFAULT_MARKS, MARKS


class Kind(Enum):
    """What an option's value is; in a list, each item."""

    WORD = "a word"
    LIST = "a list of words"
    SWITCH = "true or false"


class Group(Enum):
    """What an option is about; a command takes whole groups."""

    READING = "how the part is read"
    MARKS = "what is marked"
    HANDS = "whose hands"
    REPORT = "what the report says besides"
    JOB = "what is made of all files together"


OF_A_FILE = tuple(group for group in Group if group is not Group.JOB)
"""What can be asked for where there is no job."""


class Field(Enum):
    """How the page asks for it."""

    SELECT = "select"
    RADIO = "radio"
    TICKS = "ticks"
    TEXT = "text"
    SWITCH = "switch"


@dataclass(frozen=True, slots=True)
class Option:
    """An option.

    ``name``: in ``Options``, in JSON, on the page and, with hyphens, on the command line. ``values``: those
    it can have and their words on the page; empty when they are open or come from a table. ``table``:
    that table (``instruments``, ``profiles``, ``crooks``). ``about``: what it does, in one sentence, for
    commands and schemas. ``label``, ``hint``: on the page. ``folded``: the page keeps it under "more".
    ``from_file``: commands on this machine also take a TOML file. ``from_text``: JSON can
    also have such a file's text, and the page takes the file.
    """

    name: str
    kind: Kind
    default: Any
    group: Group
    about: str
    label: str
    asked: Field
    hint: str = ""
    values: Mapping[str, str] = field(default_factory=dict)
    table: str = ""
    metavar: str | None = None
    folded: bool = True
    from_file: bool = False
    from_text: bool = False


OPTIONS = (
    Option(
        "instrument",
        Kind.WORD,
        "c-trumpet",
        Group.READING,
        "The trumpet in hand.",
        "Trumpet in your hand",
        Field.SELECT,
        table="instruments",
        metavar="NAME",
        folded=False,
        from_file=True,
    ),
    Option(
        "mark",
        Kind.LIST,
        DEFAULT_MARKS,
        Group.MARKS,
        f"What to mark: {', '.join(mark.name for mark in MARKS)}.",
        "What to mark",
        Field.TICKS,
        values={mark.name: mark.label for mark in MARKS},
        metavar="LIST",
        folded=False,
    ),
    Option(
        "show",
        Kind.WORD,
        "every",
        Group.MARKS,
        "Where fingerings and partials stand: every, first, awkward.",
        "How much: fingerings and partials",
        Field.RADIO,
        values={
            "every": "on every note",
            "first": "the first time a note comes",
            "awkward": "at awkward crossings only",
        },
        folded=False,
    ),
    Option(
        "copy",
        Kind.WORD,
        "own",
        Group.MARKS,
        "Whose copy: own (what is asked for), player (all marks), student (the awkward places), conductor "
        "(none). What is asked for besides stands.",
        "Whose copy",
        Field.SELECT,
        values={
            "own": "as chosen here",
            "player": "the player's: every mark",
            "student": "a student's: the awkward places",
            "conductor": "the conductor's: no marks",
        },
    ),
    Option(
        "style",
        Kind.LIST,
        (),
        Group.MARKS,
        "How a kind of mark looks: fingering.place=below, partial.size=6, crossing.colour=#B00000.",
        "How marks look",
        Field.TEXT,
        hint="With commas between: fingering.place=below, partial.size=6, crossing.colour=#B00000.",
        metavar="STYLE",
    ),
    Option(
        "part",
        Kind.LIST,
        (),
        Group.READING,
        "Only these parts, by id or name; all parts for trumpet if none is named.",
        "Only these parts",
        Field.TEXT,
        hint="Names or ids, with commas between. Empty: every part for trumpet.",
        metavar="ID",
    ),
    Option(
        "crook",
        Kind.WORD,
        "auto",
        Group.READING,
        "auto, infer, a crook (F, Eb; B is B♭, H is B♮), or crooks by measure (F@1-84,C@85-).",
        "Crook of the part",
        Field.TEXT,
        hint="auto: as the part says. infer: from its notes. Or a crook (F, Eb), or crooks with measures "
        "(F@1-84,C@85-).",
        table="crooks",
        metavar="CROOK",
    ),
    Option(
        "key",
        Kind.WORD,
        "auto",
        Group.READING,
        "Key signatures of the line as read: auto, signature, none.",
        "Key signature of the line as read",
        Field.SELECT,
        values={
            "auto": "where the part has one",
            "signature": "always",
            "none": "never, accidentals instead",
        },
    ),
    Option(
        "partwise",
        Kind.SWITCH,
        False,
        Group.READING,
        "Give a score-timewise file back as score-partwise, which more programs read.",
        "Give a score-timewise file back as score-partwise",
        Field.SWITCH,
    ),
    Option(
        "profile",
        Kind.WORD,
        "orchestral",
        Group.HANDS,
        "Whose hands: orchestral, student.",
        "Whose hands",
        Field.SELECT,
        table="profiles",
        metavar="NAME",
        from_file=True,
        from_text=True,
    ),
    Option(
        "second_best",
        Kind.SWITCH,
        False,
        Group.REPORT,
        "Report the next-best fingerings of every phrase too.",
        "Report the next-best fingerings of every phrase too",
        Field.SWITCH,
    ),
    Option(
        "plan",
        Kind.LIST,
        (),
        Group.JOB,
        "Plan a concert of the files, in their order, for these instruments at hand, the usual one first.",
        "Plan a concert of these files, for the trumpets in your case",
        Field.TEXT,
        hint="The usual one first, with commas between: c-trumpet, bb-trumpet, a-piccolo. Empty: no plan.",
        table="instruments",
        metavar="NAME",
    ),
)
"""In the order in which forms ask for them."""
OPTION = {option.name: option for option in OPTIONS}
TEXT = re.compile(r"[=\n]")
"""What the text of a TOML file has and no name in a table: an equals sign or a line's end."""


def schema(
    values: Mapping[str, Collection[str]] | None = None, groups: Collection[Group] = tuple(Group)
) -> dict[str, Any]:
    """The JSON Schema of an object of options of ``groups``; ``values``: those of each table."""
    return {
        "type": "object",
        "description": "What is asked for; what is left out has its default.",
        "additionalProperties": False,
        "properties": {
            option.name: _property(option, values or {}) for option in OPTIONS if option.group in groups
        },
    }


def _property(option: Option, tables: Mapping[str, Collection[str]]) -> dict[str, Any]:
    common = {"description": option.about, "default": option.default}
    if option.kind is Kind.SWITCH:
        return {"type": "boolean", **common}
    word: dict[str, Any] = {"type": "string", "minLength": 1}
    closed = option.values or (tables.get(option.table, ()) if option.table != "crooks" else ())
    if closed:
        word = {"type": "string", "enum": list(closed)}
    if option.kind is Kind.LIST:
        return {"type": "array", "items": word, **common, "default": list(option.default)}
    if option.from_text and closed:
        text = {"type": "string", "pattern": TEXT.pattern, "description": "Or the text of a TOML file."}
        return {"anyOf": [word, text], **common}
    return {**word, **common}
