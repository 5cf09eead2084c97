"""Questions and answers in a terminal, every answer of which can be taken back: the talk is gone through anew with one answer fewer."""

from __future__ import annotations

from collections.abc import Callable

from outcomes.errors import Misuse
from outcomes.intake.words import visible

BACK, STOP, HELP = ("back", "b"), ("stop", "quit"), ("?", "help")


class _Again(Exception):
    """An answer was taken back: go through the talk from its start."""


class Talk:
    """One talk. ``script`` gets this object, asks through ``ask``, and speaks through ``say``; it must ask the same after the same answers.

    ``read``: a function without arguments that gives the next line or None at the end; ``write``: takes a text.
    """

    def __init__(self, read: Callable[[], str | None], write: Callable[[str], None]):
        self._read, self._write = read, lambda text: write(visible(text, 6000))  # what a terminal would obey is never printed
        self._answers: list[str] = []
        self._at = 0

    def run(self, script: Callable):
        """What ``script`` returns. Raises Misuse where the person stops or the answers end."""
        while True:
            self._at = 0
            try:
                return script(self)
            except _Again:
                continue

    def say(self, *lines: str) -> None:
        """Lines for the person, once: not while earlier answers are gone through anew."""
        if self._at == len(self._answers):
            for line in lines:
                self._write(line)

    def ask(self, question: str, take: Callable, *, default: str = "", shown: str | None = None, more: str = ""):
        """What ``take`` makes of the answer; it raises ValueError with a sentence where the answer cannot be used. An empty answer is ``default``.

        ``shown``: how the default reads in brackets; ``more``: what "?" answers.
        """
        if self._at < len(self._answers):
            answer = self._answers[self._at]
            self._at += 1
            return take(answer)
        bracket = default if shown is None else shown
        while True:
            self._write(f"{question}{f' [{bracket}]' if bracket else ''}")
            line = self._read()
            if line is None:
                raise Misuse("The answers ended before the last question. Nothing was written.")
            answer = " ".join(line.split())
            if answer.casefold() in BACK:
                if self._answers:
                    self._answers.pop()
                    raise _Again
                self._write("This is the first question.")
                continue
            if answer.casefold() in STOP:
                raise Misuse("Stopped. Nothing was written.")
            if answer in HELP:
                self._write(f"{more + ' ' if more else ''}An empty answer takes what stands in brackets; back takes the last answer back; stop leaves without writing.")
                continue
            answer = answer or default
            try:
                made = take(answer)
            except ValueError as problem:
                self._write(str(problem))
                continue
            self._answers.append(answer)
            self._at += 1
            return made


def yes_or_no(answer: str) -> bool:
    """Whether an answer means yes; ValueError where it means neither."""
    if answer.casefold() in ("y", "yes"):
        return True
    if answer.casefold() in ("n", "no"):
        return False
    raise ValueError("Answer yes or no.")
