"""Headings and change words with the crook they name: what a librarian would say. Common practice, no source.

``python -m tests.unit.crook_table`` prints what the program reads from each.
"""

from __future__ import annotations

from annotator.reading import read_change, read_heading

HEADINGS: tuple[tuple[str, str | None, str], ...] = (
    # heading, crook, family
    ("Tromba 1ª in Mi♭", "Eb", "trumpet"),
    ("2 Trompeten in Es", "Eb", "trumpet"),
    ("Trompettes en Fa", "F", "trumpet"),
    ("Tpt. in Bb", "Bb", "trumpet"),
    ("Clarini in D", "D", "trumpet"),
    ("Trumpet in B♭ 1", "Bb", "trumpet"),
    ("Trompete I (B)", "Bb", "trumpet"),
    ("TROMBA IN MI BEMOLLE", "Eb", "trumpet"),
    ("Trombe I-II in Si♭", "Bb", "trumpet"),
    ("Trombe in La", "A", "trumpet"),
    ("Tromba 2da in Sol", "G", "trumpet"),
    ("TrombainMib", "Eb", "trumpet"),
    ("Trumpet inBb", "Bb", "trumpet"),
    ("Trumpet  in  E  flat", "Eb", "trumpet"),
    ("Trumpet in E-flat 2", "Eb", "trumpet"),
    ("1st Trumpet in A flat", "Ab", "trumpet"),
    ("Trumpet 1 in D flat", "Db", "trumpet"),
    ("Trumpets 1 & 2 (in F)", "F", "trumpet"),
    ("Trumpet in B natural", "B", "trumpet"),
    ("Trumpet in B", "Bb", "trumpet"),
    ("B♭ Trumpet", "Bb", "trumpet"),
    ("Bb Tpt. 1", "Bb", "trumpet"),
    ("3 C Trumpets", "C", "trumpet"),
    ("E-flat Trumpet", "Eb", "trumpet"),
    ("F-Trompete", "F", "trumpet"),
    ("A Trumpet", "A", "trumpet"),
    ("Trompete in H", "B", "trumpet"),
    ("Trompeten in As", "Ab", "trumpet"),
    ("Trompeten 1.2 in Des", "Db", "trumpet"),
    ("Trompete Es", "Eb", "trumpet"),
    ("I. Trompete in E", "E", "trumpet"),
    ("1re Trompette en Ut", "C", "trumpet"),
    ("Trompette en si bémol", "Bb", "trumpet"),
    ("2e Trompette en Ré", "D", "trumpet"),
    ("Trompettes en Mi naturel", "E", "trumpet"),
    ("Trompette en La♭", "Ab", "trumpet"),
    ("Cornet à pistons en La", "A", "cornet"),
    ("2 Cornets à Pistons en Si♭", "Bb", "cornet"),
    ("Cornetta in Si♭", "Bb", "cornet"),
    ("Kornett in B", "Bb", "cornet"),
    ("Mib Cornet", "Eb", "cornet"),
    ("Flügelhorn in B", "Bb", "flugelhorn"),
    ("Flugelhorn in B flat", "Bb", "flugelhorn"),
    ("Piccolo Trumpet in A", "piccolo A", "piccolo"),
    ("Piccolo Trumpet in B♭", "piccolo Bb", "piccolo"),
    ("Trumpet in high G", "high G", "trumpet"),
    ("Tromba in Sol acuto", "high G", "trumpet"),
    ("Hohe Trompete in D", "D", "trumpet"),
    ("Piccolotrompete in A", "piccolo A", "piccolo"),
    ("Basstrompete in Es", "bass Eb", "trumpet"),
    ("Tromba bassa in C", "bass C", "trumpet"),
    ("Corni e Trombe in Do", "C", "trumpet"),
    ("Corno in F e Tromba in Do", "C", "trumpet"),
    ("Tromba in Fa#", "F#", "trumpet"),
    ("in F", "F", ""),
    ("1. in Es", "Eb", ""),
    # No crook here:
    ("Trumpet", None, ""),
    ("Trumpet A", None, ""),
    ("Trumpet 1", None, ""),
    ("A trumpet call", None, ""),
    ("Trumpet in E minor", None, ""),
    ("Corno in Fa", None, ""),
    ("Trombone in B", None, ""),
    ("Clarinet in A", None, ""),
)

CHANGES: tuple[tuple[str, str | None, str, bool], ...] = (
    # words, crook, family, announced for the coming rest
    ("muta in C", "C", "", True),
    ("Muta in Do", "C", "", True),
    ("mutano in Si♭", "Bb", "", True),
    ("muta la tromba in Fa", "F", "trumpet", True),
    ("(muta in Es)", "Eb", "", True),
    ("muta in C, senza sord.", "C", "", True),
    ("I. muta in D", "D", "", True),
    ("cambia in Mi♭", "Eb", "", True),
    ("muta in cornetta in la", "A", "cornet", True),
    ("change to C", "C", "", True),
    ("change F to E♭", "Eb", "", True),
    ("Change to B♭ Cornet", "Bb", "cornet", True),
    ("change to C trumpet", "C", "trumpet", True),
    ("take piccolo trumpet in B♭", "piccolo Bb", "piccolo", True),
    ("wechselt in F", "F", "", True),
    ("wechseln nach B", "Bb", "", True),
    ("nach Es", "Eb", "", True),
    ("umstimmen in H", "B", "", True),
    ("nimmt Kornett in B", "Bb", "cornet", True),
    ("changez en Ré", "D", "", True),
    ("changez en si bémol", "Bb", "", True),
    ("Prenez la trompette en ut", "C", "trumpet", True),
    ("prenez ut", "C", "", True),
    ("to Picc. in A", "piccolo A", "piccolo", True),
    ("to Tpt. in C", "C", "trumpet", True),
    ("in F", "F", "", False),
    ("(in B♭)", "Bb", "", False),
    ("en Ré", "D", "", False),
    ("Trombe in Re", "D", "trumpet", False),
    ("II. Andante – Trombe in D", "D", "trumpet", False),
    # An instrument and no crook:
    ("to Flugelhorn", None, "flugelhorn", True),
    ("to Picc.", None, "piccolo", True),
    ("nimmt Flügelhorn", None, "flugelhorn", True),
    ("change to cornet", None, "cornet", True),
)

NO_CHANGES = (
    "nach und nach",
    "in tempo",
    "in 2",
    "zu 2",
    "a 2",
    "a tempo",
    "prenez la sourdine",
    "take mute",
    "change to straight mute",
    "change to a mute",
    "muta la sordina",
    "nehmen Dämpfer",
    "en dehors",
    "in the distance",
    "to Coda",
    "in Es-Dur",
    "change to D minor",
    "cor.",
    "solo",
    "f",
    "dolce e legato",
    "poco a poco",
)


def main() -> None:
    """Print the tables as the program reads them."""
    for text, _, _ in HEADINGS:
        named = read_heading(text)
        crook = named.crook.id if named is not None and named.crook is not None else "–"
        print(f"heading  {text:32} {crook:12} from {named.words if named else 'nothing'!r}")
    for text, _, _, _ in CHANGES:
        change = read_change(text)
        crook = change.named.crook.id if change is not None and change.named.crook is not None else "–"
        when = "" if change is None else "in the coming rest" if change.announces else "from here"
        family = change.named.family if change else ""
        print(f"change   {text:32} {crook:12} {family:10} {when}")


if __name__ == "__main__":
    main()
