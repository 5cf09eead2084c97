"""The errors a user may see: one class for each exit status, each saying what is wrong, where, and what to do."""

from __future__ import annotations


class OutcomesError(Exception):
    """Base of every error meant for a user. The text is plain sentences and holds no patient's value."""

    exit_status = 2


class Misuse(OutcomesError):
    """The command or call cannot be carried out as asked: wrong option, wrong file, store in use, no room on the disk."""

    exit_status = 2


class DataProblem(OutcomesError):
    """The data has problems that the user must mend or decide on; nothing was changed."""

    exit_status = 1
