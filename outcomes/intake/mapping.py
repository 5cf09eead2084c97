"""A mapping: which columns of a practice's own export are taken, and what becomes of each. Read from TOML, every key checked."""

from __future__ import annotations

import difflib
import fnmatch
import hashlib
import tomllib
from dataclasses import dataclass, field, replace
from pathlib import Path

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.intake import date_forms, notations, privacy, units
from outcomes.intake.headings import exact, table_of
from outcomes.intake.source import Options

VERSION = 1
TOGETHER = ("same", "join", "sum", "first")
FILE_KEYS = {"name": str, "sheet": str, "date_form": str, "months": list, "years_ahead": int, "numbering": (str, dict), "date_order": str, "decimal": str, "separator": str, "encoding": str, "key_fingerprint": str}
ROW_KEYS = {"only": dict, "together": bool, "sheet": str}
COLUMN_KEYS = {"from": (str, list), "always": str, "split": str, "part": int, "each": str, "between": str, "values": dict, "other": str, "unit": str, "date_form": str, "months": list,
               "years_ahead": int, "keep": str, "numbering": (str, dict), "write": (str, list), "join": str, "when": dict, "together": str, "pseudonymise": bool}
_LISTS = ("positions", "levels", "phrases")


@dataclass(frozen=True)
class Taken:
    """What becomes of one column of the log: the file's columns it is made from, or the word that stands in every row, and the steps between."""

    target: schemas.Column
    sources: tuple[str, ...] = ()
    always: str | None = None
    split: str | None = None
    part: int | None = None
    each: str | None = None
    between: str | None = None
    values: dict[str, str] = field(default_factory=dict)
    other: str | None = None
    unit: str | None = None
    date_form: str | None = None
    months: tuple[str, ...] = ()
    years_ahead: int = 0
    keep: str = "day"
    numbering: str | dict | None = None
    write: tuple[str, ...] = ()
    join: str = " "
    when: dict[str, tuple[str, ...]] = field(default_factory=dict)
    together: str = "same"
    pseudonymise: bool = False

    @property
    def unit_of_log(self) -> str | None:
        """The unit in which the log keeps the column; forces of insert levels are brought to newtons."""
        return "N" if self.target.name == "retention" else self.target.unit


@dataclass(frozen=True)
class TableTaken:
    """One table of the log: its columns, the rows taken (words of other columns that say so), and whether several rows make one."""

    table: schemas.Table
    columns: tuple[Taken, ...]
    only: dict[str, tuple[str, ...]] = field(default_factory=dict)
    together: bool = False
    sheet: str | None = None


