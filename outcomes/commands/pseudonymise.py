"""Write a copy of a file in which a column of names or numbers of people is pseudonyms."""

from __future__ import annotations

import sys
from pathlib import Path

from outcomes.errors import Misuse

SENTENCE = "turn a column of names or numbers of people into pseudonyms, with a key kept apart"


def options(one) -> None:
    """The file, its columns of people, the key, and the copy to write."""
    one.add_argument("file", type=Path, metavar="FILE", help="the file with names or numbers of people (.xlsx or .csv)")
    one.add_argument("--column", action="append", required=True, metavar="NAME", help="heading of the column to turn into pseudonyms; may be given several times")
    one.add_argument("--key", type=Path, required=True, metavar="KEYFILE", help="the key; made where it is not there. Keep it apart from the log and the store")
    one.add_argument("--out", type=Path, required=True, metavar="FILE", help="the copy to write")
    one.add_argument("--store", type=Path, help="the store, in whose folder the key must not stand")
    one.add_argument("--sheet", help="the sheet of a workbook (default: the first)")
    one.add_argument("--separator", choices=[",", ";", "tab"], help="the separator of a CSV file")
    one.add_argument("--encoding", help="the encoding of a CSV file")


def run(options) -> int:
    """The copy, or nothing at all."""
    from outcomes.intake import Options
    from outcomes.intake.pseudonymised import copy_with_pseudonyms
    from outcomes.intake.pseudonyms import make_key, open_to_others, read_key

    beside = [options.out, options.store]
    if not options.file.exists():
        raise Misuse(f"There is no file {options.file.name}. Check the name and the folder.")
    fresh = not options.key.exists()
    key = make_key(options.key, beside=beside) if fresh else read_key(options.key, beside=beside)
    note = open_to_others(options.key)
    if note:
        print(note, file=sys.stderr)
    reading = Options(separator="\t" if options.separator == "tab" else options.separator, encoding=options.encoding)
    try:
        said = copy_with_pseudonyms(options.file, options.column, key, options.out, sheet=options.sheet, options=reading)
    except BaseException:
        if fresh:
            options.key.unlink(missing_ok=True)  # nothing was made with it
        raise
    if fresh:
        said.insert(0, f"Made a new key, {options.key} (fingerprint {key.fingerprint}). Keep a copy of it in a safe place: without it no later file gets the same pseudonyms.")
    print("\n".join(said))
    return 0
