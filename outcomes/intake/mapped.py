"""A practice's own columns turned into sheets of the log, as a mapping says: each cell still knows where it stood in the export."""

from __future__ import annotations

import numpy as np

from outcomes.intake import pieces
from outcomes.intake.mapping import Mapping, TableTaken, Taken
from outcomes.intake.headings import exact
from outcomes.intake.source import Cells, Options, Reading, Refused, Sheet
from outcomes.intake.together import one_row_each
from outcomes.intake.typed import text_of
from outcomes.intake.words import fold


FINGERPRINT = "people were turned into pseudonyms with the key of fingerprint "


def apply(reading: Reading, options: Options) -> None:
    """Put the log's tables in the place of the columns read; what was done is said among the decisions of the file."""
    mapping: Mapping = reading.mapping
    raw, reading.sheets[:] = {sheet.name: sheet for sheet in reading.sheets}, []
    if not raw:
        return
    count = sum(len(sheet.columns) for sheet in raw.values())
    reading.decisions.append(f"{reading.name}: read through the mapping {mapping.name} (SHA-256 {mapping.sha256[:12]}…); {count} of its columns were taken, the others never read.")
    if mapping.pseudonymises:
        reading.decisions.append(f"{reading.name}: {FINGERPRINT}{mapping.key.fingerprint}.")
    choices = pieces.Choices.of(reading, mapping, raw.values(), mapping.options(options))
    visits = None
    for part in sorted(mapping.tables, key=lambda one: one.table.name != "visits"):  # rows of other tables may name the visit of their own line
        sheet = raw[part.sheet or mapping.settings.get("sheet")] if (part.sheet or mapping.settings.get("sheet")) in raw else next(iter(raw.values()))
        kept = _only(part, sheet)
        if not kept.all():
            reading.decisions.append(f"{reading.name}: {part.table.title} takes {int(kept.sum()):,} of {len(kept):,} rows, those whose words the mapping names.")
        made = _table(part, sheet, np.flatnonzero(kept), choices, mapping)
        if part.table.name == "visits":
            visits = (sheet.name, _table(part, sheet, np.arange(len(sheet.lines)), choices, mapping))
        elif visits and visits[0] == sheet.name and any(column.name == "visit_id" for column in part.table.columns) and "visit_id" not in made.columns:
            made = _with_visit(made, visits[1], choices)
        reading.sheets.append(one_row_each(made, part) if part.together else made)


def _only(part: TableTaken, sheet: Sheet) -> np.ndarray:
    """Which rows a table takes (a mask)."""
    kept = np.ones(len(sheet.lines), dtype=bool)
    for name, words in part.only.items():
        kept &= _says(_column(sheet, name), words)
    return kept


def _says(cells: Cells, words: tuple[str, ...]) -> np.ndarray:
    wanted = {fold(word) for word in words}
    return np.array([*(fold(text_of(value)) in wanted for value in cells.values), "" in wanted])[cells.index]


def _column(sheet: Sheet, name: str) -> Cells:
    return next(cells for heading, cells in sheet.columns.items() if exact(heading) == exact(name))


def _place(sheet: Sheet, name: str) -> int:
    return next(place for heading, place in sheet.places.items() if exact(heading) == exact(name))


def _table(part: TableTaken, sheet: Sheet, rows: np.ndarray, choices: pieces.Choices, mapping: Mapping) -> Sheet:
    """One table of the log from the rows taken; a cell that holds several pieces makes a row for each."""
    columns, counts = {}, {}
    for taken in part.columns:
        cells = _constant(taken, len(rows)) if taken.always is not None else _made(taken, sheet, rows, choices, mapping)
        columns[taken.target.name] = cells
        if taken.each:
            counts[taken.target.name] = np.array([*(len(value) if isinstance(value, tuple) else 1 for value in cells.values), 1])[cells.index]
    if counts:
        rows, columns = _spread(rows, columns, counts)
    from_file = [taken for taken in part.columns if taken.sources]
    some = np.zeros(len(rows), dtype=bool)
    for taken in from_file:
        some |= columns[taken.target.name].index >= 0
    if from_file and not some.all():
        rows, columns = rows[some], {name: Cells(cells.values, cells.index[some]) for name, cells in columns.items()}
    return Sheet(part.table.name, sheet.file, sheet.name, sheet.lines[rows], columns, {taken.target.name: _place(sheet, taken.sources[0]) for taken in from_file})


