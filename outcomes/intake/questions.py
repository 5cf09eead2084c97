"""The talk that builds a mapping: which table, each column in turn, what is missing, several rows of one visit, and a look at the result."""

from __future__ import annotations

import re
from collections import Counter

from outcomes import schemas
from outcomes.intake import mapping as mappings
from outcomes.intake import notations, phrases, positions, privacy, suggestions, units
from outcomes.intake.asking import Talk, yes_or_no
from outcomes.intake.headings import letter
from outcomes.intake.outlook import Export
from outcomes.intake.preview import preview
from outcomes.intake.words import fold, meanings

SKIP, LOOK, SPLIT, MOST_WORDS = ("-", "skip"), "look", "split", 60
TABLES = {"day_sheet": "a visit of one denture", "set_up": "an attachment that was fitted", "patients": "a patient", "insert_levels": "a kind of insert with its force",
          "visits": "a visit, parts in rows of their own", "parts_log": "a part looked at or handled", "dentures": "a denture", "implants": "an implant", "questionnaires": "an answer", "pull_tests": "a pull test",
          "denture_log": "work on a denture"}


def build(talk: Talk, export: Export, table_name: str | None = None, key=None) -> dict:
    """The mapping that a person's answers make, as its TOML says it. Asks the same questions after the same answers."""
    talk.say(f"{export.name} has {len(export.headings)} column{'s' if len(export.headings) != 1 else ''}. None is read unless you take it. At each question: an empty answer takes what stands in brackets,",
             "- leaves the column out, back takes the last answer back, ? says more, stop leaves without writing.", "")
    if table_name is None:
        talk.say("A row of the export is:", *(f"  {one:14} {what}" for one, what in TABLES.items()))
    name = table_name or talk.ask("Which of these?", _one_of(TABLES, "tables"), default=_likely(export))
    table = schemas.tables()[name]
    body: dict = {"mapping": mappings.VERSION, "file": {"name": _pattern(export.name)} | ({"sheet": export.sheet} if export.sheet else {}), name: {}}
    for place, heading in export.headings.items():
        _column(talk, export, table, place, heading, body, key is not None)
    _missing(talk, table, body[name])
    if key is not None and any(isinstance(one, dict) and one.get("pseudonymise") for one in body[name].values()):
        body["file"]["key_fingerprint"] = key.fingerprint
    return _finish(talk, export, table, body, key)


def _pattern(name: str) -> str:
    """A file name with its numbers left open, so that next month's export is read the same way."""
    stem, dot, ending = name.rpartition(".")
    return re.sub(r"\d[\d_.-]*", "*", stem) + dot + ending


def _likely(export: Export) -> str:
    best = max(TABLES, key=lambda one: sum(bool(suggestions.by_heading(heading, schemas.tables()[one], set())) for heading in export.headings.values()) - 0.01 * list(TABLES).index(one))
    return best


def _one_of(allowed, whole: str):
    def take(answer: str) -> str:
        for one in allowed:
            if fold(one) == fold(answer) or fold(one).replace("_", " ") == fold(answer):
                return one
        raise ValueError(f"That is none of the {whole}: {', '.join(allowed)}.")
    return take


def _column(talk: Talk, export: Export, table: schemas.Table, place: int, heading: str, body: dict, keyed: bool) -> None:
    taken = body[table.name]
    reason = privacy.heading(heading)
    if reason:
        _personal(talk, table, place, heading, reason, taken, keyed)
        return
    cells: Counter | None = None
    while True:
        guess = suggestions.by_heading(heading, table, set(taken)) or (suggestions.by_content(cells, table, set(taken)) if cells is not None else None)
        free = [column.name for column in table.columns if column.name not in taken]
        answer = talk.ask(f"Column {letter(place)}, {heading}: which column of {table.title}?", _target(free), default=guess or "-", shown=guess or "left out",
                          more="Columns still free: " + "; ".join(f"{one} ({table.column(one).meaning})" for one in free) + ". Write look to let its cells be read for a suggestion, split if it holds two things.")
        if answer == "-":
            return
        cells = export.columns([heading])[heading] if cells is None else cells
        if answer == LOOK:
            talk.say("  Its cells: " + "; ".join(f"{value} ({count})" for value, count in cells.most_common(8)) + ("; …" if len(cells) > 8 else ""))
        elif answer == SPLIT:
            _split(talk, table, heading, cells, body)
            return
        else:
            _details(talk, table.column(answer), {"from": heading}, cells, body, table)
            return


