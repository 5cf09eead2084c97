"""The marks that show a broken rule while typing. Each is a rule of the checks under the same name, so that none comes as a surprise."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from outcomes import schemas
from outcomes.intake import spreadsheet as f
from outcomes.intake.numbers import NEWTONS
from outcomes.intake.typed import PERSON

FIRST = 2  # row of the first line
# Last row that is watched: some seven years of a busy clinic. What an assistant types into is watched as well as drawn, so each is no longer than need be.
LAST = {"day_sheet": 6000, "set_up": 2500, "patients": 1500, "insert_levels": 61, "questionnaires": 6000}
NEAR = 100  # lines up and down among which a double is looked for


@dataclass(frozen=True)
class Mark:
    """One mark: the cells of ``column`` in the sheet of ``table`` turn colour where ``formula``, written for the first row, is true.

    ``rule`` is the name under which a check finds the same, ``severity`` "error" or "warning", ``says`` one plain sentence.
    """

    table: str
    column: str
    rule: str
    severity: str
    says: str
    formula: str


class Places:
    """References to the cells and ranges of the workbook, for the first row; columns fixed, so that rows may be pasted and sorted.

    Ranges go by a name of the workbook, for a rule of colour may not name another sheet itself (MS-XLSB 2.5.98.6, CFParsedFormula).
    """

    def __init__(self, letters: dict[str, dict[str, str]], lists: dict[str, str]):
        self._letters, self.lists = letters, lists
        self.names: dict[str, str] = {}  # the names that were asked for, and what each stands for

    def cell(self, table: str, column: str) -> str:
        """The cell of a column in the row looked at."""
        return f"${self._letters[table][column]}{FIRST}"

    def all(self, table: str, column: str) -> str:
        """All cells of a column, from any sheet."""
        letter, name = self._letters[table][column], f"{table}_{column}"
        self.names[name] = f"'{schemas.tables()[table].title}'!${letter}${FIRST}:${letter}${LAST[table]}"
        return name

    def row(self, table: str) -> str:
        """The whole row looked at."""
        letters = list(self._letters[table].values())
        return f"${letters[0]}{FIRST}:${letters[-1]}{FIRST}"


def marks(places: Places, tables: tuple[str, ...]) -> list[Mark]:
    """Every mark of the sheets of ``tables``, errors first, in the order in which a reader meets the columns."""
    found = []
    for name in tables:
        table = schemas.tables()[name]
        for column in table.columns:
            found += [Mark(name, column.name, *one) for one in _of_column(places, table, column)]
        for column, *one in _ACROSS.get(name, lambda places: ())(places):
            found.append(Mark(name, column, *one))
    order = {(name, column.name): at for name in tables for at, column in enumerate(schemas.tables()[name].columns)}
    return sorted(found, key=lambda mark: (tables.index(mark.table), mark.severity != "error", order[mark.table, mark.column]))


def _of_column(places: Places, table: schemas.Table, column: schemas.Column) -> Iterator[tuple[str, str, str, str]]:
    """(rule, severity, says, formula) of the marks that a column's own declaration asks for."""
    x = places.cell(table.name, column.name)
    if column.required:
        yield "needed", "error", "is blank in a line that was begun", f'AND(COUNTA({places.row(table.name)})>0,{x}="")'
    if column.codes:
        numbers = schemas.codebook()[column.codes].get("scale", {}).values()
        some = f"IFERROR(AND({f.number(x)}>={min(numbers)},{f.number(x)}<={max(numbers)}),FALSE)" if numbers else "FALSE"
        yield "code not known", "error", "is none of the words of the list", f'IF({x}="",FALSE,AND(ISNA(MATCH(TRIM({x}),{places.lists[column.codes]},0)),NOT({some})))'
    elif column.type == "date":
        yield "date not readable", "error", "is no date, such as 2024-03-14, 2024-03, 2024 or not known", f.no_date(x)
        yield "day in the future", "error", "lies in the future", f.future(x)
    elif column.type in ("number", "whole"):
        yield "number not readable", "error", "is no number", f.no_number(x)
        if column.minimum is not None or column.maximum is not None:
            yield "too small or too large", "error", "is not possible", f.outside(x, column.minimum, column.maximum)
        if column.plausible:
            yield "outside the usual range", "warning", "lies outside the usual range", f.outside(x, *column.plausible)
    elif column.type in ("position", "positions"):
        yield from _of_positions(places, x, column)
    elif column.type == "phrases":
        yield "phrase not readable", "error", "is neither fine nor words of the lists" + ("" if column.part == "denture" else ", with the position before them"), _no_phrase(places, x, column)
    elif column.name in PERSON:
        yield "personal data", "error", "looks like a name, an address, a telephone number or a date", f.name_like(x)