def _constant(taken: Taken, count: int) -> Cells:
    return Cells([taken.always], np.full(count, 0 if taken.always.strip() else -1, dtype=np.int32))


def _made(taken: Taken, sheet: Sheet, rows: np.ndarray, choices: pieces.Choices, mapping: Mapping) -> Cells:
    """A column of the log from one column of the export, or from several joined."""
    parts = []
    for number, name in enumerate(taken.sources):
        cells = _column(sheet, name)
        steps = pieces.steps(taken, number, choices, mapping)
        done = distinct([steps(value) for value in cells.values], cells.index[rows])
        for other, words in taken.when.items():
            done = Cells(done.values, np.where(_says(_column(sheet, other), words)[rows], done.index, -1).astype(np.int32))
        parts.append(done)
    return parts[0] if len(parts) == 1 else _joined(parts, taken)


def _joined(parts: list[Cells], taken: Taken) -> Cells:
    together, back = np.unique(np.stack([cells.index for cells in parts]), axis=1, return_inverse=True)
    values = []
    for column in together.T:
        found = [cells.values[at] for cells, at in zip(parts, column) if at >= 0]
        refused = [value for value in found if isinstance(value, Refused)]
        values.append(refused[0] if refused else taken.join.join(text_of(value) for value in found) if found else None)
    return distinct(values, back.reshape(-1).astype(np.int32))


def distinct(values: list, index: np.ndarray) -> Cells:
    """Cells in which each value stands once; blank and missing values become -1."""
    known: dict = {}
    at = np.full(len(values) + 1, -1, dtype=np.int32)
    for number, value in enumerate(values):
        if value is not None and not (isinstance(value, str) and not value.strip()):
            at[number] = known.setdefault((type(value), value), len(known))
    return Cells([value for _, value in known], at[index])


def _spread(rows: np.ndarray, columns: dict[str, Cells], counts: dict[str, np.ndarray]) -> tuple[np.ndarray, dict[str, Cells]]:
    """A row for each piece; a column with one piece holds it in each row, columns with several must have equally many."""
    most = np.max(np.stack(list(counts.values())), axis=0)
    again = np.repeat(np.arange(len(rows)), most)
    number = np.arange(len(again)) - np.repeat(np.cumsum(most) - most, most)
    out = {}
    for name, cells in columns.items():
        index = cells.index[again]
        if name in counts:
            values: list = []
            start = np.zeros(len(cells.values) + 1, dtype=np.int64)
            for at, value in enumerate(cells.values):
                start[at] = len(values)
                values += list(value) if isinstance(value, tuple) else [value]
            size = counts[name][again]
            uneven = (size > 1) & (size != most[again])
            where = np.where(index < 0, -1, start[index] + np.where(size > 1, np.minimum(number, size - 1), 0))
            if uneven.any():
                values.append(Refused("", "pieces do not match", "the cell holds another number of pieces than the cell beside it", "Write one piece for all, or as many as the other cell has."))
                where = np.where(uneven, len(values) - 1, where)
            out[name] = distinct(values, where.astype(np.int32))
        else:
            out[name] = Cells(cells.values, index)
    return rows[again], out


def _with_visit(made: Sheet, visits: Sheet, choices: pieces.Choices) -> Sheet:
    """The sheet with visit_id: of the visit that the same line of the export is."""
    names = ["patient_id", "visited_on", "arch", "visit_order"]
    parts = [visits.columns.get(name) or Cells([], np.full(len(visits.lines), -1, dtype=np.int32)) for name in names]
    day = Cells([pieces.iso(value, choices) for value in parts[1].values], parts[1].index)
    parts[1] = distinct(day.values, day.index)
    row = {int(line): at for at, line in enumerate(visits.lines)}
    at = np.array([row.get(int(line), -1) for line in made.lines], dtype=np.int64)
    keys = []
    for one in at:
        words = ["" if one < 0 or cells.index[one] < 0 else text_of(cells.values[cells.index[one]]) for cells in parts]
        words[2] = fold(words[2])
        keys.append("/".join([words[0], words[1], *(word for word in words[2:] if word)]) if words[0] and words[1] else None)
    return Sheet(made.table, made.file, made.name, made.lines, {**made.columns, "visit_id": distinct(keys, np.arange(len(keys), dtype=np.int32))},
                 {**made.places, "visit_id": visits.places.get("visited_on", 0)})
