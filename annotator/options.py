"""What the user asks for: one frozen value, checked when it is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from annotator.errors import BadOption
from annotator.registry.mark_rows import MARK_NAMES
from annotator.registry.option_rows import OPTION, OPTIONS, TEXT, Group, Kind, Option
from annotator.styles import styles

if TYPE_CHECKING:
    from annotator.fingering import Profile
    from annotator.instruments import Instrument

COPIES: Mapping[str, Mapping[str, Any]] = {
    "player": {"mark": MARK_NAMES},
    "student": {"mark": ("fingering", "crossing"), "show": "awkward", "profile": "student"},
    "conductor": {"mark": ()},
}
"""What each kind of copy asks for, where nothing else is asked for."""


@dataclass(frozen=True, slots=True)
class Options:
    """How to mark a score; what each option does and can be stands in ``annotator.registry.option_rows``.

    ``plan`` speaks of a job's files together; marking takes no notice of it.
    ``instrument`` and ``profile`` can also be an ``Instrument`` and a ``Profile``.
    Raises BadOption, which names the field.
    """

    instrument: str | Instrument = OPTION["instrument"].default
    crook: str = OPTION["crook"].default
    mark: tuple[str, ...] = OPTION["mark"].default
    show: str = OPTION["show"].default
    part: tuple[str, ...] = OPTION["part"].default
    profile: str | Profile = OPTION["profile"].default
    key: str = OPTION["key"].default
    second_best: bool = OPTION["second_best"].default
    copy: str = OPTION["copy"].default
    style: tuple[str, ...] = OPTION["style"].default
    partwise: bool = OPTION["partwise"].default
    plan: tuple[str, ...] = OPTION["plan"].default

    def __post_init__(self) -> None:
        for option in OPTIONS:
            value = checked(option, getattr(self, option.name))
            if option.kind is Kind.LIST:
                object.__setattr__(self, option.name, value)
        styles(self.style)
        for name, value in COPIES.get(self.copy, {}).items():
            if getattr(self, name) == OPTION[name].default:
                object.__setattr__(self, name, value)

    @classmethod
    def from_mapping(cls, values: Mapping[str, Any]) -> Options:
        """Options from JSON or a command line. Lists may be given as ``a,b``, a profile of the user's own as
        the text of its TOML file. Raises BadOption."""
        given: dict[str, Any] = {}
        for name, said in values.items():
            option = OPTION.get(name)
            if option is None:
                known = ", ".join(sorted(OPTION))
                raise BadOption(f"there is no option {name!r}; the options are {known}", field=name)
            value = said
            if option.kind is Kind.LIST and isinstance(said, str):
                value = tuple(word.strip() for word in said.split(",") if word.strip())
            if option.kind is Kind.WORD and not isinstance(said, str):
                raise BadOption(f"{name} must be a word, not {said!r}", field=name)
            given[name] = own(value) if option.from_text and TEXT.search(value) else checked(option, value)
        return cls(**given)

    def document(self) -> dict[str, Any]:
        """What a part is marked with, as JSON; an instrument or profile of the user's own by its name."""
        found = {}
        for each in fields(self):
            value = getattr(self, each.name)
            if OPTION[each.name].group is Group.JOB:
                continue
            if each.name == "instrument" and not isinstance(value, str):
                value = value.id
            elif each.name == "profile" and not isinstance(value, str):
                value = value.name
            found[each.name] = list(value) if isinstance(value, tuple) else value
        return found


def own(text: str) -> Profile:
    """The profile that a TOML file's text describes. Raises BadOption, which names the wrong key."""
    from annotator.fingering.profile import profile_from_toml  # noqa: PLC0415 - keeps --help quick

    return profile_from_toml(text)


def checked(option: Option, value: Any) -> Any:
    """``value`` if the option can have it, a list as a tuple. Raises BadOption."""
    name = option.name
    if option.kind is Kind.SWITCH:
        if not isinstance(value, bool):
            raise BadOption(f"{name} must be true or false, not {value!r}", field=name)
        return value
    if option.kind is Kind.LIST:
        if not isinstance(value, (list, tuple)) or not all(isinstance(item, str) for item in value):
            raise BadOption(f"{name} must be a list of words, not {value!r}", field=name)
        for item in value:
            if option.values and item not in option.values:
                choices = ", ".join(option.values)
                raise BadOption(f"{item!r} is nothing to {name}; choose from {choices}", field=name)
        return tuple(value)
    if isinstance(value, str) and option.values and value not in option.values:
        raise BadOption(f"{name} is {value!r}; choose from {', '.join(option.values)}", field=name)
    # An instrument or a profile of the user's own is a value; its room makes sure that it is a sound one.
    own = option.from_file and not isinstance(value, (str, int, float, list, tuple, dict, type(None)))
    if not own and (not isinstance(value, str) or not value.strip()):
        raise BadOption(f"{name} must be a word", field=name)
    return value