def _target(free: list[str]):
    def take(answer: str) -> str:
        if answer.casefold() in SKIP:
            return "-"
        if answer.casefold() in (LOOK, SPLIT):
            return answer.casefold()
        return _one_of(free, "columns still free")(answer)
    return take


def _personal(talk: Talk, table: schemas.Table, place: int, heading: str, reason: str, taken: dict, keyed: bool) -> None:
    person = next((column.name for column in table.columns if column.name in ("patient", "patient_id")), None)
    if reason == "a date of birth" and table.name == "patients" and "birth_year" not in taken:
        if talk.ask(f"Column {letter(place)}, {heading}, promises a date of birth. Take the year of it, and no more?", yes_or_no, default="no"):
            taken["birth_year"] = {"from": heading, "keep": "year"}
            form = talk.ask("  In which form are its dates (DD day, MM month, YYYY year)?", _form, default="DD.MM.YYYY")
            taken["birth_year"]["date_form"] = form
    elif keyed and person and person not in taken and reason in ("a name", "an identity or insurance number"):
        if talk.ask(f"Column {letter(place)}, {heading}, looks like {reason}. Turn it into pseudonyms with your key?", yes_or_no, default="no"):
            taken[person] = {"from": heading, "pseudonymise": True}
    else:
        talk.say(f"Column {letter(place)}, {heading}, looks like {reason}: it is left out and not read.")


def _form(answer: str) -> str:
    from outcomes.intake import date_forms

    wrong = date_forms.faulty(answer, None)
    if wrong:
        raise ValueError(f"That form cannot be used: {wrong}.")
    return answer


def _split(talk: Talk, table: schemas.Table, heading: str, cells: Counter, body: dict) -> None:
    """A column that holds several things: a separator, and a column of the log for each part."""
    separator = talk.ask("  What stands between its parts? (blank, or signs such as / or ;)", lambda answer: answer, default="blank")
    separator = " " if fold(separator) == "blank" else separator
    most = max((len(value.split(separator)) for value in cells), default=1)
    for part in range(1, min(most, 4) + 1):
        pieces: Counter = Counter()
        for value, count in cells.items():
            found = [one.strip() for one in value.split(separator)]
            if part <= len(found):
                pieces[found[part - 1]] += count
        free = [column.name for column in table.columns if column.name not in body[table.name]]
        guess = suggestions.by_content(pieces, table, set(body[table.name]))
        answer = talk.ask(f"  Part {part} ({'; '.join(list(pieces)[:4])}): which column?", _target(free), default=guess or "-", shown=guess or "left out")
        if answer not in ("-", LOOK, SPLIT):
            _details(talk, table.column(answer), {"from": heading, "split": separator, "part": part}, pieces, body, table)


