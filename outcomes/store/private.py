"""Files that only their owner can read, and a place for what DuckDB spills to disk."""

from __future__ import annotations

import atexit
import os
import shutil
import stat
import tempfile
from contextlib import contextmanager
from functools import cache
from pathlib import Path


@contextmanager
def owner_only():
    """Files made inside can be read by their owner alone, from their first byte on (where the system knows owners)."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)


def restrict(path: Path) -> str:
    """Let only the owner read and write ``path``; returns a sentence where the system would not have it, else an empty text."""
    try:
        os.chmod(path, stat.S_IRUSR | stat.S_IWUSR)
        open_to_others = os.stat(path).st_mode & 0o077
    except OSError:
        open_to_others = True
    if not open_to_others:
        return ""
    return f"This system could not close {path.name} to other users. Keep it in a folder that only you can open."


def spill_beside(store: Path) -> Path:
    """The folder beside a store for what does not fit in memory, emptied of what a killed program left there.

    Only for the process that holds the store for writing.
    """
    folder = store.with_name(store.name + ".tmp")
    clear_spill(store)
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def clear_spill(store: Path) -> None:
    """Remove that folder, unless it holds files of somebody else."""
    folder = store.with_name(store.name + ".tmp")
    for left in folder.glob("duckdb_temp_*"):
        left.unlink(missing_ok=True)
    try:
        folder.rmdir()
    except OSError:
        pass


@cache
def spill_apart() -> Path:
    """One folder of this process in the system's temporary folder, for stores opened for reading; removed at exit."""
    folder = Path(tempfile.mkdtemp(prefix="outcomes-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder
