"""What a person notes on a job: a name for it, and that it is to go.

A job itself is written once; this is the one file of it that may be written again, and only people do.
"""

from __future__ import annotations

import json
import time
from dataclasses import asdict, dataclass, replace

from workers.store import Store

FILE = "notes.json"
FOLDER = "put-away"
"""In the store, an empty file for each job that is to go."""
UNDO_SECONDS = 900.0
"""For so long a job that was put away can be had back."""
LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class Notes:
    """``name``: what people call the job; "" for nothing. ``put_away``: when it was, in seconds since 1970; 0
    when it was not. ``parts``: those put away by themselves."""

    name: str = ""
    put_away: float = 0.0
    parts: tuple[int, ...] = ()

    @property
    def until(self) -> float:
        """When a job that was put away goes for good."""
        return self.put_away + UNDO_SECONDS

    def called(self, name: str) -> Notes:
        """With another name, as long as fits."""
        return replace(self, name=" ".join(name.split())[:LONGEST_NAME])

    def without(self, n: int) -> Notes:
        """With a part put away."""
        return replace(self, parts=tuple(sorted({*self.parts, n})))

    def having(self, n: int) -> Notes:
        """With a part had back."""
        return replace(self, parts=tuple(each for each in self.parts if each != n))


def read(store: Store, ref: str) -> Notes:
    """The notes on a job."""
    kept = store.get(ref, FILE)
    if kept is None:
        return Notes()
    known = json.loads(kept)
    return Notes(**{**known, "parts": tuple(known["parts"])})


def write(store: Store, ref: str, notes: Notes) -> None:
    """Keep the notes on a job."""
    store.put(ref, FILE, json.dumps(asdict(notes)).encode())


def put_away(store: Store, ref: str) -> None:
    """A job is to go; until UNDO_SECONDS have passed it can be had back."""
    write(store, ref, replace(read(store, ref), put_away=time.time()))
    store.files.write(f"{FOLDER}/{ref}", b"")


def bring_back(store: Store, ref: str) -> None:
    """A job stays after all."""
    write(store, ref, replace(read(store, ref), put_away=0.0))
    forget(store, ref)


def forget(store: Store, ref: str) -> None:
    """A job is no longer among those that are to go."""
    store.files.remove(f"{FOLDER}/{ref}")


def due(store: Store) -> list[str]:
    """The jobs that were put away so long ago that they go for good."""
    latest = time.time() - UNDO_SECONDS
    return [name.removeprefix(f"{FOLDER}/") for name, since, _ in store.files.found(FOLDER) if since < latest]