def _of_positions(places: Places, x: str, column: schemas.Column) -> Iterator[tuple[str, str, str, str]]:
    words = ",".join(f'LOWER(TRIM({x}))="{word}"' for word in ("midline", *column.words))
    wrong = f.some_site(x, places.lists["steps"], f'ISNA(MATCH(SITE,{places.lists["sites"]},0))')
    odd = f"LEN({f.sites(x)})<>2*ROUND(LEN({f.sites(x)})/2,0)"
    yield "position not known", "error", "is no site of ISO 3950", f'IF(OR({x}="",{words}),FALSE,OR({odd},{wrong}))'


def _no_phrase(places: Places, x: str, column: schemas.Column) -> str:
    lists = ("denture_finding", "denture_action") if column.part == "denture" else ("part_finding", "part_action")
    words = "+".join(f"SUMPRODUCT(--ISNUMBER(SEARCH({places.lists[name]},{x})))" for name in lists) + f'+ISNUMBER(SEARCH("fine",{x}))'
    if column.part == "denture":
        return f'IF({x}="",FALSE,({words})=0)'
    first = f'OR(ISNUMBER(VALUE(LEFT(TRIM({x}),2))),LOWER(LEFT(TRIM({x}),3))="all",LOWER(LEFT(TRIM({x}),7))="midline")'
    return f'IF(OR({x}="",LOWER(TRIM({x}))="fine"),FALSE,OR(({words})=0,NOT(IFERROR({first},FALSE))))'


def _wrong_jaw(places: Places, x: str, arch: str) -> str:
    """Whether a position lies in the other jaw than the one written beside it."""
    other = f.some_site(x, places.lists["steps"], f'ISNUMBER(FIND(LEFT(SITE,1),IF(LOWER(TRIM({arch}))="lower","12","34")))')
    midline = f'AND(LOWER(TRIM({x}))="midline",LOWER(TRIM({arch}))="upper")'
    return f'IF(OR({x}="",{arch}=""),FALSE,OR({midline},{other}))'


def _not_listed(places: Places, x: str) -> str:
    """Whether a pseudonym is not in the sheet Patients. The quick look comes first: the whole list is read letter by letter only where it fails."""
    known = places.all("patients", "patient_id")
    return f'IF({x}="",FALSE,IF(IFERROR(EXACT(INDEX({known},MATCH({x},{known},0)),{x}),FALSE),FALSE,{f.listed(x, known)}=0))'


def _twice(places: Places, table: str, columns: tuple[str, ...], needed: int) -> str:
    """Whether another line near by has the same content in all these columns; the first ``needed`` of them must be filled in.

    Near by is some weeks of work up and down: a whole sheet looked through for every line would make typing slow.
    """
    top = f"MAX(0,ROW()-{FIRST + NEAR})"
    near = {name: f"OFFSET({places.all(table, name)},{top},0,MIN({2 * NEAR + 1},{LAST[table] - FIRST + 1}-{top}),1)" for name in columns}
    same = "*".join(f'({near[name]}&""={places.cell(table, name)}&"")' for name in columns)
    blank = ",".join(f'{places.cell(table, name)}=""' for name in columns[:needed])
    some = ",".join(f"{near[name]},{places.cell(table, name)}" for name in columns if name in (columns[0], "item"))  # a quick count; most lines need no closer look
    return f"IF(OR({blank}),FALSE,IF(COUNTIFS({some})<2,FALSE,SUMPRODUCT({same})>1))"


