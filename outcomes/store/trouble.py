"""What DuckDB or the system says, turned into a sentence for the user: what is wrong, where, what to do. No value of a row is passed on."""

from __future__ import annotations

import errno
from contextlib import contextmanager
from pathlib import Path

from outcomes.errors import DataProblem, Misuse, OutcomesError

_FULL = ("no space left", "file too large", "not enough space", "quota exceeded", "max_temp_directory_size")
_UNLOCKABLE = ("no locks available", "lock on file: operation not supported", "function not implemented", "locking not supported")
_BUSY = ("could not set lock", "conflicting lock", "being used by another process", "file is already open in")
_HERE = ("different configuration", "unique file handle conflict", "already attached", "already open")
_NEWER = ("version number", "newer version of duckdb", "storage version")
_ALIEN = ("not a valid duckdb", "extension", "encrypted")
_BROKEN = ("corrupt", "checksum", "could not read enough bytes", "wal file", "serializ", "deserializ", "failed to load")
_BARRED = ("permission denied", "read-only file system", "access is denied", "operation not permitted")
_FULL_NUMBERS = {errno.ENOSPC, errno.EFBIG, getattr(errno, "EDQUOT", errno.ENOSPC)}


class InUse(Misuse):
    """The store is open in another program."""


def in_use(name: str) -> InUse:
    """The store is open in another program."""
    return InUse(f"The store {name} is in use by another program. Close the other window or wait until its work is done, then try again; nothing was changed.")


def cannot_lock(name: str) -> Misuse:
    """The drive has no locks, so that two programs could write at once."""
    return Misuse(f"The drive on which {name} lies cannot keep other programs out, as some network drives cannot. Copy the store to this computer's own disk and work there; nothing was changed.")


def open_here(name: str) -> Misuse:
    """The store is open twice in this program, at least once for writing."""
    return Misuse(f"The store {name} is already open in this program. Use the store you opened first, or close it before opening it again.")


def not_a_store(name: str) -> Misuse:
    """The file is something else."""
    return Misuse(f"{name} is no store of this program. Check the name; nothing in the file was touched.")


def newer(name: str) -> Misuse:
    """The store was written by a later version of this program or of DuckDB."""
    return Misuse(f"The store {name} was written by a newer version of this program. Update the program (pip install --upgrade), then try again; nothing was changed.")


class Damaged(Misuse):
    """The file is a store no longer readable in full."""


def damaged(name: str) -> Damaged:
    """The file is a store no longer readable in full."""
    return Damaged(f"The store {name} is damaged. Put the last copy from the folder {backup_folder(name)} in its place "
                  "(keep the damaged file under another name), then load the files that came after it.")


def full(name: str) -> Misuse:
    """The disk has no room."""
    return Misuse(f"There is no room left on the disk for the store {name}. Free some space, then try again; nothing was changed.")


def backup_folder(name: str) -> str:
    """Name of the folder beside a store in which its copies are kept."""
    return f"{Path(name).stem}_backups"


def sentence(problem: BaseException, name: str) -> OutcomesError:
    """The error to show for ``problem``, met while working on the store called ``name``."""
    text = str(problem).lower()
    kind = type(problem).__name__

    def says(words) -> bool:
        return any(word in text for word in words)

    if getattr(problem, "errno", None) in _FULL_NUMBERS or says(_FULL):
        return full(name)
    if says(_UNLOCKABLE):
        return cannot_lock(name)
    if says(_BUSY):
        return in_use(name)
    if says(_HERE):
        return open_here(name)
    if says(_BARRED) or isinstance(problem, PermissionError):
        return Misuse(f"You may not write to the store {name} or its folder. Ask whoever owns the folder, or keep the store in a folder of your own; "
                      "nothing was changed.")
    if says(_BROKEN):
        return damaged(name)
    if says(_NEWER):
        return newer(name)
    if says(_ALIEN):
        return not_a_store(name)
    if kind == "OutOfMemoryException" or isinstance(problem, MemoryError):
        return Misuse("The machine ran out of memory. Close other programs, or load the files one at a time; nothing was changed.")
    if kind in ("ConversionException", "OutOfRangeException", "TypeMismatchException", "ArrowInvalid", "ArrowTypeError", "InvalidInputException"):
        return DataProblem("A value does not fit the kind its column is declared with. Check the files again (outcomes check); nothing was changed.")
    return Misuse(f"The store {name} could not be read or written ({kind}). Close other programs that use it and try again; nothing was changed.")


@contextmanager
def plainly(name: str):
    """Let user errors through, and turn those of DuckDB, Arrow and the system into a sentence without any value of a row."""
    import duckdb
    import pyarrow

    try:
        yield
    except OutcomesError:
        raise
    except (duckdb.Error, pyarrow.ArrowException, OSError, MemoryError) as problem:
        raise sentence(problem, name) from None
