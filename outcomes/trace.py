"""The program's own trace, without what a foreign error says: that may hold a cell's value."""

from __future__ import annotations

import traceback

from outcomes.errors import OutcomesError


def trace(problem: BaseException) -> str:
    """Files, lines and functions of an error and of those behind it, each with its class; its text only where it is one of ours."""
    chain: list[BaseException] = []
    one: BaseException | None = problem
    while one is not None and one not in chain:
        chain.append(one)
        one = one.__cause__ or (None if one.__suppress_context__ else one.__context__)
    out = []
    for one in reversed(chain):
        out += ["Trace (most recent call last):", *(line.rstrip("\n") for line in traceback.format_tb(one.__traceback__))]
        out.append(type(one).__name__ + (f": {one}" if isinstance(one, OutcomesError) else " (its text is left out: it may hold what somebody typed)"))
    return "\n".join(out)
