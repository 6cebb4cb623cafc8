"""Signs of ours that stand in a file by themselves: strip stays the inverse."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

import annotator
from annotator.errors import CrooklineError
from annotator.score.ours import END, begin, between_signs
from tests.unit.odd_files import PART

SIGNS = (END, begin("fingering"), begin("cue"), "<?crookline begin?>", "<?crookline?>", "<?crookline x?>")
HIDDEN = tuple(f"<!--{sign}-->" for sign in SIGNS)
PLACES = [
    found.end() for found in re.finditer("</?(?:note|measure|pitch|duration|attributes)[^>]*>", PART.decode())
]


@given(
    st.lists(st.tuples(st.sampled_from(PLACES), st.sampled_from(SIGNS + HIDDEN)), max_size=6),
    st.sampled_from(("every", "awkward")),
)
@settings(max_examples=60, deadline=None)
def test_strip_is_the_inverse_whatever_signs_are_about(strays: list[tuple[int, str]], show: str) -> None:
    text = PART.decode()
    for place, sign in sorted(strays, reverse=True):
        text = text[:place] + sign + text[place:]
    data = text.encode()
    plain = annotator.strip(data)
    assert annotator.strip(plain) == plain
    options = annotator.Options(show=show)
    try:
        marked = annotator.annotate(data, options).data
    except CrooklineError:
        return  # a pair of them held half an element
    assert annotator.strip(marked) == plain
    assert annotator.annotate(marked, options).data == marked


def test_a_sign_without_its_other_end_takes_nothing_away() -> None:
    assert between_signs(f"a{begin('cue')}b") == f"a{begin('cue')}b"
    assert between_signs(f"a{END}b") == f"a{END}b"
    ours = f"{begin('partial')}2{END}"
    assert between_signs(f"a{begin('cue')}b{ours}c{END}{END}") == f"a{END}"
    assert between_signs(f"{END}a{begin('cue')}b{ours}c") == f"{END}a{begin('cue')}bc"
    assert between_signs(f"a{ours}b{begin('cue')}c{END}d", ("cue",)) == f"a{ours}bd"
