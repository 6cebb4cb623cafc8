"""The words of sheets, page and terminal, each explained so that a pupil of fourteen can follow."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Word:
    """A word or sign, and what it means in one or two sentences."""

    word: str
    means: str


WORDS = (
    Word(
        "valves",
        "Numbers over a note are the valves to press: 1-2 is the first and the second together, for "
        "one note.",
    ),
    Word(
        "0",
        "Open: press no valve.",
    ),
    Word(
        "partial",
        "With the same valves a trumpet plays a row of notes, by lips and air alone. They are counted"
        " from the lowest, which parts do not use: on the open trumpet the written C under the staff "
        "is partial 2, G is 3, the next C is 4, E is 5, G is 6.",
    ),
    Word(
        "crook",
        "Trumpets once had no valves. A bent tube, the crook, was put in to make the trumpet longer "
        "and all its notes lower; the part says which one, as in Trumpet in E. Today you read each "
        "note and play it on the trumpet you have.",
    ),
    Word(
        "as read",
        "The small staff under the part: the notes as you read them on the trumpet in your hand, so "
        "that you need not work them out.",
    ),
    Word(
        "written out",
        "The whole part copied in the notes for your trumpet. Nothing is left to transpose.",
    ),
    Word(
        "crossing",
        "The way from one note to the next. It is flagged where fingers and lips have something "
        "awkward to do in little time: ! mild, !! medium, !!! hard. Slow down there, then come back "
        "to the tempo.",
    ),
    Word(
        "finger exchange",
        "Some fingers go down while others come up, as from 1-2 to 2-3. They must change at one instant.",
    ),
    Word(
        "contrary motion",
        "The note goes up while the tube gets longer, or down while it gets shorter: the lips go one "
        "way and the fingers the other. G open to A with 1-2 is one.",
    ),
    Word(
        "partial skip",
        "The two notes are more than one partial apart, and the one between may sound on the way.",
    ),
    Word(
        "lip slur",
        "Both notes have the same valves; only lips and air move.",
    ),
    Word(
        "another fingering",
        "Many notes have more than one: A is 1-2 or 3. The other one is smaller, before the first, "
        "where it makes the way easier.",
    ),
    Word(
        "slide",
        "1st 9 or 3rd 9: pull that slide so many millimeters to bring a sharp note down. With ! "
        "behind it the slide is too short or there is no time.",
    ),
    Word(
        "cents",
        "A hundredth of a half step. +12¢ is a little sharp, −14¢ a little flat; your ear decides.",
    ),
    Word(
        "out of reach",
        "No valves play the note on this trumpet, or it is higher or lower than the trumpet goes. "
        "Another trumpet, or another player, may have it.",
    ),
    Word(
        "to check",
        "The file left something open: a crook that is named twice, a change that could not be read. "
        "It is said, and the marks show what was believed.",
    ),
)
