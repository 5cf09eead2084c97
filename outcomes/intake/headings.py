"""Which table a sheet is, and which column a heading names. A column not taken is never read."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections import Counter

from outcomes import schemas
from outcomes.intake import privacy
from outcomes.intake.source import Reading


def plain(text: str) -> str:
    """A name without case, blanks, underscores, hyphens and the star or unit some people add: ``Visit ID *`` is ``visitid``."""
    text = re.sub(r"[(\[].*?[)\]]", "", str(text))
    return re.sub(r"[\s_\-*:.]+", "", text).casefold()


def table_of(name: str, *, inside: bool = False) -> str | None:
    """The table a sheet or file name means, or None. With ``inside``, the name may carry more words, as in ``2024 day sheet``."""
    names = {plain(word): table.name for table in schemas.tables().values() for word in (table.name, table.title)}
    if plain(name) in names:
        return names[plain(name)]
    if inside:
        words = [re.sub(r"[^a-z]", "", word) for word in re.split(r"[\s_\-.()]+", name.casefold())]
        words = [word for word in words if word]
        for size in (3, 2, 1):
            found = {names["".join(words[at:at + size])] for at in range(len(words)) if "".join(words[at:at + size]) in names}
            if len(found) == 1:
                return found.pop()
    return None


def known(table: schemas.Table, headings: list[str]) -> int:
    """How many of these headings name a column of the table."""
    if table.door == "mapped":
        return len({exact(column.name) for column in table.columns} & set(numbered(headings)))
    names = {plain(column.name) for column in table.columns}
    return sum(plain(heading) in names for heading in headings)


def exact(heading) -> str:
    """A heading of a file with columns of its own, without case and stray blanks but with every letter and sign."""
    return " ".join(unicodedata.normalize("NFC", str(heading)).split()).casefold()


def numbered(headings: list[str]) -> list[str]:
    """Headings as ``exact`` writes them; of those that stand more than once each with its number: ``site [1]``, ``site [2]``."""
    plain_ones = [exact(heading) for heading in headings]
    often, seen, out = Counter(plain_ones), Counter(), []
    for one in plain_ones:
        seen[one] += 1
        out.append(f"{one} [{seen[one]}]" if one and often[one] > 1 else one)
    return out


def find(table: schemas.Table, rows: list[list[str]]) -> tuple[int, int, list[str]]:
    """(first line, last line, headings) among the top rows, counted from 0: the row that names most columns, or two rows read together.

    Headings may be broken over two rows, as ``inserts`` above ``changed``; two rows are taken together only where neither alone
    names every needed column and together they name more. Where no row names any, it is the first with any text.
    """
    rows = rows or [[]]
    counts = [known(table, row) for row in rows]
    needed = {plain(column.name) for column in table.columns if column.required}
    best, at, names = max(counts), 0, rows[0]
    if best:
        at = counts.index(best)
        names = rows[at]
    else:
        at = next((number for number, row in enumerate(rows) if any(cell.strip() for cell in row)), 0)
        names = rows[at]
    if needed <= {plain(name) for name in names}:
        return at, at, names
    for upper, lower in ((number, number + 1) for number in range(len(rows) - 1)):
        together = _joined(table, rows[upper], rows[lower])
        if known(table, together) > best:
            return upper, lower, together
    return at, at, names


def _joined(table: schemas.Table, upper: list[str], lower: list[str]) -> list[str]:
    names = {plain(column.name) for column in table.columns}
    out, above = [], ""
    for place in range(max(len(upper), len(lower))):
        top, low = (row[place].strip() if place < len(row) else "" for row in (upper, lower))
        above = top or above  # a heading merged over several columns stands in the first
        ways = [f"{above} {low}", low, top] if low else [top]
        out.append(next((way for way in ways if plain(way) in names), f"{top} {low}".strip()))
    return out


def letter(place: int) -> str:
    """A spreadsheet's letter for column number ``place``, counted from 0: 0 is A, 26 is AA."""
    out = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        out = chr(65 + rest) + out
    return out


