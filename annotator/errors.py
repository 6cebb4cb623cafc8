"""What can go wrong, as values a person can act on.

Every error says what is wrong, where (part, measure) when that is known, and what to do.
"""

from __future__ import annotations

LONGEST = 1000
"""Letters of a message."""


class CrooklineError(Exception):
    """The base of every error this library raises on purpose.

    ``part`` and ``measure`` are the file's own part id and measure number, or None.
    ``code`` is stable for programs; the message is for people. ``asks`` names the option that would help.
    """

    code = "error"
    asks = ""

    def __init__(self, message: str, *, part: str | None = None, measure: str | None = None) -> None:
        if len(message) > LONGEST:
            # It quotes a file, which may say anything.
            message = f"{message[:LONGEST]}…"
        super().__init__(message)
        self.message = message
        self.part = part
        self.measure = measure

    def __str__(self) -> str:
        where = []
        if self.part is not None:
            where.append(f"part {self.part}")
        if self.measure is not None:
            where.append(f"measure {self.measure}")
        return f"{', '.join(where)}: {self.message}" if where else self.message

    def __reduce__(self) -> tuple[object, ...]:
        # Exceptions cross process borders in the workers; keyword-only fields must travel too.
        return (_rebuild, (type(self), self.message, self.part, self.measure))


def _rebuild(
    kind: type[CrooklineError], message: str, part: str | None, measure: str | None
) -> CrooklineError:
    return kind(message, part=part, measure=measure)


class UnreadableScore(CrooklineError):
    """The bytes are not a MusicXML score this program can read."""

    code = "unreadable-score"


class NoTrumpetPart(CrooklineError):
    """The score was read, and no part of it is for a trumpet (or none was named by ``part``)."""

    code = "no-trumpet-part"
    asks = "part"


class BadOption(CrooklineError):
    """An option has a value it cannot have; ``field`` names the option."""

    code = "bad-option"

    def __init__(
        self, message: str, *, field: str = "", part: str | None = None, measure: str | None = None
    ) -> None:
        super().__init__(message, part=part, measure=measure)
        self.field = field

    def __reduce__(self) -> tuple[object, ...]:
        return (_rebuild_option, (type(self), self.message, self.field, self.part, self.measure))


def _rebuild_option(
    kind: type[BadOption], message: str, field: str, part: str | None, measure: str | None
) -> BadOption:
    return kind(message, field=field, part=part, measure=measure)


class BadInstrument(CrooklineError):
    """An instrument definition (TOML) has a wrong or missing value; the message names the key."""

    code = "bad-instrument"


class NothingToPractise(CrooklineError):
    """The part was read, and no crossing in it is awkward or busy enough to make an exercise of."""

    code = "nothing-to-practise"
