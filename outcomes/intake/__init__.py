"""Clinic files to checked frames: read, typed by their declarations, the day sheet expanded, every problem listed in one pass.

``check`` does it all and changes nothing; ``summary``, ``write_problems`` and ``marked_copy`` show what it found.
"""

from outcomes.intake.checked import Checked, check, summary
from outcomes.intake.copies import marked_copy, write_problems
from outcomes.intake.left_behind import left_behind
from outcomes.intake.numbers import newtons
from outcomes.intake.problems import place, sentence
from outcomes.intake.source import Options, Source

__all__ = ["Checked", "Options", "Source", "check", "left_behind", "marked_copy", "newtons", "place", "sentence", "summary", "write_problems"]
