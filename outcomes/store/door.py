"""Opening a store: what the file is, whether it may be opened, and how DuckDB is set up for it."""

from __future__ import annotations

import glob
import os
import sys
import threading
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

import duckdb

from outcomes import __version__
from outcomes.errors import Misuse
from outcomes.store import layout, trouble
from outcomes.store.private import owner_only, spill_apart, spill_beside
from outcomes.store.whereabouts import network_note

MOST_MEMORY = 4.0  # GiB for queries; half the machine's memory where that is less

LEFT_BEHIND = 600  # seconds after which a half-made store is no longer being made by anybody

SETTINGS = {"python_enable_replacements": "false", "autoinstall_known_extensions": "false", "autoload_known_extensions": "false"}

_held: Counter[tuple[str, bool]] = Counter()  # (file, read only) of the stores that this process has open
_gate = threading.Lock()


def open_store(path: str | Path, *, create: bool = False, read_only: bool = False):
    """Open the store in the file ``path``, best in a ``with`` statement; returns a ``Store``.

    ``create``: make a new store where there is none. ``read_only``: any number of programs may read at once, none may write
    meanwhile. A store from an older version of the program is brought forward when opened, after a copy; that takes a moment alone with it.

    Raises Misuse, in plain words, where the file is missing, no store, damaged, from a newer version, or in use elsewhere.
    """
    from outcomes.store.store import Store

    path = Path(path)
    try:
        return _opened(path, create, read_only, Store)
    except trouble.InUse as busy:
        if not network_note(path):
            raise
        raise trouble.InUse(f"{busy} It lies on a network drive, so another computer may hold it.") from None


def _opened(path: Path, create: bool, read_only: bool, Store):
    with trouble.plainly(path.name):
        look_at(path, create=create and not read_only)
        if not path.exists():
            make(path)
        if read_only and not held(path) and _older(path):
            Store(path, read_only=False).close()
        return Store(path, read_only=read_only)


def _older(path: Path) -> bool:
    """Whether the file is a store that lacks something this version of the program keeps."""
    connection = duckdb.connect(str(path), read_only=True, config=SETTINGS)
    try:
        version = layout.version(connection)
        return version is not None and (version < layout.VERSION or version == layout.VERSION and layout.behind(connection) and not layout.ahead(connection))
    finally:
        connection.close()


def look_at(path: Path, *, create: bool) -> None:
    """Refuse what DuckDB would misread: folders, other files (it would go and look for an extension), leftovers."""
    if path.stem.lower() == "kept":
        raise Misuse(f"A store cannot be called {path.name}. Give the file another name.")
    if path.is_dir():
        raise Misuse(f"{path.name} is a folder, not a store. Name the store's file.")
    if not path.exists():
        if not create:
            raise Misuse(f"There is no store {path.name} here. Check the name and the folder, and give it with --store FILE; or load files to make one (outcomes load FILES --store {path.name}).")
        if not path.parent.is_dir():
            raise Misuse(f"There is no folder {path.parent.name} to keep the store in. Make it first.")
        if path.with_name(path.name + ".wal").exists():
            raise Misuse(f"{path.name}.wal belongs to a store that is no longer here. Put {path.name} back beside it, or move {path.name}.wal away.")
        return
    if held(path):
        return  # never read a file that this process holds locked: closing it would give up the lock
    try:
        with open(path, "rb") as file:
            start = file.read(16)
    except PermissionError:
        raise barred(path.name, sys.platform) from None
    if start[8:12] != b"DUCK":
        raise trouble.not_a_store(path.name)


def barred(name: str, platform: str) -> Misuse:
    """A file that cannot be opened: on Windows that is also how the system answers for a file that another program holds."""
    if platform == "win32":
        return Misuse(f"{name} cannot be opened: another program holds it, or you may not read it. Close the other window or wait until its work is done, then try again; nothing was changed.")
    return Misuse(f"You may not read {name}. Ask whoever owns it.")


def make(path: Path) -> None:
    """Lay out an empty store under another name and give it its own when it is whole, so that no half-made store is ever met.

    The other name is this process's own: two programs that make the same store at once leave one whole store.
    """
    for left in path.parent.glob(f"{glob.escape(path.name)}.*.part*"):
        if time.time() - left.stat().st_mtime > LEFT_BEHIND:
            left.unlink(missing_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    part.unlink(missing_ok=True)
    try:
        with owner_only():
            connection = duckdb.connect(str(part))
            try:
                connection.execute("BEGIN")
                layout.make(connection, __version__)
                connection.execute("COMMIT")
                connection.execute("CHECKPOINT")  # closing would do it too, but keeps quiet where it fails
            finally:
                connection.close()
        with suppress(FileExistsError):  # another program was quicker
            named(part, path)
    finally:
        for left in (part, part.with_name(part.name + ".wal")):
            left.unlink(missing_ok=True)


def named(part: Path, path: Path) -> None:
    """Give a file its final name, never over another. Raises FileExistsError where there is one."""
    if path.exists():
        raise FileExistsError(path.name)
    try:
        os.link(part, path)  # renaming would replace a store made meanwhile
    except (OSError, AttributeError) as problem:
        if isinstance(problem, FileExistsError) or path.exists():
            raise FileExistsError(path.name) from None
        part.rename(path)  # a file system without links; on Windows renaming replaces nothing


def connect(path: Path, *, read_only: bool) -> duckdb.DuckDBPyConnection:
    """A DuckDB connection that reads no Python variable, fetches no extension and spills where only the owner can read."""
    with owner_only():
        connection = duckdb.connect(str(path), read_only=read_only, config=SETTINGS)
        quiet(connection)
        folder = str(spill_apart() if read_only else spill_beside(path))  # not before the lock is ours
    if not read_only or connection.execute("SELECT current_setting('temp_directory')").fetchall()[0][0] != folder:  # else shared with a reader set up before
        connection.execute(f"SET temp_directory = '{folder.replace(chr(39), chr(39) * 2)}'")
        allow(connection, min(allowed(connection) * 5 / 8, MOST_MEMORY))  # DuckDB starts out with four fifths of the machine's memory
    return connection


def quiet(connection):
    """The connection, which now draws no progress bar: DuckDB would print one among what a program says, where Python runs without a file."""
    connection.execute("SET enable_progress_bar = false")
    return connection


def allowed(connection) -> float:
    """GiB of memory that DuckDB may use."""
    number, unit = connection.execute("SELECT current_setting('memory_limit')").fetchall()[0][0].split()
    return float(number) / {"bytes": 1024**3, "KiB": 1024**2, "MiB": 1024, "GiB": 1, "TiB": 1 / 1024}[unit]


def allow(connection, gigabytes: float) -> None:
    """Let DuckDB use so many GiB of memory."""
    connection.execute(f"SET memory_limit = '{int(gigabytes * 1024)}MiB'")


def hold(path: Path, read_only: bool) -> tuple[str, bool]:
    """Note that this process opens the file; refused where it has it open for writing, or for reading and now wants to write."""
    key = (os.path.realpath(path), read_only)
    with _gate:
        if _held[key[0], not read_only] or (not read_only and _held[key]):
            raise trouble.open_here(path.name)
        _held[key] += 1
    return key


def let_go(key: tuple[str, bool]) -> None:
    """Note that this process has closed the file."""
    with _gate:
        _held[key] -= 1


def held(path: Path) -> bool:
    """Whether this process has the file open."""
    real = os.path.realpath(path)
    return bool(_held[real, True] or _held[real, False])
