"""What the user asks for: one frozen value, checked when it is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from annotator.errors import BadOption

if TYPE_CHECKING:
    from annotator.fingering import Profile
    from annotator.instruments import Instrument

MARKS = ("fingering", "partial", "crossing", "cue", "intonation")
SHOW = ("every", "first", "awkward")
KEYS = ("auto", "signature", "none")
LISTS = ("mark", "part")
SWITCHES = ("second_best",)


@dataclass(frozen=True, slots=True)
class Options:
    """How to mark a score.

    ``instrument``: the id of a trumpet that comes with the program, or an ``Instrument``.
    ``crook``: ``auto``, ``infer``, a crook (``F``, ``Eb``), or crooks with measures
    (``F@1-84,C@85-``).
    ``mark``: what to put on the page, of ``MARKS``.
    ``show``: fingerings on ``every`` note, on the ``first`` time each pitch comes in a part, or on
    ``awkward`` crossings only (the note left and the note reached).
    ``part``: ids or names of the parts to mark; none means every part for trumpet.
    ``profile``: whose costs the planner weighs with: the name of one that comes with the program, or
    a ``Profile``.
    ``key``: key signatures of the cue line and the transposed part: ``auto`` where the part had one,
    ``signature`` always, ``none`` never.
    ``second_best``: also report the next-best plan of every phrase.

    Raises BadOption, which names the field.
    """

    instrument: str | Instrument = "c-trumpet"
    crook: str = "auto"
    mark: tuple[str, ...] = ("fingering", "partial", "crossing", "cue")
    show: str = "every"
    part: tuple[str, ...] = ()
    profile: str | Profile = "orchestral"
    key: str = "auto"
    second_best: bool = False

    def __post_init__(self) -> None:
        for name in LISTS:
            value = getattr(self, name)
            if isinstance(value, str) or not all(isinstance(item, str) for item in value):
                raise BadOption(f"{name} must be a list of words, not {value!r}", field=name)
            object.__setattr__(self, name, tuple(value))
        for mark in self.mark:
            if mark not in MARKS:
                raise BadOption(f"{mark!r} cannot be marked; choose from {', '.join(MARKS)}", field="mark")
        if self.show not in SHOW:
            raise BadOption(f"show is {self.show!r}; choose from {', '.join(SHOW)}", field="show")
        if self.key not in KEYS:
            raise BadOption(f"key is {self.key!r}; choose from {', '.join(KEYS)}", field="key")
        for name in ("crook", "profile"):
            value = getattr(self, name)
            own_profile = name == "profile" and hasattr(value, "costs")  # a Profile, not imported for this
            if not own_profile and (not isinstance(value, str) or not value.strip()):
                raise BadOption(f"{name} must be a word", field=name)

    @classmethod
    def from_mapping(cls, values: Mapping[str, Any]) -> Options:
        """Options from JSON or a command line; lists may be given as ``a,b``. Raises BadOption."""
        known = {field.name for field in fields(cls)}
        given: dict[str, Any] = {}
        for name, said in values.items():
            value = said
            if name not in known:
                raise BadOption(
                    f"there is no option {name!r}; the options are {', '.join(sorted(known))}", field=name
                )
            if name in SWITCHES:
                if not isinstance(value, bool):
                    raise BadOption(f"{name} must be true or false, not {value!r}", field=name)
                given[name] = value
                continue
            if name in LISTS and isinstance(value, str):
                value = tuple(word.strip() for word in value.split(",") if word.strip())
            if name in LISTS and not isinstance(value, (list, tuple)):
                raise BadOption(f"{name} must be a list of words, not {value!r}", field=name)
            if name not in LISTS and not isinstance(value, str):
                raise BadOption(f"{name} must be a word, not {value!r}", field=name)
            given[name] = tuple(value) if name in LISTS else value
        return cls(**given)
