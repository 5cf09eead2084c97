"""What is decided once for a whole file: the order of day and month, and the decimal mark. Where no cell leaves no doubt, the file is refused."""

from __future__ import annotations

import numpy as np

from outcomes import schemas
from outcomes.intake import dates, numbers
from outcomes.intake.headings import letter
from outcomes.intake.source import Options, Reading
from outcomes.intake.typed import Choices


def decide(reading: Reading, tables: dict[str, schemas.Table], options: Options) -> Choices:
    """The choices for a file, from every date and number cell of all its sheets; printed among its decisions.

    Contradicting or doubtful evidence is a fault that refuses the file and names the option to give.
    """
    return Choices(_date_order(reading, tables, options), _decimal(reading, tables, options))


def _texts(reading: Reading, tables: dict[str, schemas.Table], kinds: tuple[str, ...]):
    for sheet in reading.sheets:
        for name, cells in sheet.columns.items():
            if tables[sheet.table].column(name).type in kinds:
                yield from (value for value in cells.values if isinstance(value, str))


def _place(reading: Reading, tables, kinds: tuple[str, ...], text) -> str:
    """Where a text or number first stands, such as B4 or Visits!B4: told in its place, since what a person typed is not repeated."""
    for sheet in reading.sheets:
        for name, cells in sheet.columns.items():
            if tables[sheet.table].column(name).type in kinds and name in sheet.places:
                same = [at for at, value in enumerate(cells.values) if (value.strip() if isinstance(value, str) else value) == text]
                rows = np.flatnonzero(np.isin(cells.index, same)) if same else []
                if len(rows):
                    cell = f"{letter(sheet.places[name])}{sheet.lines[rows[0]]}"
                    return f"{sheet.name}!{cell}" if sheet.name else cell
    return "one of its cells"


def _date_order(reading: Reading, tables, options: Options) -> str | None:
    _day_numbers(reading, tables)
    order = _order(reading, tables, options)
    if order and not options.date_order:
        _half_turned(reading, tables, order)
    return order


def _day_numbers(reading: Reading, tables) -> None:
    """Say how day numbers are read: nothing in a CSV file tells from which day they count."""
    texts = (value for sheet in reading.sheets for name, cells in sheet.columns.items() if tables[sheet.table].column(name).type == "date" for value in cells.values)
    if any("count from 1904" in one for one in reading.decisions):
        return
    for first in (value for value in texts if dates.is_day_number(value)):
        try:
            dates.parse(first, None)
        except ValueError:
            continue  # a number beyond every calendar is a fault of its cell
        reading.decisions.append(f"{reading.name}: a number in a date column, such as in {_place(reading, tables, ('date',), first)}, is a spreadsheet's day number, counted from 1900.")
        return


FEW_REAL = 5  # real dates of one column that all lie in the first twelve days of their months by chance: about 1 in 100


def _half_turned(reading: Reading, tables, order: str) -> None:
    """Refuse a workbook in which a spreadsheet program turned only those typed dates into real ones that it could read its own way.

    Set to the other order it reads 03/04/2024 as another day and leaves 14/03/2024 as text: every real date then lies in the
    first twelve days of its month, beside texts with days above twelve.
    """
    for sheet in reading.sheets:
        for name, cells in sheet.columns.items():
            if tables[sheet.table].column(name).type != "date":
                continue
            real = {value for value in cells.values if hasattr(value, "day")}
            if dates.order_evidence(value for value in cells.values if isinstance(value, str))[order] is None or not real or any(value.day > 12 for value in real):
                continue
            few = len(real) < FEW_REAL
            reading.fault("dates half turned", f"in {name} some dates are texts that can only be {order}, and every real date lies in the first twelve days of its month: "
                          "the spreadsheet program may have swapped day and month in those it could read",
                          "Compare a few real dates with the notes. If they are right, " + ("nothing needs doing." if few else f"give the option date order (--date-order \"{order}\"); else write all dates anew, best as 2024-03-14."),
                          severity="warning" if few else "error", refuses=not few, sheet=sheet.name, table=sheet.table, column=name)


def _order(reading: Reading, tables, options: Options) -> str | None:
    found = dates.order_evidence(_texts(reading, tables, ("date",)))
    day, month, doubt = (found[kind] and _place(reading, tables, ("date",), found[kind]) for kind in ("day first", "month first", "doubt"))
    if options.date_order:
        if day or month or doubt:
            reading.decisions.append(f"{reading.name}: dates read {options.date_order}, as the option says.")
        return options.date_order
    if day and month:
        reading.fault("date order", f"some dates can only be day first ({day}), others only month first ({month})",
                      "Write all dates the same way, best as 2024-03-14; or give the option date order, and the others are listed as errors.", refuses=True)
    elif day or month:
        order = "day first" if day else "month first"
        reading.decisions.append(f"{reading.name}: dates are {order} ({day or month} can be nothing else).")
        return order
    elif doubt:
        reading.fault("date order", f"dates such as the one in {doubt} may be day first or month first, and no date in the file tells which",
                      "Give the option date order (--date-order \"day first\" or --date-order \"month first\"), or write dates as 2024-03-14.", refuses=True)
    return None


def _decimal(reading: Reading, tables, options: Options) -> str:
    texts = list(_texts(reading, tables, ("number", "whole")))
    comma, point = (one and _place(reading, tables, ("number", "whole"), one) for one in numbers.decimal_marks(texts))
    if options.decimal:
        if comma or point:
            reading.decisions.append(f"{reading.name}: decimal mark {_NAMES[options.decimal]}, as the option says.")
        return options.decimal
    if comma and point:
        reading.fault("decimal mark", f"some numbers use a decimal comma ({comma}), others a decimal point ({point})",
                      "Write all numbers the same way; or give the option decimal, and the others are listed as errors.", refuses=True)
    elif comma or point:
        mark = "," if comma else "."
        reading.decisions.append(f"{reading.name}: decimal mark {_NAMES[mark]} ({comma or point} can be nothing else).")
        return mark
    elif doubt := numbers.doubtful(texts):
        reading.fault("decimal mark", f"numbers such as the one in {_place(reading, tables, ('number', 'whole'), doubt)} may hold a decimal mark or a mark between thousands, and no number in the file tells which",
                      "Give the option decimal (--decimal , or --decimal .), or write the number without the mark.", refuses=True)
    return "."


_NAMES = {",": "comma", ".": "point"}
