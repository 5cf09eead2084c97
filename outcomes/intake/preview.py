"""What a mapping makes of an export: a few rows before and after, words without a meaning, cells that do not fit. For the person at the screen only."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.intake import delimited, mapped, workbook
from outcomes.intake.headings import exact, letter
from outcomes.intake.mapping import Mapping
from outcomes.intake.source import Options, Refused, Sheet, open_file
from outcomes.intake.tidy import tidy
from outcomes.intake.typed import text_of

ROWS, WIDTH, WORDS = 3, 22, 30


@dataclass
class Preview:
    """``lines``: for people; ``rows``: rows of each table; ``shared``: rows that share the key of another; ``unmapped``: words without a meaning."""

    lines: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    shared: dict[str, int] = field(default_factory=dict)
    unmapped: dict[str, Counter] = field(default_factory=dict)
    misfits: int = 0


def preview(path: str | Path, mapping: Mapping, options: Options = Options()) -> Preview:
    """Read an export through a mapping and show what comes of it; nothing is kept. Raises Misuse where the file cannot be read so."""
    reading = open_file(path, 0)
    reading.mapping = mapping
    (workbook if reading.kind == "workbook" else delimited).read(reading, mapping.options(options))
    _refuse(reading)
    reading.sheets[:] = [tidy(reading, sheet) for sheet in reading.sheets]
    raw = {sheet.name: sheet for sheet in reading.sheets}
    mapped.apply(reading, options)
    _refuse(reading)
    out = Preview()
    hidden = {exact(name) for part in mapping.tables for taken in part.columns if taken.pseudonymise for name in taken.sources}
    for sheet in reading.sheets:
        table = schemas.tables().get(sheet.table)
        before = raw.get(sheet.name) or next(iter(raw.values()))
        title = table.title if table else sheet.table
        out.lines += ["", f"Before ({len(before.lines):,} rows of {reading.name}):", *_shown(before, sheet.lines[:ROWS], hidden), "", f"After ({len(sheet.lines):,} rows of {title}):", *_shown(sheet, sheet.lines[:ROWS], set())]
        out.rows[sheet.table] = len(sheet.lines)
        out.shared[sheet.table] = _shared(sheet, table.key) if table else 0
        for name, cells in sheet.columns.items():
            counts = Counter(at for at in cells.index.tolist() if at >= 0)
            for at, count in counts.items():
                value = cells.values[at]
                if isinstance(value, Refused) and value.rule == "no meaning in the mapping":
                    out.unmapped.setdefault(f"{sheet.table}.{name}", Counter())[value.text] += count
                elif isinstance(value, Refused):
                    out.misfits += count
    for place, words in out.unmapped.items():
        shown = "; ".join(f"{word} ({count})" for word, count in words.most_common(WORDS))
        out.lines += ["", f"Words without a meaning in [{place}]: {shown}{'; …' if len(words) > WORDS else ''}"]
    if out.misfits:
        out.lines += ["", f"{out.misfits:,} cell{'s do' if out.misfits > 1 else ' does'} not fit the mapping; outcomes check --map names each."]
    return out


def _refuse(reading) -> None:
    refused = [fault for fault in reading.faults if fault.get("refuses")]
    if refused:
        raise Misuse("\n".join(f"{fault['message'][0].upper()}{fault['message'][1:]}. {fault['remedy']}" for fault in refused))


def _shared(sheet: Sheet, key: tuple[str, ...]) -> int:
    rows = list(zip(*(sheet.columns[name].index.tolist() for name in key if name in sheet.columns)))
    return len(rows) - len(set(rows))


def _shown(sheet: Sheet, lines, hidden: set[str]) -> list[str]:
    """Rows side by side, one column of the table on a line: its name, then its cell in each row shown."""
    wanted = {int(line): at for at, line in enumerate(sheet.lines.tolist())}
    rows = [(line, wanted[line]) for line in dict.fromkeys(int(one) for one in lines) if line in wanted]
    raw = sheet.table.startswith("columns taken")
    table = [["row", *(str(line) for line, _ in rows)]]
    for name, cells in sorted(sheet.columns.items(), key=lambda column: sheet.places.get(column[0], len(sheet.places)) if raw else 0):
        row = [f"{letter(sheet.places[name])} {name}" if raw else name]
        for _, at in rows:
            index = cells.index[at]
            text = "" if index < 0 else "(not shown)" if exact(name) in hidden else " ".join(text_of(cells.values[index]).split())
            row.append(text if len(text) <= WIDTH else text[: WIDTH - 1] + "…")
        table.append(row)
    widths = [max(len(row[column]) for row in table) for column in range(len(table[0]))]
    return ["  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip() for row in table]
