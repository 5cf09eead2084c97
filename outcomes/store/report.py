"""What a load or an undo did: counts, and sentences for the person who asked for it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from outcomes import schemas

if TYPE_CHECKING:
    import pandas

WORDS = {
    "patients": ("patient", "patients"),
    "dentures": ("denture", "dentures"),
    "implants": ("implant", "implants"),
    "insert_levels": ("insert level", "insert levels"),
    "visits": ("visit", "visits"),
    "parts_log": ("part row", "part rows"),
    "denture_log": ("denture row", "denture rows"),
    "questionnaires": ("answer", "answers"),
    "pull_tests": ("pull test", "pull tests"),
}


@dataclass(frozen=True)
class Counts:
    """Rows of one table in one load."""

    added: int = 0
    changed: int = 0
    unchanged: int = 0
    withdrawn: int = 0
    gone: int = 0


@dataclass(frozen=True)
class LoadReport:
    """What one load did. ``load_id`` is None where nothing was new: such a load leaves no trace in the history.

    ``gone`` counts rows that a file listed before and lists no more, and that were kept; ``gone_rows`` names them (table, file,
    sheet, line, key). ``tables`` has the counts of each table.
    """

    load_id: int | None
    tables: dict[str, Counts]
    gone_rows: pandas.DataFrame
    sentences: list[str] = field(default_factory=list)

    @property
    def added(self) -> int:
        """Rows whose key was new."""
        return sum(counts.added for counts in self.tables.values())

    @property
    def changed(self) -> int:
        """Rows that took the place of one with the same key and other content."""
        return sum(counts.changed for counts in self.tables.values())

    @property
    def unchanged(self) -> int:
        """Rows that were in the store already."""
        return sum(counts.unchanged for counts in self.tables.values())

    @property
    def withdrawn(self) -> int:
        """Rows taken out because their file lists them no more."""
        return sum(counts.withdrawn for counts in self.tables.values())

    @property
    def gone(self) -> int:
        """Rows no longer in their file, and kept."""
        return sum(counts.gone for counts in self.tables.values())


@dataclass(frozen=True)
class UndoReport:
    """What an undo took back: ``load_id`` is its own number in the history, ``undone`` that of the load."""

    load_id: int
    undone: int
    sentences: list[str]


def counted(number: int, table: str) -> str:
    """A count with its noun: 1 visit, 1,204 part rows."""
    title = schemas.tables()[table].title.lower() if table in schemas.tables() else table
    one, many = WORDS.get(table, (f"row of {title}", f"rows of {title}"))
    return f"{number:,} {one if number == 1 else many}"


def rows(number: int) -> str:
    """1 row, 2 rows."""
    return f"{number:,} {'row' if number == 1 else 'rows'}"


def joined(words: list[str]) -> str:
    """a; a and b; a, b and c."""
    return words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1]


def load_sentences(tables: dict[str, Counts], files: list[str], *, errors: int, aside: int, backup: str, notes: list[str]) -> list[str]:
    """What a load did, in plain words."""
    total = {name: sum(getattr(counts, name) for counts in tables.values()) for name in ("added", "changed", "unchanged", "withdrawn", "gone")}
    out = []
    added = [counted(counts.added, table) for table, counts in tables.items() if counts.added]
    if added:
        out.append(f"Loaded {joined(added)}.")
    elif not total["changed"] and not total["withdrawn"]:
        out.append("There is no row to load." if not total["unchanged"] else f"Nothing new: {'all ' if total['unchanged'] > 1 else ''}{rows(total['unchanged'])} {was(total['unchanged'])} in the store already.")
    if total["changed"]:
        out.append(f"{rows(total['changed'])} {was(total['changed'])} changed; what stood there before stays in the history.")
    if total["withdrawn"]:
        out.append(f"{rows(total['withdrawn'])} no longer in {joined(files)} {was(total['withdrawn'])} withdrawn; "
                   f"the history keeps {'it' if total['withdrawn'] == 1 else 'them'}.")
    if total["gone"] and errors:
        out.append(f"{rows(total['gone'])} loaded from {joined(files)} before {was(total['gone'])} not among its good rows now and {was(total['gone'])} kept.")
    elif total["gone"]:
        out.append(f"{rows(total['gone'])} no longer in {joined(files)} {was(total['gone'])} kept "
                   f"(use --withdraw to take {'it' if total['gone'] == 1 else 'them'} out).")
    if errors:
        lines = f"{aside:,} {'line' if aside == 1 else 'lines'} {was(aside)}" if aside else "Rows with errors were"
        out.append(f"{lines} set aside "
                   f"({errors:,} {'error' if errors == 1 else 'errors'}); mend what is wrong and load the file again.")
    return out + ([backup] if backup else []) + notes


def was(number: int) -> str:
    """was or were."""
    return "was" if number == 1 else "were"
