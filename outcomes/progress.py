"""What a command says while it works: plain sentences on stderr, with the seconds of whatever took longer than one."""

from __future__ import annotations

import sys
import time
from contextlib import contextmanager


class Progress:
    """Says which step is running and, on a terminal, keeps the line until the step is done."""

    def __init__(self, stream=None, quiet: bool = False):
        self.stream = stream if stream is not None else sys.stderr
        self.quiet = quiet

    def say(self, sentence: str) -> None:
        """One sentence on a line of its own."""
        if not self.quiet:
            print(sentence, file=self.stream, flush=True)

    @contextmanager
    def step(self, sentence: str):
        """Announce a step before it starts; close it with its seconds if it took more than one."""
        if self.quiet:
            yield
            return
        print(f"{sentence} … ", end="", file=self.stream, flush=True)
        start = time.monotonic()
        try:
            yield
        except BaseException:
            print("stopped", file=self.stream, flush=True)
            raise
        seconds = time.monotonic() - start
        print(f"done ({seconds:.0f} s)" if seconds > 1 else "done", file=self.stream, flush=True)
