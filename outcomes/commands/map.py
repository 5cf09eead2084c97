"""Take columns from a practice's own export: build a mapping in a talk, or show what a mapping makes of a file."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from outcomes.errors import Misuse

SENTENCE = "say which columns of the practice's own export are taken; all others are never read"


def options(one) -> None:
    """The export, the mapping to write or to show, and how to read the file."""
    one.add_argument("file", type=Path, nargs="?", metavar="FILE", help="the export (.xlsx or .csv)")
    one.add_argument("--out", type=Path, default=Path("mapping.toml"), metavar="MAP.toml", help="the mapping to write (default: mapping.toml)")
    one.add_argument("--table", help="the table of the log that a row of the export is: day_sheet, set_up, patients, …")
    one.add_argument("--sheet", help="the sheet of a workbook (default: the first)")
    one.add_argument("--show", type=Path, metavar="MAP.toml", help="show what this mapping makes of the file, rows before and after; writes nothing")
    one.add_argument("--key", type=Path, metavar="KEYFILE", help="the key of pseudonyms, where names or numbers of people are turned into them")
    one.add_argument("--template", action="store_true", help="write a mapping with every setting explained, to fill in by hand")
    one.add_argument("--separator", choices=[",", ";", "tab"], help="the separator of a CSV file")
    one.add_argument("--encoding", help="the encoding of a CSV file, such as utf-8 or windows-1252")


def run(options) -> int:
    """The talk; questions and answers go over the terminal, or answers come from a pipe, one a line."""
    if options.template:
        return _template(options.out)
    if options.file is None:
        raise Misuse("Name the export: outcomes map FILE. outcomes map --template writes a mapping to fill in by hand.")
    from outcomes.intake import Options
    from outcomes.intake.mapping import read_mapping
    from outcomes.intake.pseudonyms import read_key

    key = read_key(options.key, beside=[options.out]) if options.key else None
    reading = Options(separator="\t" if options.separator == "tab" else options.separator, encoding=options.encoding)
    if options.show:
        from outcomes.intake.preview import preview
        from outcomes.intake.words import visible

        seen = preview(options.file, read_mapping(options.show, key=key), reading)
        print("\n".join(visible(line, 6000) for line in seen.lines).strip("\n"))
        return 1 if seen.unmapped or seen.misfits else 0
    _free(options.out)
    return _talk(options, reading, key)


def _talk(options, reading, key) -> int:
    from outcomes import schemas
    from outcomes.intake.asking import Talk
    from outcomes.intake.mapping_text import text_of_mapping
    from outcomes.intake.outlook import Export
    from outcomes.intake.questions import build

    if options.table is not None and options.table not in schemas.tables():
        raise Misuse(f"{options.table} is no table of the log. Known are: {', '.join(schemas.tables())}.")
    export = Export(options.file, sheet=options.sheet, options=reading)
    body = Talk(_line, _say).run(lambda talk: build(talk, export, options.table, key))
    _write(options.out, text_of_mapping(body))
    print(f"Wrote {options.out}. Now run: outcomes check --map {options.out} {options.file}")
    return 0


def _line() -> str | None:
    try:
        line = sys.stdin.readline()
    except UnicodeDecodeError:
        raise Misuse("An answer could not be read as text. Nothing was written.") from None
    return line.rstrip("\r\n") if line else None


def _say(text: str) -> None:
    print(text, flush=True)


def _free(path: Path) -> None:
    if path.exists():
        raise Misuse(f"{path.name} is there already. Give another name with --out, so that no mapping is lost.")
    if not path.parent.is_dir():  # said before the first question: no answer is to be lost at the end
        raise Misuse(f"There is no folder {path.parent}. Make it, or give another place with --out.")


def _write(path: Path, text: str) -> None:
    """Whole or not at all."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_text(text, encoding="utf-8", newline="\n")
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)


def _template(path: Path) -> int:
    from outcomes import schemas

    _free(path)
    _write(path, (schemas.HERE / "mapping.toml").read_text(encoding="utf-8"))
    print(f"Wrote {path}. Every setting is explained in it; see what it makes of a file with: outcomes map FILE --show {path}")
    return 0
