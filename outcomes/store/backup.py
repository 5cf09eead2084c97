"""A copy of the store before it changes: the last ten, fewer of a large store, in a folder beside it."""

from __future__ import annotations

import re
import shutil
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory

from outcomes.errors import Misuse, OutcomesError
from outcomes.store.layout import quoted
from outcomes.store.private import owner_only, restrict
from outcomes.store.trouble import backup_folder

KEEP, FEWEST = 10, 2
ROOM = 2560 * 1024 * 1024  # bytes that the copies may take together before fewer than ten are kept: ten of a store of 256 MB
SPARE = 1.2  # of the store's size must be free on the disk: the copy, and what the change itself adds
_STAMP = r"\d{8}-\d{6}-before-[a-z0-9-]+"


def back_up(connection, path: Path, before: str, at: datetime) -> str:
    """Copy the committed content of the open store before a change named ``before``; returns a sentence where the disk has no room for a copy, else an empty text.

    The copy is made by DuckDB, never by reading the file: on POSIX systems, closing a file that this process holds locked
    would let other processes in.
    """
    size, free = path.stat().st_size, shutil.disk_usage(path.parent).free
    if free < SPARE * size:
        return (f"No copy of the store was made before this change: it takes {_megabytes(size)}, and the disk has {_megabytes(free)} free. Free some space, "
                f"or move old copies out of {backup_folder(path.name)} to another disk; until then, keep a copy yourself.")
    folder = path.with_name(backup_folder(path.name))
    with owner_only():
        folder.mkdir(exist_ok=True)
        for left in folder.glob("*.part*"):
            left.unlink(missing_ok=True)
        final = folder / f"{path.stem}-{at:%Y%m%d-%H%M%S}-before-{before}{path.suffix}"
        part = final.with_name(final.name + ".part")
        beside = connection.cursor()
        try:
            source = beside.execute("SELECT current_database()").fetchall()[0][0]
            beside.execute(f"ATTACH '{str(part).replace(chr(39), chr(39) * 2)}' AS kept_copy")
            try:
                beside.execute(f"COPY FROM DATABASE {quoted(source)} TO kept_copy")
                beside.execute("CHECKPOINT kept_copy")  # detaching would do it too, but keeps quiet where it fails
            finally:
                beside.execute("DETACH kept_copy")
        except BaseException:
            for left in folder.glob(part.name + "*"):
                left.unlink(missing_ok=True)
            raise
        finally:
            beside.close()
        part.replace(final)
    restrict(final)
    for old in copies(path)[:-kept(size)]:
        old.unlink(missing_ok=True)
    return ""


def kept(size: int) -> int:
    """How many copies are kept of a store of so many bytes."""
    return max(FEWEST, min(KEEP, ROOM // max(size, 1)))


def _megabytes(size: int) -> str:
    return f"{size / 2**20:,.0f} MB"


def copies(path: Path) -> list[Path]:
    """The copies kept of a store, oldest first."""
    folder = path.with_name(backup_folder(path.name))
    if not folder.is_dir():
        return []
    return sorted(one for one in folder.iterdir() if re.fullmatch(re.escape(path.stem) + "-" + _STAMP + re.escape(path.suffix), one.name))


def newest_whole(path: Path) -> Path | None:
    """The newest copy of a store in which nothing is wrong."""
    from outcomes.store.door import open_store

    for copy in reversed(copies(path)):
        with TemporaryDirectory() as folder:  # opening a copy from an older version brings it forward, so not the copy itself
            try:
                with open_store(shutil.copy(copy, folder), read_only=True) as store:
                    if not store.verify():
                        return copy
            except OutcomesError:
                continue
            except OSError:
                raise Misuse(f"There is no room to look into the copies of {path.name}: each is copied to the folder for temporary files first. Free some space there, then try again.") from None
    return None