def _details(talk: Talk, column: schemas.Column, said: dict, cells: Counter, body: dict, table: schemas.Table) -> None:
    """What else a column needs: the meaning of its words, its unit, its dates, its numbering."""
    heading = said["from"]
    if column.type == "code":
        _meanings(talk, column, said, cells)
    elif column.type == "date":
        forms = suggestions.date_forms_of(cells)
        if len(forms) > 1 or forms and forms[0] != "YYYY-MM-DD":
            said["date_form"] = talk.ask("  In which form are its dates (DD day, MM month, YYYY year)?", _form, default=forms[0], more=f"Forms that fit every cell: {', '.join(forms)}.") if len(forms) > 1 else forms[0]
        elif not forms and any(not suggestions.form_fits(value, "YYYY-MM-DD") for value in cells):
            said["date_form"] = talk.ask("  Its cells have no usual form of dates. In which form are they (DD day, MM month, YYYY year)?", _form, default="DD.MM.YYYY")
    elif column.type in ("number", "whole") and units.units_for("N" if column.name == "retention" else column.unit):
        unit = "N" if column.name == "retention" else column.unit
        allowed = units.units_for(unit)
        if len(allowed) > 1:
            said["unit"] = talk.ask(f"  In which unit? ({', '.join(allowed)})", lambda answer: units.known_unit(answer, unit) or _one_of(allowed, "units")(answer), default=suggestions.unit_in(heading, unit) or unit)
            if said["unit"] == unit:
                del said["unit"]
    elif column.type in ("position", "positions"):
        _numbering(talk, column, said, cells)
        if column.type == "positions":
            _other_words(talk, column, said, cells, "numbering" not in said)
    elif column.type == "phrases":
        _other_words(talk, column, said, cells, True)
    elif column.name in ("patient", "patient_id") and any(privacy.content(value, person=True) for value in cells):
        talk.say("  Some of its cells look like names or numbers of people. Such rows will be refused; give --key to turn the column into pseudonyms.")
    body[table.name][column.name] = said if len(said) > 1 else said["from"]


def _meanings(talk: Talk, column: schemas.Column, said: dict, cells: Counter) -> None:
    known = meanings(column.codes)
    others = [value for value, _ in cells.most_common() if fold(value) not in known]
    if len(others) > MOST_WORDS:
        talk.say(f"  It holds {len(others)} different words that the log does not know; those without a meaning will be listed.")
        others = others[:MOST_WORDS]
    if others:
        talk.say(f"  Words of {column.name}: {', '.join(column.code_list)}.")
    values = {}
    for word in others:
        guess = suggestions.code_for(word, column)
        answer = talk.ask(f"  {word} ({cells[word]} cell{'s' if cells[word] > 1 else ''}) means?", _meaning(column), default=guess or "later", more=f"One of: {', '.join(column.code_list)}; not recorded; later (its rows wait).")
        if answer != "later":
            values[word] = "" if answer == "not recorded" else answer
    if values:
        said["values"] = values


def _meaning(column: schemas.Column):
    def take(answer: str) -> str:
        if fold(answer) in ("later", "not recorded"):
            return fold(answer)
        if answer in SKIP:
            return "not recorded"
        found = meanings(column.codes).get(fold(answer))
        if found is None:
            raise ValueError(f"That is none of the words of {column.name}: {', '.join(column.code_list)}; not recorded; later.")
        return found
    return take


def _other_words(talk: Talk, column: schemas.Column, said: dict, cells: Counter, plain: bool) -> None:
    """The meaning of cells in which the log would read no position or phrase. ``plain``: positions are written by ISO 3950, else only cells without a digit are asked for."""
    take, example = _in_our_words(column)
    between = said.get("between")
    others = [value for value, _ in cells.most_common() if (plain or not any(letter.isdigit() for letter in value)) and not _read_by(take, " ".join(value.split(between)) if between else value)]
    if not others:
        return
    if len(others) > MOST_WORDS:
        talk.say(f"  It holds {len(others)} different entries that the log cannot read; those without a meaning will be listed.")
        others = others[:MOST_WORDS]
    talk.say(f"  {column.name} takes {example}. Say what each entry that the log cannot read means.")
    values = {}
    for word in others:
        answer = talk.ask(f"  {word} ({cells[word]} cell{'s' if cells[word] > 1 else ''}) means?", _later_or(take, example), default="later", more=f"Write {example}; not recorded; or later (its rows wait).")
        if answer != "later":
            values[word] = "" if answer == "not recorded" else answer
    if values:
        said["values"] = values


