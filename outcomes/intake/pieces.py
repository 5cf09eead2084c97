"""One cell of an export on its way into the log: a part of it, its meaning, its unit, its date, its position. One function a column."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from fractions import Fraction

from outcomes.intake import date_forms, dates, notations, numbers, positions, units
from outcomes.intake.mapping import Mapping, Taken
from outcomes.intake.source import Options, Reading, Refused
from outcomes.intake.typed import text_of
from outcomes.intake.words import fold, meanings

_COUNTED = ("date", "number", "whole", "position", "positions", "levels", "phrases")


@dataclass(frozen=True)
class Choices:
    """What is known of a whole file before its cells are changed: the decimal mark and the order of dates, None where in doubt."""

    decimal: str | None
    date_order: str | None

    @staticmethod
    def of(reading: Reading, mapping: Mapping, sheets, options: Options) -> Choices:
        """From the options, else from the cells of the columns taken; a decimal mark that was found is said among the decisions."""
        texts, days = [], []
        for part in mapping.tables:
            for taken in part.columns:
                cells = [column for sheet in sheets for name in taken.sources for heading, column in sheet.columns.items() if heading == name]
                written = [value for column in cells for value in column.values if isinstance(value, str)]
                texts += [_part(value, taken) or "" for value in written] if taken.unit else []
                days += written if taken.target.type == "date" and not taken.date_form else []
        comma, point = numbers.decimal_marks(texts)
        decimal = options.decimal or (None if comma and point or not (comma or point) and numbers.doubtful(texts) else "," if comma else ".")
        if not options.decimal and (comma or point) and decimal:
            reading.decisions.append(f"{reading.name}: decimal mark {'comma' if decimal == ',' else 'point'} in the columns whose unit is changed.")
        found = dates.order_evidence(days)
        sure = [order for order in ("day first", "month first") if found[order]]
        return Choices(decimal, options.date_order or (sure[0] if len(sure) == 1 else None))


def steps(taken: Taken, number: int, choices: Choices, mapping: Mapping) -> Callable:
    """What is done to each cell of the ``number``-th source of a column: gives a value for the log, None for a blank, a tuple for
    several pieces that make a row each, or a Refused with what to do."""
    key = mapping.key if taken.pseudonymise else None
    convert = notations.converter(taken.numbering)
    words = {fold(theirs): ours for theirs, ours in taken.values.items()}
    codes = meanings(taken.target.codes) if taken.target.type == "code" else {}
    constant = taken.write[number] if taken.write and "{}" not in taken.write[number] else None
    chosen = {fold(ours) for ours in words.values()}

    def unread(text: str) -> bool:
        """Whether a cell of positions holds a word alone that is none of the log's."""
        return taken.target.type == "positions" and not any(letter.isdigit() for letter in text) and fold(text) not in (*taken.target.words, positions.MIDLINE)

    def one(value, text: str):
        try:
            if fold(text) in words:
                text = value = words[fold(text)]
                if not text.strip():
                    return None
            if constant is not None:
                return constant
            if fold(text) in chosen:
                pass
            elif taken.other is not None and fold(text) not in codes:
                return taken.other or None
            elif codes and fold(text) not in codes:
                return Refused(text, "no meaning in the mapping", "the mapping gives no meaning to the word", f"Add it to [{_place(taken, mapping)}.values] in {mapping.name}, with one of: {', '.join(taken.target.code_list[:8])}.")
            elif unread(text):
                return Refused(text, "no meaning in the mapping", "the mapping gives no meaning to the word",
                               f"Add it to [{_place(taken, mapping)}.values] in {mapping.name}, with {', '.join(taken.target.words)}, or positions such as 33 43.")
            if key is not None:
                return key.pseudonym(text)
            done = _by_kind(value, text, taken, choices, convert)
            return taken.write[number].replace("{}", text_of(done)) if taken.write and not isinstance(done, Refused) else done
        except ValueError as problem:
            return Refused(text, "does not fit the mapping", str(problem), f"Mend the cell, or change [{_place(taken, mapping)}] in {mapping.name}.")

    def run(value):
        if value is None or isinstance(value, Refused):
            return value
        text = " ".join(text_of(value).split())
        if taken.target.type in _COUNTED and not isinstance(value, (int, float)):
            text = numbers.digits(text)
        if taken.split is not None:
            text = value = _part(text, taken)
        if not text:
            return None
        if taken.each is None:
            return one(value, text)
        made = [one(piece, piece) for piece in _apart(text, taken.each) if piece]
        made = [piece for piece in made if piece is not None]
        return tuple(made) if len(made) > 1 else made[0] if made else None
    return run


