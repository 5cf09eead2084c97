"""The store as an object: load, undo, history, and the connection that the later stages read from."""

from __future__ import annotations

import getpass
from collections.abc import Callable
from contextlib import contextmanager, suppress
from datetime import datetime, timezone
from pathlib import Path

import duckdb
import pandas as pd
import pyarrow as pa

from outcomes import schemas
from outcomes.errors import DataProblem, Misuse, OutcomesError
from outcomes.store import backup, changes, door, history, layout, loading, trouble, verify
from outcomes.store.changes import Changes, Declined
from outcomes.store.content import revision, seal
from outcomes.store.private import clear_spill, owner_only, restrict
from outcomes.store.report import LoadReport, UndoReport, load_sentences
from outcomes.store.whereabouts import network_note

LOADING_MEMORY = 0.75  # GiB for DuckDB while loading, so that check and load of a million rows stay below 2 together


class Store:
    """An open store. Made by ``open_store``; closed by ``close`` or at the end of a ``with`` statement.

    ``path``: its file. ``notes``: sentences for the user from opening it.
    """

    def __init__(self, path: Path, *, read_only: bool):
        self.path = path
        self.read_only = read_only
        self.notes: list[str] = []
        self._connection = None
        self._revision = None
        self._key = door.hold(path, read_only)
        try:
            self._connection = door.connect(path, read_only=read_only)
            self._bring_up_to_date()
            if not read_only:
                self.notes += [note for note in (restrict(path), network_note(path)) if note]
        except BaseException:
            self.close()
            raise

    def _bring_up_to_date(self) -> None:
        version = layout.version(self._connection)
        if version is None:
            raise trouble.not_a_store(self.path.name)
        if version > layout.VERSION or version == layout.VERSION and layout.ahead(self._connection):
            raise trouble.newer(self.path.name)
        if version == layout.VERSION and not layout.behind(self._connection):
            return
        if any(step not in layout.MIGRATIONS for step in range(version, layout.VERSION)):
            raise Misuse(f"The store {self.path.name} is from a version too old for this program. Open it with the version that made it and export its tables.")
        skipped = backup.back_up(self._connection, self.path, f"upgrade-from-{version}", now())
        with owner_only():
            layout.bring_forward(self._connection, version, seal=seal)
        self.notes.append("The store was brought up to date for this version of the program." + (f" {skipped}" if skipped else ""))

    @property
    def connection(self) -> duckdb.DuckDBPyConnection:
        """The DuckDB connection, for reading: views named as the tables hold the current rows, schema ``kept`` the rest."""
        if self._connection is None:
            raise Misuse(f"The store {self.path.name} is closed. Open it again.")
        return self._connection

    @property
    def revision(self) -> str:
        """SHA-256 of the current content; the same for the same rows, whatever file or order they came in."""
        if self._revision is None or not self.read_only:
            with trouble.plainly(self.path.name):
                self._revision = revision(self._aside())
        return self._revision

    def load(self, checked, *, good_rows: bool = False, withdraw: bool = False, confirm: Callable[[Changes], bool] | None = None) -> LoadReport:
        """Add what ``checked`` (from ``intake.check``) holds, in one transaction.

        A row with a new key is added; one with the same key and content changes nothing; one with the same key and other
        content takes the place of the old row, which stays in the history. Rows that a file of this load listed before and
        lists no more are reported, and withdrawn only with ``withdraw``. A load that changes nothing is not recorded.
        ``confirm`` is shown the changes before they are kept; where it answers False, nothing is changed and Declined is raised.

        Raises DataProblem where rows have errors (unless ``good_rows``), where two rows share a key, or where a row would
        speak of one that is not in the store; Misuse where the store cannot be written. Either way nothing is changed.
        """
        self._writable()
        if checked.error_count and not good_rows:
            raise DataProblem(f"Nothing was loaded: {checked.error_count:,} {'error' if checked.error_count == 1 else 'errors'} in the files. "
                              "Mend them (outcomes check lists each with its cell), or load the rows without errors with --good-rows.")
        if checked.error_count and withdraw:
            raise DataProblem("Nothing was loaded: with errors in the files, rows set aside cannot be told from rows that were taken out. "
                              "Mend the errors first, or leave out --withdraw.")
        with self._truthfully("load"):
            return self._load(checked, good_rows, withdraw, confirm)

    def preview(self, checked, *, good_rows: bool = False, withdraw: bool = False) -> Changes:
        """What ``load`` would change, found by carrying it out and letting go of it: nothing is kept. Raises what ``load`` raises."""
        seen: list[Changes] = []
        with suppress(Declined):
            self.load(checked, good_rows=good_rows, withdraw=withdraw, confirm=lambda found: seen.append(found) or False)
        return seen[0]

    def _load(self, checked, good_rows: bool, withdraw: bool, confirm) -> LoadReport:
        before = self._last_load()
        try:
            with self._transaction() as connection:
                load = loading.begin(connection, checked, at=now(), by=who(), good_rows=good_rows, withdraw=withdraw)
                written = loading.write(connection, checked.tables, load)
                if confirm is not None and not confirm(changes.of_load(connection, load.number, written.tables, written.gone)):
                    raise Declined("Nothing was changed.")
                if not written.changes:
                    raise _NothingNew
                skipped = backup.back_up(connection, self.path, str(load.number), now()) if before else ""
            number = load.number
        except _NothingNew:
            number, skipped = None, ""
        sentences = load_sentences(written.tables, written.shorter, errors=checked.error_count,
                                   aside=getattr(checked, "lines_aside", 0), backup=skipped, notes=self.notes)
        return LoadReport(number, written.tables, written.gone, sentences)

    def undo(self, *, confirm: Callable[[Changes], bool] | None = None) -> UndoReport:
        """Take back the last load that is not taken back yet; rows it changed or withdrew stand again. Recorded in the history.

        ``confirm`` is shown what changes before it is kept, as for ``load``. Raises Misuse where there is nothing to take back.
        """
        self._writable()
        with self._truthfully("undo"):
            with self._transaction() as connection:
                if confirm is not None and not confirm(changes.of_undo(connection, history.last_load(connection))):
                    raise Declined("Nothing was changed.")
                undone = history.undo(connection, at=now(), by=who())
                skipped = backup.back_up(connection, self.path, str(undone.load_id), now())
        return UndoReport(undone.load_id, undone.undone, undone.sentences + ([skipped] if skipped else []))

    @contextmanager
    def _transaction(self):
        """A connection of its own with a transaction: kept whole at the end, or not at all."""
        connection = self._aside()
        with owner_only():
            try:
                connection.execute("BEGIN")
                yield connection
                connection.execute("COMMIT")
            except BaseException:
                try:
                    connection.execute("ROLLBACK")
                except duckdb.Error:
                    pass  # where the commit itself failed there is no transaction left
                raise
            finally:
                connection.close()

    @contextmanager
    def _truthfully(self, what: str):
        """Trouble as a sentence that says whether the change was kept: a full disk may be met just after the commit."""
        last, memory = self._last_load(), door.allowed(self._aside())
        door.allow(self._aside(), min(memory, LOADING_MEMORY))
        try:
            yield
        except OutcomesError:
            raise
        except (duckdb.Error, pa.ArrowException, OSError, MemoryError) as problem:
            error = trouble.sentence(problem, self.path.name)
            if self._alive() and self._last_load() > last:
                raise Misuse(f"The {what} was kept, but right after it this happened: {str(error).replace('; nothing was changed', '')}") from None
            raise error from None
        finally:
            with suppress(duckdb.Error):
                door.allow(self._aside(), memory)

    def _aside(self) -> duckdb.DuckDBPyConnection:
        """A connection of the store's own, so that a result somebody is still fetching is left alone."""
        return door.quiet(self.connection.cursor())

    def _alive(self) -> bool:
        """Whether the file can be read, opened anew where trouble left DuckDB unusable."""
        try:
            self._last_load()
            return True
        except duckdb.Error:
            pass
        try:
            self._connection.close()
            self._connection = door.connect(self.path, read_only=False)
            return True
        except (duckdb.Error, OSError):
            return False

    def _last_load(self) -> int:
        return self._aside().execute("SELECT coalesce(max(load), 0) FROM kept.loads").fetchall()[0][0]

    def _writable(self) -> None:
        if self.read_only:
            raise Misuse(f"The store {self.path.name} was opened for reading only. Open it without read_only to change it.")

    def history(self) -> pd.DataFrame:
        """Every load and undo, oldest first: load, at (UTC), by, what, files, sha256, mappings, added, changed, withdrawn, undone.

        ``files``, ``sha256`` and ``mappings`` (how files with columns of their own were read) are tuples; ``added``, ``changed`` and ``withdrawn`` map table to rows; ``undone``: taken back later.
        """
        with trouble.plainly(self.path.name):
            return history.history(self._aside())

    def history_sentences(self) -> list[str]:
        """The history in plain words, one sentence for each load and undo."""
        return history.sentences(self.history())

    def row_history(self, table: str, key) -> pd.DataFrame:
        """Every version of one row, oldest first: its columns, load, at, by, file, sheet, line, state and ended_at.

        ``key``: a value, a tuple in the order of the table's key, or a dict; a date as 2024-03-14. ``state``: current, changed,
        withdrawn or taken back. Raises Misuse for an unknown table or a key of the wrong length.
        """
        with trouble.plainly(self.path.name):
            return history.row_history(self._aside(), table, key)

    def counts(self) -> dict[str, int]:
        """Current rows of each table that has any."""
        with trouble.plainly(self.path.name):
            found = {name: self._aside().execute(f'SELECT count(*) FROM "{name}"').fetchall()[0][0] for name in schemas.stored_tables()}
        return {name: count for name, count in found.items() if count}

    def changes(self, load: int) -> Changes:
        """Each cell that one load gave another content, and the rows it withdrew; nothing for a load taken back."""
        with trouble.plainly(self.path.name):
            return changes.of_past(self._aside(), int(load))

    def verify(self) -> list[str]:
        """Read the whole store and compare it with its records: a sentence for each thing that is wrong; empty where all is well."""
        with trouble.plainly(self.path.name):
            return verify.verify(self._aside())

    def close(self) -> None:
        """Close the file. A closed store may be closed again."""
        connection, self._connection = self._connection, None
        if connection is not None:
            try:
                with owner_only():
                    connection.close()
            except duckdb.Error:
                pass  # what was committed is in the file or the .wal beside it, and is taken in at the next opening
            if not self.read_only:
                clear_spill(self.path)
        if self._key is not None:
            door.let_go(self._key)
            self._key = None

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_) -> None:
        self.close()

    def __repr__(self) -> str:
        return f"<Store {self.path.name}{' (closed)' if self._connection is None else ''}>"


class _NothingNew(Exception):
    """Ends a load that would change nothing, so that its transaction leaves no trace."""


def now() -> datetime:
    """The time in UTC, to the second."""
    return datetime.now(timezone.utc).replace(tzinfo=None, microsecond=0)


def who() -> str:
    """The name under which this person works on the machine."""
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"
