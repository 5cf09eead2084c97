"""What changes, shown before it is done; on a terminal the person is asked, elsewhere nothing ever waits for an answer."""

from __future__ import annotations

import sys

MOST = 20  # changed cells and rows shown; --changes FILE.csv lists them all


def person_is_there() -> bool:
    """Whether somebody sits at a terminal who can read a question and answer it."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))


def show(changes, stream) -> None:
    """The changes in plain lines; keys and contents on a terminal only, so that none ends in a log that a program keeps."""
    print(changes.headline(), file=stream)
    values = stream.isatty()
    lines = changes.lines(values=values, most=MOST)
    for line in lines:
        print("  " + line, file=stream)
    if lines and not values:
        print("What stood there and what stands there now is shown on a terminal only.", file=stream)


def agreed(options, progress):
    """For ``Store.load`` and ``Store.undo``: write the changes where asked, show what changes or goes, and ask where a person can answer.

    Rows that are only added need no question.
    """

    def confirm(changes) -> bool:
        if getattr(options, "changes", None):
            changes.write(options.changes)
        if changes.harmless:
            return True
        ask = person_is_there() and not getattr(options, "yes", False)
        if options.quiet and not ask:
            return True
        progress.stream.write("\n" if not options.quiet else "")
        show(changes, progress.stream)
        return yes("Do this? [y/N] ", progress.stream) if ask else True

    return confirm


def yes(question: str, stream) -> bool:
    """Whether the person answers yes; anything else, or no answer at all, is a no."""
    stream.write(question)
    stream.flush()
    return sys.stdin.readline().strip().lower() in ("y", "yes")
