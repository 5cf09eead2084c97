"""Which tables a phone cannot show side by side: there each row becomes a block, every value beside its heading."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

ROOM = 326.0  # CSS pixels between the margins of a phone of 360
LETTER, BETWEEN = 7.9, 11.2  # a letter of the tables' size, and the space after a column
FIRST = 10.6  # letters: the first column is never narrower (its least width in page.css)
WORD = 14  # letters to a line below which text in a column is no longer read with ease
MANY_LINES = 5  # of text in one cell


def stacks(frame: pd.DataFrame, numeric: Callable[[str], bool]) -> bool:
    """Whether the columns need more room than a phone has, or their text would stand in towers of short lines.

    >>> few = pd.DataFrame({"after": ["1 year"], "share": ["83 %"]})
    >>> stacks(few, lambda column: column != "after"), stacks(pd.concat([few] * 4, axis=1).set_axis(list("abcdefgh"), axis=1), lambda column: False)
    (False, True)
    """
    if frame.shape[1] < 3 or frame.empty:
        return False
    least = [_least(frame[column], str(column), place > 0 and numeric(column)) for place, column in enumerate(frame.columns)]
    least[0] = max(least[0], FIRST)
    room = ROOM - BETWEEN * (len(least) - 1)
    if sum(least) * LETTER > room:
        return True
    spare = room / LETTER - sum(least)
    return any(max((len(str(value)) for value in frame[column]), default=0) > MANY_LINES * (letters + spare) for column, letters in zip(frame.columns, least))


def _least(values: pd.Series, heading: str, number: bool) -> int:
    """Letters that a column cannot do without: its longest word, a number whole, of text a readable line."""
    cells = [str(value) for value in values]
    longest = max(len(word) for text in (heading, *([] if number else cells)) for word in text.split(" ") or [""])
    return max(longest, max(map(len, cells)) if number else min(WORD, max(map(len, cells))))