def _day_sheet(places: Places) -> Iterator[tuple[str, str, str, str, str]]:
    def cell(name: str) -> str:
        return places.cell("day_sheet", name)

    patient, date, arch, reason, changed, why, worn, level, lost = map(cell, ("patient", "date", "arch", "reason", "inserts_changed", "why", "worn_at", "level_now", "snap_lost"))
    pat, fit, jaw, site = (places.all("set_up", name) for name in ("patient", "fitted_on", "arch", "position"))
    own, none = f"EXACT({pat},{patient})", f'OR({changed}="",LOWER(TRIM({changed}))="none")'
    begun, absent = f'OR({patient}="",{date}="")', f'OR({reason}="laboratory",{reason}="contact only")'
    day, iso = f.first_day(date), f.iso(date)
    yield "patient", "patient not listed", "error", "is not in the sheet Patients", _not_listed(places, patient)
    yield "date", "second visit without order", "error", "stands in two lines of the same patient and jaw; write 2 under visit order for a second visit", \
        _twice(places, "day_sheet", ("patient", "date", "arch", "visit_order"), 2)
    that_day = f'COUNTIFS({pat},{patient},{fit},{iso}&"*")'  # a set of that day as it is usually written: found at once, and nothing else need be read
    early_enough = f'SUMPRODUCT(({pat}={patient})*({fit}<>"")*(1-{f.year_first(fit)}*({fit}>{iso}&"-99")))'
    first_fit = f"INDEX({fit},MATCH({patient},{pat},0))"  # of the patient's first line, most often the earliest: nothing else need be read for most visits
    yield "date", "visit before fitting", "error", "lies before the day on which the patient's set was fitted (sheet Set-up)", \
        f'IF(OR({begun},MID({iso}&"-",5,1)<>"-"),FALSE,IF(IFERROR(OR({first_fit}<={iso},NOT({f.year_first(first_fit)})),TRUE),FALSE,' \
        f'IF({that_day}+IFERROR(COUNTIFS({pat},{patient},{fit},LEFT({iso},4)-1&"*"),0)>0,FALSE,IF({f.no_date(date)},FALSE,{early_enough}=0))))'
    there = f'SUMPRODUCT({own}*(({fit}={date})+({fit}={iso})+({fit}={day})>0))'
    yield "reason", "delivery without a set", "warning", "is delivery or conversion, and the sheet Set-up has no line of that day", \
        f'IF(OR({begun},AND({reason}<>"delivery",{reason}<>"conversion")),FALSE,IF(IFERROR({first_fit}={iso},FALSE),FALSE,IF({that_day}>0,FALSE,{there}=0)))'
    gone_on, gone_why = (f'INDEX({places.all("patients", name)},MATCH({patient},{places.all("patients", "patient_id")},0))' for name in ("left_on", "left_reason"))
    yield "date", "seen after death", "warning", "lies after the patient's death (sheet Patients)", \
        f'IF(OR({begun},{absent}),FALSE,IFERROR(IF({gone_why}="died",AND({f.year_first(gone_on)},{gone_on}&"-99"<{iso}),FALSE),FALSE))'
    upper, lower = (f'COUNTIFS({pat},{patient},{jaw},"{word}")>0' for word in ("upper", "lower"))
    says = ",".join(f'{cell(name)}<>""' for name in ("level_now", "denture", "snap_lost"))
    yield "arch", "jaw not clear", "error", "is blank, and the patient has a set in both jaws", f'IF(OR({patient}="",{arch}<>""),FALSE,IF(OR({says}),AND({upper},{lower}),FALSE))'
    yield "arch", "no denture in that jaw", "warning", "names a jaw for which the sheet Set-up has no line", \
        f'IF(OR({patient}="",{arch}=""),FALSE,AND(COUNTIF({pat},{patient})>0,COUNTIFS({pat},{patient},{jaw},TRIM({arch}))=0))'
    for name, x in (("inserts_changed", changed), ("worn_at", worn)):
        yield name, "position in the other jaw", "error", "names a position of the other jaw (11–28 upper, 31–48 lower)", _wrong_jaw(places, x, arch)
        yield name, "position not set up", "error", "names a position at which the sheet Set-up has no set for this patient", _unset(places, x, patient, pat, site)
    yield "why", "change without why", "warning", "is blank although inserts were changed", f'AND({why}="",NOT({none}))'
    yield "why", "why without a change", "warning", "gives a reason although no insert was changed", f'AND({why}<>"",{none})'
    yield "level_now", "level blank at a change", "warning", "is blank although inserts were changed", f'AND({level}="",NOT({none}))'
    yield "level_now", "level not declared", "error", "is not in the sheet Insert levels", _undeclared(places, level)
    yield "snap_lost", "noticed after the visit", "error", "lies after the visit", \
        f'IF(OR({lost}="",{date}=""),FALSE,AND({f.year_first(lost)},MID({iso}&"-",5,1)="-",{lost}>{iso}&"-99"))'
    nothing = ",".join(f'OR({x}="",LOWER(TRIM({x}))="fine",LOWER(TRIM({x}))="none")' for x in (changed, worn, cell("housings")))
    yield "snap_lost", "snap lost without a failing part", "warning", "is given, but no insert or housing is said to have failed", f'IF({lost}="",FALSE,AND({nothing}))'
    checked = cell("parts_checked")
    yield "parts_checked", "checked without the patient", "warning", "says that parts were looked at although the patient was not there", \
        f'AND({absent},OR({checked}="all",{checked}="inserts only"))'