def _place(taken: Taken, mapping: Mapping) -> str:
    table = next((part.table.name for part in mapping.tables if taken in part.columns), "table")
    return f"{table}.{taken.target.name}"


def _apart(text: str, separator: str) -> list[str]:
    """The pieces between separators; a blank stands for any run of blanks."""
    return [piece.strip() for piece in (text.split() if not separator.strip() else text.split(separator))]


def _part(text: str, taken: Taken) -> str | None:
    """Part ``n`` of a cell, counted from 1, or from the end with -1; what stands beyond the last part is blank."""
    if taken.split is None:
        return text
    found = [piece for piece in _apart(text, taken.split) if piece or taken.split.strip()]
    at = taken.part - 1 if taken.part > 0 else len(found) + taken.part
    return found[at] if 0 <= at < len(found) else ""


def _by_kind(value, text: str, taken: Taken, choices: Choices, convert):
    kind = taken.target.type
    if kind == "date" or taken.keep == "year":
        if taken.date_form:
            return date_forms.read(value if isinstance(value, (date, datetime)) else text, taken.date_form, months=taken.months, years_ahead=taken.years_ahead, keep=taken.keep)
        if taken.keep == "day":
            return value if not isinstance(value, str) else text
        day = iso(value, choices)
        if day is None:
            raise ValueError("its year cannot be told; give date_form")
        return day if day == "not known" else day[: 4 if taken.keep == "year" else 7]
    if kind in ("number", "whole"):
        return _number(value, text, taken, choices)
    if kind == "position":
        return convert(text) if taken.numbering else value
    if kind == "positions":
        return _positions(text, taken, convert)
    if kind in ("levels", "phrases"):
        listed = "; ".join(_apart(text, taken.between)) if taken.between and kind == "phrases" else " ".join(_apart(text, taken.between)) if taken.between else text
        if taken.numbering in (None, notations.ISO):
            return listed
        if kind == "levels":
            return re.sub(r"(\S+?)(?=\s*:)", lambda found: convert(found[1]), listed)
        return listed if taken.target.part == "denture" else "; ".join(_entry(entry, convert) for entry in listed.split("; "))
    return text


def _entry(entry: str, convert) -> str:
    """An entry of a written cell with the positions at its head by ISO 3950."""
    tokens = entry.split()
    for at, token in enumerate(tokens):
        bare = token.strip(",+&")
        if not any(letter.isdigit() for letter in bare):
            break
        tokens[at] = convert(bare)
    return " ".join(tokens)


def _positions(text: str, taken: Taken, convert) -> str:
    if fold(text) in taken.target.words:
        return text
    separators = [taken.between] if taken.between else [None]
    tokens = [token for token in (_apart(text, separators[0]) if separators[0] else re.split(r"[\s,;]+", text)) if token]
    return " ".join(convert(token) for token in tokens) if taken.numbering not in (None, notations.ISO) or taken.between else text


def _number(value, text: str, taken: Taken, choices: Choices):
    if taken.unit is None or taken.unit == taken.unit_of_log:
        return text if isinstance(value, str) else value
    if isinstance(value, str):
        if choices.decimal is None:
            return text  # the file is refused for its decimal mark, with what to do
        numbers.parse(text, choices.decimal)  # refuses what is no number
        other = "." if choices.decimal == "," else ","
        plain = text if re.fullmatch(r"[+-]?\d+", text) else text.replace(other, "").replace(choices.decimal, ".")
    else:
        plain = repr(value)
    made = units.converted(Fraction(plain), taken.unit, taken.unit_of_log)
    return int(made) if made == int(made) else made


def iso(value, choices: Choices) -> str | None:
    """A date as a key writes it, 2024-03-14, 2024-03 or 2024; None where it cannot be read yet."""
    if isinstance(value, Refused):
        return None
    try:
        day, precision = dates.parse(value, choices.date_order)
    except ValueError:
        return None
    return None if day is None else day.isoformat()[: dates.LENGTH[precision]]