def _in_our_words(column: schemas.Column):
    """What reads a cell of positions or phrases, raising ValueError, and what such a cell may hold."""
    if column.type == "positions":
        return lambda text: positions.parse_list(text, column.words), ", ".join([*column.words, "positions such as 33 43"])
    return lambda text: phrases.parse(text, column.part), "fine, or words such as relined" if column.part == "denture" else "fine, or position and words such as 33 picked up again"


def _read_by(take, text: str) -> bool:
    try:
        take(text)
        return True
    except ValueError:
        return False


def _later_or(take, example: str):
    def answered(answer: str) -> str:
        if fold(answer) in ("later", "not recorded"):
            return fold(answer)
        if not _read_by(take, answer):
            raise ValueError(f"Write {example}; not recorded; or later.")
        return answer
    return answered


def _numbering(talk: Talk, column: schemas.Column, said: dict, cells: Counter) -> None:
    guess = suggestions.numbering_of(cells)
    sign = next((one for one in "/;+&|" if sum(one in value for value in cells) > len(cells) / 4), None)
    if sign:
        said["between" if column.type == "positions" else "each"] = sign
        talk.say(f"  A cell with {sign} in it names several positions" + ("." if column.type == "positions" else " and makes a row for each."))
    if guess == notations.ISO:
        return
    answer = talk.ask("  In which tooth numbering? (ISO 3950, Universal, or quadrants)", _one_of((*notations.NAMED, "quadrants"), "numberings"), default=guess or (notations.ISO if any(positions.is_site(value) for value in cells) else "quadrants"))
    if answer == "quadrants":
        said["numbering"] = {quadrant: talk.ask(f"  How is the site at place 5 from the midline of the {quadrant.replace('_', ' ')} written (the patient's own right and left)?", _shape) for quadrant in notations.QUADRANTS}
    elif answer != notations.ISO:
        said["numbering"] = answer


def _shape(answer: str) -> str:
    if answer.count("5") != 1:  # 5 and not 3: a quadrant may be written as a number from 1 to 4, as in 3-5
        raise ValueError("Write it with the number 5 once, as in UR5, 5+ or 1-5.")
    return answer.replace("5", "#")


def _missing(talk: Talk, table: schemas.Table, taken: dict) -> None:
    """Needed columns that no column of the export gives: the same word in every row."""
    for column in table.columns:
        if column.required and column.name not in taken and not (column.name == "visit_id" and table.name != "visits"):
            words = f" ({', '.join(column.code_list)})" if column.code_list else ""
            default = {"parts_checked": "notes silent", "snap": "not asked", "level": "unknown"}.get(column.name, "")
            take = _one_of(column.code_list, f"words of {column.name}") if column.type == "code" else _filled
            taken[column.name] = {"always": talk.ask(f"{column.name} is needed ({column.meaning}), and no column gives it. What is it in every row?{words}", take, default=default)}


def _filled(answer: str) -> str:
    if not answer:
        raise ValueError("Write what it always is, or back to take a column for it.")
    return answer


def _finish(talk: Talk, export: Export, table: schemas.Table, body: dict, key) -> dict:
    seen = preview(export.path, mappings.from_body(body, "the mapping", key=key), export.options)
    if seen.shared.get(table.name):
        count = seen.shared[table.name]
        if talk.ask(f"{count:,} rows share {', '.join(name for name in table.key if name in body[table.name])} with another row. Put such rows together into one?", yes_or_no, default="yes"):
            body = {**body, table.name: {**body[table.name], "rows": {"together": True}}}
            seen = preview(export.path, mappings.from_body(body, "the mapping", key=key), export.options)
    talk.say(*seen.lines, "")
    talk.ask("Keep this mapping? (yes, or back)", _keep, default="yes")
    return body


def _keep(answer: str) -> bool:
    if not yes_or_no(answer):
        raise ValueError("Take answers back with back, or leave with stop.")
    return True