def _unset(places: Places, x: str, patient: str, pat: str, site: str) -> str:
    """Whether a position has no set-up line of this patient. A bar is left to the checks."""
    words = ",".join(f'LOWER(TRIM({x}))="{word}"' for word in ("none", "all", "midline"))
    known = f'ISNUMBER(MATCH(SITE,{places.lists["sites"]},0))'
    first, lines = f"MATCH({patient},{pat},0)", f"COUNTIF({pat},{patient})"

    def own(cells: str) -> str:
        """The cells of the patient's lines, where they stand one under the other, as they do unless the sheet was sorted by something else."""
        return f"OFFSET({cells},{first}-1,0,{lines},1)"

    quick = f.some_site(x, places.lists["steps"], f"{known}*ISNA(MATCH(SITE,{own(site)},0))")
    missing = f.some_site(x, places.lists["steps"], f"{known}*(COUNTIFS({pat},{patient},{site},SITE)=0)")
    together = f"COUNTIF({own(pat)},{patient})={lines}"
    return f'IF(OR({x}="",{patient}="",{words},ISNUMBER(FIND("-",{x}))),FALSE,IF(IFERROR(AND({together},NOT({quick})),FALSE),FALSE,{missing}))'


def _undeclared(places: Places, x: str, pairs: bool = True) -> str:
    """Whether a level, or one of several as in 33:light 43:medium, is not among the clinic's own."""
    levels = places.all("insert_levels", "level")
    plain = f'AND(LOWER(TRIM({x}))<>"unknown",SUMPRODUCT(--(TRIM({levels})=TRIM({x})))=0)'
    if not pairs:
        return f'IF({x}="",FALSE,{plain})'
    text = f'LOWER(SUBSTITUTE(SUBSTITUTE({x},"=",":"),": ",":"))'
    colons = f'LEN({text})-LEN(SUBSTITUTE({text},":",""))'
    found = f'SUMPRODUCT(({levels}<>"")*(LEN({text})-LEN(SUBSTITUTE({text},":"&LOWER({levels}),"")))/(LEN({levels})+1))'
    unknown = f'(LEN({text})-LEN(SUBSTITUTE({text},":unknown","")))/8'
    return f'IF({x}="",FALSE,IF({colons}=0,{plain},{found}+{unknown}<{colons}))'


def _set_up(places: Places) -> Iterator[tuple[str, str, str, str, str]]:
    patient, arch, position, fitted = (places.cell("set_up", name) for name in ("patient", "arch", "position", "fitted_on"))
    seen, days = (places.all("day_sheet", name) for name in ("patient", "date"))
    iso, own, first = f.iso(fitted), f"EXACT({seen},{patient})", f"INDEX({days},MATCH({patient},{seen},0))"
    yield "patient", "patient not listed", "error", "is not in the sheet Patients", _not_listed(places, patient)
    yield "position", "position in the other jaw", "error", "lies in the other jaw (11–28 upper, 31–48 lower)", _wrong_jaw(places, position, arch)
    yield "position", "two sets at one position on one day", "error", "is set up twice on that day", _twice(places, "set_up", ("patient", "position", "fitted_on"), 3)
    earlier = f'SUMPRODUCT({own}*{f.year_first(days)}*({days}<{iso}))>0'
    quick = f'COUNTIFS({seen},{patient},{days},{iso}&"*")>0'  # a line of that day as it is usually written: found at once, and nothing else need be read
    same = f"SUMPRODUCT({own}*(({days}={fitted})+({days}={iso})+({days}={f.first_day(fitted)})>0))=0"
    yield "fitted_on", "set without a visit line", "error", "has no line of that day in the sheet Day sheet, although the patient was seen before", \
        f'IF(OR({patient}="",LEN({iso})<>10),FALSE,IF(IFERROR({first}>={fitted},TRUE),FALSE,IF({quick},FALSE,IF({f.no_date(fitted)},FALSE,IF({same},{earlier},FALSE)))))'
    yield "level", "level not declared", "error", "is not in the sheet Insert levels", _undeclared(places, places.cell("set_up", "level"), pairs=False)