def take(reading: Reading, table: schemas.Table, headings: list[str], sheet: str, line: int) -> dict[str, int]:
    """Column to place for the headings that name a column of the table; faults go to ``reading``.

    Named are: a heading that stands twice, a needed column that is missing, columns not taken (with the nearest known one),
    and headings that promise personal data.
    """
    if table.door == "mapped":
        return _mapped(reading, table, headings, sheet, line)
    names = {plain(column.name): column.name for column in table.columns}
    if table.door == "wide":
        names |= {plain(word): column.name for column in table.columns for word in column.words}
    places: dict[str, int] = {}
    where = dict(sheet=sheet, table=table.name, line=line)
    twice = set()
    sure = any(plain(heading) in names for heading in headings)  # else the row may hold somebody's data, of which nothing is repeated
    for place, heading in enumerate(headings):
        name = names.get(plain(heading))
        cell = f"{letter(place)}{line}"
        if name is None:
            if str(heading).strip() and sure:
                _not_taken(reading, table, str(heading).strip(), dict(where, cell=cell))
        elif name in places:
            twice.add(name)
            reading.fault("heading twice", f"the heading {name} stands twice: in columns {letter(places[name])} and {letter(place)}",
                          "Keep one of the two columns, or rename the other.", refuses=True, column=name, **dict(where, cell=cell))
        else:
            places[name] = place
    missing = [column.name for column in table.columns if column.required and column.name not in places]
    if missing:
        near = _nearest_headings(missing, [h for h in headings if plain(h) not in names])
        reading.fault("column missing", f"{table.title} lacks the column{'s' if len(missing) > 1 else ''} {', '.join(missing)}{near}",
                      "Add the column with this heading in the first row, or rename the one that holds it.", refuses=True, **where)
    return places


def _mapped(reading: Reading, table: schemas.Table, headings: list[str], sheet: str, line: int) -> dict[str, int]:
    """Places of the columns that a mapping takes; of the others nothing is said, for nothing of them is read."""
    at = {name: place for place, name in reversed(list(enumerate(numbered(headings)))) if name}
    where = dict(sheet=sheet, table=table.name, line=line)
    for name in [column.name for column in table.columns if exact(column.name) not in at]:
        near = difflib.get_close_matches(exact(name), list(at), n=1, cutoff=0.6)
        hint = f"; column {letter(at[near[0]])} may be meant ({' '.join(str(headings[at[near[0]]]).split())})" if near else ""
        reading.fault("column missing", f"the mapping takes a column {name} that {reading.name} does not have{hint}",
                      "Write the heading in the mapping just as it stands in the file; of two alike, the first is written with [1] after it, the second with [2].", refuses=True, **where)
    return {column.name: at[exact(column.name)] for column in table.columns if exact(column.name) in at}


def _not_taken(reading: Reading, table: schemas.Table, heading: str, where: dict) -> None:
    reason = privacy.heading(heading)
    if reason:
        reading.fault("personal data", f"the heading {heading} looks like {reason}; the column was not read",
                      "Take the column out of the file: the log holds pseudonyms only.", **where)
        return
    near = difflib.get_close_matches(plain(heading), [plain(column.name) for column in table.columns], n=1, cutoff=0.75)
    hint = next((column.name for column in table.columns if near and plain(column.name) == near[0]), None)
    message = f"{privacy.shown(f'the column {heading}', 'a column', heading)} is not known in {table.title} and was not read"
    remedy = f"If it is meant as {hint}, rename it; else nothing needs doing." if hint else "Nothing needs doing, unless it was meant as a column of the log."
    reading.fault("column not known", message, remedy, severity="warning", **where)


def _nearest_headings(missing: list[str], others: list[str]) -> str:
    pairs = []
    for name in missing:
        near = difflib.get_close_matches(plain(name), [plain(other) for other in others], n=1, cutoff=0.6)
        if near:
            pairs.append(f"{next(str(o).strip() for o in others if plain(o) == near[0])} may be {name}")
    return f" ({'; '.join(pairs)})" if pairs else ""
