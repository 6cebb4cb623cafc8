"""The page for people: send parts in, watch them being marked, look at them, take them away.

Every step works as a plain form or link; the scripts only make it smoother.
"""

from api.page import charts, compare, entry, home, job, part, words
from api.page.visitor import blueprint

__all__ = ["blueprint", "charts", "compare", "entry", "home", "job", "part", "words"]