@dataclass(frozen=True)
class Mapping:
    """A mapping as read: ``name`` of its file, SHA-256 of its text, the file names it is for, how its files are read, and its tables."""

    name: str
    sha256: str
    tables: tuple[TableTaken, ...]
    pattern: str | None = None
    settings: dict = field(default_factory=dict)
    key: object = None  # outcomes.intake.pseudonyms.Key, where a column is pseudonymised

    def meant_for(self, file: str) -> bool:
        """Whether a file of this name is read through the mapping: by its ``name``, else every file not named after a table of the log."""
        if self.pattern is not None:
            return fnmatch.fnmatchcase(file.casefold(), self.pattern.casefold())
        return file.lower().endswith(".xlsx") or table_of(file.rsplit(".", 1)[0], inside=True) is None

    def options(self, given: Options) -> Options:
        """How its files are read: what the run asks for, else what the mapping says."""
        own = {name: self.settings.get(name) for name in ("date_order", "decimal", "separator", "encoding")}
        return replace(given, **{name: value for name, value in own.items() if value is not None and getattr(given, name) is None})

    @property
    def pseudonymises(self) -> bool:
        """Whether a column is turned into pseudonyms, for which a key is needed."""
        return any(taken.pseudonymise for part in self.tables for taken in part.columns)

    def headings(self, sheet: str | None = None) -> list[str]:
        """The headings taken, each once, as the mapping writes them; of one sheet where it is named."""
        found: dict[str, str] = {}
        for part in self.tables:
            if sheet is None or (part.sheet or self.settings.get("sheet")) in (None, sheet):
                names = [*part.only, *(name for taken in part.columns for name in (*taken.sources, *taken.when))]
                for name in names:
                    found.setdefault(exact(name), name)
        return list(found.values())

    def written(self, sheet: str | None = None) -> schemas.Table:
        """The columns taken as a table, for the readers of files: each is kept as it is written."""
        kinds: dict[str, str] = {}
        for part in self.tables:
            for taken in part.columns:
                for name in taken.sources:
                    kind = taken.target.type if taken.target.type in ("date", "number", "whole") else "text"
                    kinds[exact(name)] = kind if kinds.setdefault(exact(name), kind) == kind else "text"
        columns = tuple(schemas.Column(name, kinds.get(exact(name), "text"), "a column of the practice's own export", required=True) for name in self.headings(sheet))
        return schemas.Table(f"columns taken by {self.name}", "the export", "one row of the export", "columns that a mapping takes", (), columns, door="mapped")

    def sheets(self, reading, titles: list[str]) -> list[tuple[str, schemas.Table]]:
        """Which sheets of a workbook are read, with the columns taken from each; a sheet that is missing is a fault of the file."""
        wanted = list(dict.fromkeys(part.sheet or self.settings.get("sheet") for part in self.tables))
        if wanted == [None]:
            return [(titles[0], self.written(None))]
        missing = [one for one in wanted if one not in titles]
        if missing:
            reading.fault("sheet not known", f"the mapping {self.name} takes the sheet {', '.join(one or 'without a name' for one in missing)}, which {reading.name} does not have",
                          "Write the sheet's name in the mapping just as it stands in the workbook.", refuses=True)
            return []
        return [(one, self.written(one)) for one in wanted]


def read_mapping(path: str | Path, *, key=None) -> Mapping:
    """The mapping in a TOML file. ``key``: the key of pseudonyms, where a column asks for it.

    Raises Misuse, with the place and what to do, where the file cannot be read, has a key that means nothing, or asks for what cannot be done.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError:
        raise Misuse(f"The mapping {path.name} cannot be read. Check the name and that the file is there.") from None
    try:
        body = tomllib.loads(data.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise Misuse(f"The mapping {path.name} is no valid TOML: {problem}. Mend that line.") from None
    return from_body(body, path.name, hashlib.sha256(data).hexdigest(), key=key)


def from_body(body: dict, name: str, sha256: str = "", *, key=None) -> Mapping:
    """A mapping from what its TOML says; raises Misuse as ``read_mapping`` does."""
    ask = _Asker(name)
    body = dict(body)
    version = body.pop("mapping", None)
    if version is None:
        raise Misuse(f"{name} does not say that it is a mapping. Write mapping = {VERSION} in its first line.")
    if version != VERSION:
        raise Misuse(f"{name} is a mapping of version {version}; this program reads version {VERSION}. " + ("Use a newer program." if isinstance(version, int) and version > VERSION else f"Write mapping = {VERSION}."))
    settings = ask.section(body.pop("file", {}), FILE_KEYS, "[file]")
    _check_settings(ask, settings, "[file]")
    tables = []
    for table_name, section in body.items():
        table = _table(ask, table_name)
        if not isinstance(section, dict):
            ask.refuse(f"{table_name} is a table of the log", f"Write [{table_name}] and its columns below it.")
        tables.append(_table_taken(ask, table, section, settings))
    if not tables:
        ask.refuse("it takes no column", "Name at least one table, such as [day_sheet], and below it the columns it is made from.")
    mapping = Mapping(name, sha256, tuple(tables), settings.get("name"), settings, key)
    if mapping.pseudonymises and key is None:
        ask.refuse("it turns a column into pseudonyms, for which a key is needed", "Give the key's file with --key; outcomes pseudonymise makes one.")
    if key is not None and settings.get("key_fingerprint", key.fingerprint) != key.fingerprint:
        ask.refuse(f"its pseudonyms were made with the key {settings['key_fingerprint']}, and the key given is {key.fingerprint}", "Give the key used before; another key would make everybody a new person.")
    return mapping


class _Asker:
    """Checks of what a mapping says, each refusal with the mapping's name, the place and what to do."""

    def __init__(self, name: str):
        self.name = name

    def refuse(self, what: str, remedy: str) -> None:
        raise Misuse(f"The mapping {self.name}: {what}. {remedy}")

    def known(self, word: str, allowed, what: str) -> None:
        if word not in allowed:
            near = difflib.get_close_matches(word, list(allowed), n=1, cutoff=0.5)
            self.refuse(f"{word} is no {what}", f"Did you mean {near[0]}?" if near else f"Known are: {', '.join(allowed)}.")

    def section(self, body, keys: dict, place: str) -> dict:
        if not isinstance(body, dict):
            self.refuse(f"{place} is a section", "Write its name in square brackets and its settings below it.")
        for word, value in body.items():
            self.known(word, keys, f"setting of {place}")
            kind = keys[word]
            wanted = kind if isinstance(kind, tuple) else (kind,)
            if isinstance(value, bool) and bool not in wanted or not isinstance(value, wanted):
                words = {str: "text in quotation marks", list: "a list in square brackets", dict: "pairs in braces", int: "a whole number", bool: "true or false"}
                self.refuse(f"{word} in {place} is of the wrong kind", f"Write {' or '.join(words[one] for one in wanted)}.")
        return dict(body)