def _insert_levels(places: Places) -> Iterator[tuple[str, str, str, str, str]]:
    level, retention, unit, kind = (places.cell("insert_levels", name) for name in ("level", "retention", "unit", "kind"))
    yield "level", "key twice", "error", "stands in two lines", _twice(places, "insert_levels", ("level",), 1)
    force = f'{f.number(retention)}*IF({unit}="lbf",{NEWTONS["lbf"]!r},IF({unit}="gf",{NEWTONS["gf"]!r},1))'
    yield "retention", "retention unusual", "warning", "lies outside 1 to 60 N", \
        f'IF(OR({retention}="",AND({kind}<>"",{kind}<>"final")),FALSE,IFERROR(OR({force}<1,{force}>60),FALSE))'


def _patients(places: Places) -> Iterator[tuple[str, str, str, str, str]]:
    patient, left_on, why = (places.cell("patients", name) for name in ("patient_id", "left_on", "left_reason"))
    seen, days, looked, reason = (places.all("day_sheet", name) for name in ("patient", "date", "parts_checked", "reason"))
    yield "patient_id", "key twice", "error", "stands in two lines", _twice(places, "patients", ("patient_id",), 1)
    examined = f'({looked}<>"none")*({looked}<>"notes silent")*({looked}<>"")*({reason}<>"laboratory")*({reason}<>"contact only")'
    yield "left_on", "left before the last examined visit", "error", "lies before a visit at which parts were looked at", \
        f'IF(OR({patient}="",{left_on}="",{why}="died",NOT({f.year_first(f.iso(left_on))})),FALSE,' \
        f'SUMPRODUCT(EXACT({seen},{patient})*{f.year_first(days)}*({days}>{f.iso(left_on)}&"-99")*{examined})>0)'
    yield "left_on", "left without a day or reason", "warning", "is blank although a reason is given", f'AND({left_on}="",{why}<>"")'
    yield "left_reason", "left without a day or reason", "warning", "is blank although a day is given", f'AND({left_on}<>"",{why}="")'


def _questionnaires(places: Places) -> Iterator[tuple[str, str, str, str, str]]:
    patient, instrument, item, response = (places.cell("questionnaires", name) for name in ("patient_id", "instrument", "item", "response"))
    names = places.lists["instruments"]

    def of(what: str) -> str:
        return f"INDEX({places.lists[what]},MATCH(TRIM({instrument}),{names},0))"

    yield "patient_id", "patient not listed", "error", "is not in the sheet Patients", _not_listed(places, patient)
    yield "instrument", "instrument not known", "error", "is no instrument of the list", f'IF({instrument}="",FALSE,ISNA(MATCH(TRIM({instrument}),{names},0)))'
    yield "item", "item not in the instrument", "error", "is higher than the instrument has items", f'IF({item}="",FALSE,IFERROR({f.number(item)}>{of("items")},FALSE))'
    yield "item", "key twice", "error", "stands in two lines of the same patient, day and instrument", \
        _twice(places, "questionnaires", ("patient_id", "answered_on", "instrument", "item", "about"), 4)
    yield "response", "response outside the range", "error", "lies outside the instrument's range", \
        f'IF({response}="",FALSE,IFERROR(OR({f.number(response)}<{of("lowest")},{f.number(response)}>{of("highest")}),FALSE))'


_ACROSS: dict[str, Callable[[Places], Iterator[tuple[str, str, str, str, str]]]] = {
    "day_sheet": _day_sheet, "set_up": _set_up, "insert_levels": _insert_levels, "patients": _patients, "questionnaires": _questionnaires,
}
