"""Which column of the log a column of an export may be: by its heading, and by its cells where somebody lets them be looked at."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections import Counter
from functools import cache

from outcomes import schemas
from outcomes.intake import date_forms, notations, positions, units
from outcomes.intake.headings import plain
from outcomes.intake.words import fold, meanings

ENOUGH = 0.6  # share of a column's different cells that must fit for its content to suggest a column
_SAME = {"patient_id": "patient", "visited_on": "date", "delivered_on": "date", "answered_on": "date"}
FORMS = ("YYYY-MM-DD", "DD.MM.YYYY", "D.M.YYYY", "DD/MM/YYYY", "D/M/YYYY", "MM/DD/YYYY", "M/D/YYYY", "DD-MM-YYYY", "YYYY/MM/DD", "YYYY.MM.DD", "YYYYMMDD", "DD.MM.YY", "DD/MM/YY", "MM/DD/YY",
         "DD.MM.YYYY hh:mm", "DD/MM/YYYY hh:mm", "YYYY-MM-DD hh:mm:ss", "YYYY-MM-DD hh:mm", "YYYY年M月D日", "DDMMYYYY", "DD MM YYYY", "YYYY. M. D.", "YYYY. M. D")


@cache
def _words() -> dict[str, list[str]]:
    return tomllib.loads((schemas.HERE / "heading_words.toml").read_text(encoding="utf-8"))


def by_heading(heading: str, table: schemas.Table, taken: set[str]) -> str | None:
    """The column of the table that the heading most likely means, among those not taken yet; None where it says nothing."""
    bare = _bare(heading)
    best, score = None, 0.0
    for column in table.columns:
        if column.name in taken:
            continue
        for word in (column.name, *column.words, *_words().get(_SAME.get(column.name, column.name), [])):
            one = _bare(word)
            alike = 1.0 if one == bare else 0.85 if len(one) >= 4 and (bare.startswith(one) or bare.endswith(one)) else difflib.SequenceMatcher(None, one, bare).ratio() - 0.1
            if alike > score:
                best, score = column.name, alike
    return best if score >= 0.72 else None


def _bare(text: str) -> str:
    return re.sub(r"[\W_]+", "", plain(text))


def by_content(cells: Counter, table: schemas.Table, taken: set[str]) -> str | None:
    """The column of the table whose form the cells have, among those not taken yet; None where they have none of its own."""
    free = [column for column in table.columns if column.name not in taken]
    values = list(cells)[:500]
    if not values:
        return None
    fits = []
    for column in free:
        share = sum(_fits(value, column) for value in values) / len(values)
        if column.type in ("code", "date", "position", "positions") and share >= ENOUGH:
            fits.append((share, column.type == "code", column.required, column.name))
    if fits:
        return max(fits, key=lambda one: one[:3])[3]
    people = next((column.name for column in free if column.name in ("patient", "patient_id")), None)
    codes = sum(bool(re.fullmatch(r"[A-Za-z]{0,4}[-_ ]?\d{1,8}", value)) for value in values)
    return people if people and codes >= 0.9 * len(values) and len(values) > 3 else None


def _fits(value: str, column: schemas.Column) -> bool:
    if column.type == "code":
        return fold(value) in meanings(column.codes)
    if column.type == "date":
        return bool(re.search(r"\d", value)) and any(form_fits(value, form) for form in FORMS)
    try:
        positions.parse(value) if column.type == "position" else positions.parse_list(re.sub(r"[/|]", " ", value))
        return True
    except ValueError:
        return False


def form_fits(value: str, form: str) -> bool:
    """Whether a text is a date in this form."""
    try:
        date_forms.read(value, form)
        return not re.fullmatch(r"\d{4}(-\d\d)?|not known", value, re.IGNORECASE) or form == "YYYY-MM-DD"
    except ValueError:
        return False


def date_forms_of(cells: Counter) -> list[str]:
    """The forms in which every date of a column can be read, the likelier first; those that read each cell the same way are named once."""
    values = [value for value in cells if not re.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?|not known", value, re.IGNORECASE)]
    if not values:
        return []
    found: dict[tuple, str] = {}
    for form in FORMS:
        try:
            found.setdefault(tuple(date_forms.read(value, form) for value in values), form)
        except ValueError:
            continue
    return list(found.values())


def unit_in(heading: str, unit: str) -> str | None:
    """A unit that a heading states, as in ``Duration (h)``, among those a column of ``unit`` may be given in."""
    for inside in re.findall(r"[(\[]\s*([^)\]]+?)\s*[)\]]", heading) + heading.split()[-1:]:
        known = units.known_unit(inside, unit)
        if known:
            return known
    return None


def numbering_of(cells: Counter) -> str | None:
    """The notation that a column of sites is written in: ISO 3950 or Universal; None where it is neither."""
    tokens = [token for value in cells for token in re.split(r"[\s,;/+]+", value) if any(letter.isdigit() for letter in token)]  # words are asked for apart
    if tokens and all(re.fullmatch(r"\d{1,2}", token) for token in tokens):
        if positions.looks_universal([(value, None, count) for value, count in cells.items()]):
            return notations.UNIVERSAL
        if all(token in positions.SITES for token in tokens):
            return notations.ISO
    return None


def code_for(word: str, column: schemas.Column) -> str | None:
    """The code that a word of theirs most likely means; None where none is near."""
    near = difflib.get_close_matches(fold(word), [fold(code) for code in column.code_list], n=1, cutoff=0.6)
    return next((code for code in column.code_list if near and fold(code) == near[0]), None)