def _table(ask: _Asker, name: str) -> schemas.Table:
    from outcomes.intake import wide

    if name in schemas.instruments() and name not in schemas.tables():
        return wide.table(name)
    ask.known(name, [*schemas.tables(), *schemas.instruments()], "table of the log")
    return schemas.tables()[name]


def _table_taken(ask: _Asker, table: schemas.Table, section: dict, settings: dict) -> TableTaken:
    place = f"[{table.name}]"
    rows = ask.section(section.get("rows", {}), ROW_KEYS, f"[{table.name}.rows]")
    columns = []
    for name, body in section.items():
        if name != "rows":
            ask.known(name, [column.name for column in table.columns], f"column of {place}")
            columns.append(_taken(ask, table.column(name), {"from": body} if isinstance(body, (str, list)) else body, f"[{table.name}.{name}]", settings))
    if not columns:
        ask.refuse(f"{place} takes no column", "Name the columns it is made from, or leave it out.")
    if sum(bool(one.each) for one in columns) and rows.get("together"):
        ask.refuse(f"{place} both makes several rows of one (each) and one of several (together)", "Take one of the two.")
    lacking = [column.name for column in table.columns if column.required and column.name not in section and not (column.name == "visit_id" and table.name != "visits")]
    if lacking:
        ask.refuse(f"{place} lacks {', '.join(lacking)}, without which no row can be used", 'Say which column of the export holds it, or what it always is: { always = "…" }.')
    return TableTaken(table, tuple(columns), {name: _words(ask, one, f"only in [{table.name}.rows]") for name, one in rows.get("only", {}).items()}, rows.get("together", False), rows.get("sheet"))


def _words(ask: _Asker, value, place: str) -> tuple[str, ...]:
    given = [value] if isinstance(value, str) else value
    if not isinstance(given, list) or not given or not all(isinstance(one, str) for one in given):
        ask.refuse(f"{place} is of the wrong kind", 'Write the heading and the words that count, as in { "Service" = ["insert changed"] }.')
    return tuple(given)


def _taken(ask: _Asker, column: schemas.Column, body, place: str, settings: dict) -> Taken:
    body = ask.section(body, COLUMN_KEYS, place)
    if ("from" in body) == ("always" in body):
        ask.refuse(f"{place} needs one of from (a heading of the export) and always (the same word in every row)", "Write one of the two.")
    sources = [body["from"]] if isinstance(body.get("from"), str) else body.get("from", [])
    if "from" in body and not (sources and all(isinstance(one, str) and one.strip() for one in sources)):
        ask.refuse(f"from in {place} names no heading", "Write the heading just as it stands in the export.")
    for name in sources:
        reason = privacy.heading(name)
        year_only = column.name == "birth_year" and body.get("keep") == "year" and reason == "a date of birth"
        if reason and not body.get("pseudonymise") and not year_only:
            ask.refuse(f"{place} takes a column whose heading looks like {reason}", "Leave the column out; a patient's name or number may be taken with pseudonymise = true, a birth date as birth_year with keep = \"year\".")
    write = [body["write"]] * max(len(sources), 1) if isinstance(body.get("write"), str) else body.get("write", [])
    if write and len(write) != len(sources):
        ask.refuse(f"write in {place} has {len(write)} texts for {len(sources)} columns", "Write one for all, or one for each column of from.")
    if ("split" in body) != ("part" in body) or body.get("part") == 0:
        ask.refuse(f"split and part in {place} go together", 'Write for example split = " " and part = 2 to take what stands after the blank.')
    for key, kinds in (("each", None), ("between", _LISTS), ("unit", ("number", "whole")), ("keep", ("date", "whole")), ("numbering", ("position", *_LISTS)), ("date_form", ("date", "whole", "text"))):
        if key in body and kinds and column.type not in kinds:
            ask.refuse(f"{key} in {place} does not fit {column.name}, which is no {' or '.join(kinds)}", "Leave it out.")
    if body.get("pseudonymise") and column.name not in ("patient", "patient_id", "clinician"):
        ask.refuse(f"pseudonymise in {place} is for a column that names a person", "Leave it out.")
    _check_settings(ask, body, place)
    meanings = {str(theirs): str(ours) for theirs, ours in body.get("values", {}).items()}
    if not all(isinstance(ours, (str, int)) for ours in body.get("values", {}).values()):
        ask.refuse(f"values in {place} is of the wrong kind", 'Write their word and ours, as in { "their word" = "recall" }.')
    if column.type == "code":
        for ours in [*meanings.values(), *(one for one in write if "{}" not in one), *([body["other"]] if "other" in body else []), *([body["always"]] if "always" in body else [])]:
            if ours and ours not in column.code_list:
                ask.known(ours, column.code_list, f"word for {column.name} ({place})")
    unit = None
    if "unit" in body:
        of_log = "N" if column.name == "retention" else column.unit
        unit = units.known_unit(body["unit"], of_log) if of_log in units.UNITS else None
        if unit is None:
            can = units.units_for(of_log)
            ask.refuse(f"the unit in {place} cannot be brought to the log's", f"Known are: {', '.join(can)}." if can else f"{column.name} has no unit; leave it out.")
    return Taken(column, tuple(sources), body.get("always"), body.get("split"), body.get("part"), body.get("each"), body.get("between"), meanings, body.get("other"), unit,
                 body.get("date_form", settings.get("date_form")), tuple(body.get("months", settings.get("months", ()))), body.get("years_ahead", settings.get("years_ahead", 0)),
                 body.get("keep", "day"), body.get("numbering", settings.get("numbering")), tuple(write), body.get("join", "; " if column.type == "phrases" else " "),
                 {name: _words(ask, one, f"when in {place}") for name, one in body.get("when", {}).items()}, body.get("together", "join" if column.type in _LISTS else "same"),
                 body.get("pseudonymise", False))


def _check_settings(ask: _Asker, body: dict, place: str) -> None:
    if "date_form" in body and (wrong := date_forms.faulty(body["date_form"], body.get("months"))):
        ask.refuse(f"date_form in {place}: {wrong}", "Write for example DD.MM.YYYY.")
    if "numbering" in body and (wrong := notations.faulty(body["numbering"])):
        ask.refuse(f"numbering in {place}: {wrong}", 'Write for example { upper_right = "UR#", upper_left = "UL#", lower_left = "LL#", lower_right = "LR#" }.')
    for key, allowed in (("keep", date_forms.KEEP), ("together", TOGETHER), ("date_order", ("day first", "month first")), ("decimal", (",", ".")), ("separator", (",", ";", "\t"))):
        if isinstance(body.get(key), str) and body[key] not in allowed:
            ask.refuse(f"{key} in {place} is none of {', '.join(repr(one) for one in allowed)}", "Write one of them.")
