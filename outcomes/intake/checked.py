"""The check of a clinic's files: one pass that reads, types, expands, and lists every problem with its cell and what to do."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.intake import aside, day_sheet, declared, delimited, keys, levels, lines, mapped, numbering, repeats, rules, sites, wide, workbook
from outcomes.intake.decisions import decide
from outcomes.intake.log import PROVENANCE, Log, blank, stacked, traced
from outcomes.intake.problems import Problems, grouped
from outcomes.intake.source import Options, Reading, Source, open_file
from outcomes.intake.staged import Staged
from outcomes.intake.stored import Held
from outcomes.intake.tidy import tidy
from outcomes.intake.typed import typed
from outcomes.intake.words import visible

RANGE_WORDS = {"needed": "a needed cell is blank", "too small": "lies below what is possible", "too large": "lies above what is possible",
               "too early": "is too early to be a day of this log"}


@dataclass(frozen=True)
class Checked:
    """The outcome of a check.

    ``tables``: good rows of each stored table, in declared columns, with ``_file`` (place in ``sources``), ``_sheet`` and ``_line``.
    ``problems``: one row each with severity (error, warning), rule, table, file, sheet, cell, line, column, value, message, remedy;
    table and column are those in which the cell was written, also where the rule speaks of a row made from it.
    ``set_aside``: rows of each table kept out, those that rest on a row with an error included. ``lines``: lines of the files as
    they were typed, one of which may make several rows, and ``lines_aside``: those of which a row is kept out. ``refused``: files
    kept out whole; with one, no row is good. ``decisions``: sentences on encoding, separator, decimal mark and date order.
    """

    tables: dict[str, pd.DataFrame] = field(repr=False)
    problems: pd.DataFrame = field(repr=False)
    sources: list[Source]
    decisions: list[str]
    set_aside: dict[str, int] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    sentences: dict[str, str] = field(default_factory=dict, repr=False)
    paths: list[Path] = field(default_factory=list, repr=False)
    options: Options = Options()
    lines: int = 0
    lines_aside: int = 0

    @property
    def error_count(self) -> int:
        """Number of problems that keep rows out."""
        return int((self.problems["severity"] == "error").sum())

    @property
    def warning_count(self) -> int:
        """Number of problems that let their row in."""
        return int((self.problems["severity"] == "warning").sum())


def check(paths, *, options: Options = Options(), store=None, today: date | None = None) -> Checked:
    """Read the files and list every problem in one pass; nothing is changed anywhere.

    ``paths``: workbooks and CSV files that belong together. ``store``: an open store whose rows the new ones may refer to.
    ``today``: the day after which dates lie in the future (default: the computer's). Raises Misuse, with every such file
    named, where a file cannot be opened or is neither a workbook nor a table. All else is among the problems.
    """
    paths = [Path(path) for path in ([paths] if isinstance(paths, (str, Path)) else paths)]
    readings, kept = read_all(paths, options)
    numbering.refuse_universal(readings)
    log, problems = Log(files=[reading.name for reading in readings]), Problems()
    _type(readings, log, problems, options)
    held = Held(store, log)
    levels.fold_levels(log, held)
    _declared(log, problems)
    arranged = _expand(log, held, problems)
    for name in schemas.stored_tables():
        log.frames.setdefault(name, blank(schemas.tables()[name]))
    keys.fill_visits(log.frames["visits"], problems)
    keys.fill_dentures(log.frames["dentures"], held.frame("dentures") if held.tables else None)
    _empty(readings, log)
    if not any(map(len, log.frames.values())):  # no row to hold a rule against
        return _outcome(readings, kept, log, problems, aside.from_problems(log, problems), {}, options)
    staged = Staged(log, held.tables, today or date.today())
    try:
        bad = _across(staged, log, held, problems, arranged)
        doubles = {name: staged.dropped(name) for name in schemas.stored_tables()}
    finally:
        staged.close()
    return _outcome(readings, kept, log, problems, bad, doubles, options)


def summary(checked: Checked) -> list[str]:
    """What a person reads first: the ten most useful lines, then what happens to the rest of the rows."""
    lines = grouped(checked.problems, checked.sentences)
    errors, warned = checked.error_count, checked.warning_count
    good = checked.lines - checked.lines_aside
    if checked.refused:
        lines.append(f"{', '.join(checked.refused)} cannot be used as it is; nothing will be loaded.")
    elif errors:
        lines.append(f"{errors:,} error{'s' if errors > 1 else ''} and {warned:,} warning{'s' if warned != 1 else ''}. Of {_typed(checked.lines)} "
                     f"{checked.lines_aside:,} would be set aside, those that rest on a line with an error included; {good:,} {'is' if good == 1 else 'are'} good.")
    elif warned:
        lines.append(f"No errors; {warned:,} warning{'s' if warned > 1 else ''}. {_all_good(checked.lines)}")
    else:
        lines.append(f"No problems found. {_all_good(checked.lines)}")
    return lines


def _typed(lines: int) -> str:
    return f"{lines:,} line{'s' if lines != 1 else ''}"


def _all_good(lines: int) -> str:
    return "The one line is good." if lines == 1 else f"All {_typed(lines)} are good."


def read_all(paths: list[Path], options: Options) -> tuple[list[Reading], list[Path]]:
    """Each file read once, as the mapping meant for it says, beside the paths kept: the same file twice is one.

    Raises Misuse with a line for every file that cannot be read, or where a mapping is for none of them.
    """
    if not paths:
        raise Misuse("No file was given. Name the clinic's workbook or its CSV files.")
    readings, kept, refusals, seen = [], [], [], {}
    for path in paths:
        try:
            reading = open_file(path, len(readings))
            if reading.sha256 in seen:
                seen[reading.sha256].decisions.append(f"{reading.name} is the same file as {seen[reading.sha256].name} and was read once.")
                continue
            reading.mapping = next((one for one in options.mappings if one.meant_for(reading.name)), None)
            asked = reading.mapping.options(options) if reading.mapping else options
            (workbook if reading.kind == "workbook" else delimited).read(reading, asked)
        except Misuse as refusal:
            refusals.append(str(refusal))
            continue
        reading.sheets[:] = [tidy(reading, sheet) for sheet in reading.sheets]
        if reading.mapping:
            mapped.apply(reading, options)
        seen[reading.sha256] = reading
        readings.append(reading)
        kept.append(path)
    idle = [mapping.name for mapping in options.mappings if not any(reading.mapping is mapping for reading in readings)]
    if idle and not refusals:
        refusals.append(f"The mapping {', '.join(idle)} is for none of the files given. Compare name in its section [file] with the files' names.")
    if refusals:
        raise Misuse("\n".join(refusals))
    return readings, kept


def declared_table(name: str) -> schemas.Table:
    """The declared table of that name, or the wide form of an instrument."""
    return schemas.tables().get(name) or wide.table(name)


def _type(readings: list[Reading], log: Log, problems: Problems, options: Options) -> None:
    """Typed frames of every sheet into the log, with the faults of their cells."""
    pieces: dict[str, list[pd.DataFrame]] = {}
    for reading in readings:
        tables = {sheet.table: declared_table(sheet.table) for sheet in reading.sheets}
        choices = decide(reading, tables, reading.mapping.options(options) if reading.mapping else options)
        refused = reading.refused
        for sheet in reading.sheets:
            frame, faults = typed(sheet, tables[sheet.table], choices)
            if refused:
                _keep_faults(reading, sheet, faults)
                continue
            start = sum(len(piece) for piece in pieces.get(sheet.table, []))
            pieces.setdefault(sheet.table, []).append(traced(frame, sheet.table, sheet, start))
            log.sheets.setdefault(sheet.table, []).append(sheet)
            for fault in faults:
                problems.add("error", fault.rule, sheet.table, fault.rows + start, fault.column, fault.message, fault.remedy)
        if refused:
            named = {fault.get("table") for fault in reading.faults if fault.get("refuses")} | set(tables)
            log.refused |= _concerned({name for name in named if name}) or set(schemas.tables())
    log.frames = {name: stacked(frames) for name, frames in pieces.items()}


def _concerned(tables: set[str]) -> set[str]:
    """Tables of which something is missing where these are: the day sheet and the set-up make rows of five others."""
    made = {"visits", "parts_log", "denture_log", "dentures", "implants"} if tables & {"day_sheet", "set_up"} else set()
    return {name if name in schemas.tables() else "questionnaires" for name in tables} | made


def _keep_faults(reading: Reading, sheet, faults) -> None:
    """Faults of cells in a file that is refused anyway: still listed, but for those that the refusal itself explains."""
    from outcomes.intake.headings import letter

    for fault in faults:
        if fault.rule not in ("date order", "number not readable", "position not known"):
            for row in fault.rows[:200]:
                line = int(sheet.lines[row])
                reading.fault(fault.rule, fault.message, fault.remedy, sheet=sheet.name, table=sheet.table, line=line, column=fault.column,
                              cell=f"{letter(sheet.places[fault.column])}{line}" if fault.column in sheet.places else "", value=fault.value)


def _declared(log: Log, problems: Problems) -> None:
    """Needed cells and ranges, by the pandera schema of each table; wide questionnaires join the long ones on the way."""
    for name in [name for name in log.frames if name not in schemas.tables()]:
        sound = np.setdiff1d(np.arange(log.rows(name)), problems.error_rows(name))  # a line with an error waits whole
        long = wide.lengthened(log.frames[name].iloc[sound], name)
        there = log.frames.get("questionnaires")
        log.frames["questionnaires"] = long if there is None else stacked([there, long])
    for name, frame in [(name, frame) for name, frame in log.frames.items() if name in schemas.tables()]:
        known = problems.cells(name)
        for severity, plausible in (("error", False), ("warning", True)):
            found = declared.breaches(name, frame, plausible=plausible)
            new = [(row, column) not in known for row, column in zip(found["row"], found["column"])]
            found = found[np.array(new, dtype=bool)] if len(found) else found
            known |= set(zip(found["row"], found["column"]))
            for (column, word), part in found.groupby(["column", "check"], sort=False):
                message, remedy = _words(schemas.tables()[name].column(column), word, plausible)
                problems.add(severity, "outside the usual range" if plausible else word, name, part["row"], column, message, remedy)


def _words(column: schemas.Column, word: str, plausible: bool) -> tuple[str, str]:
    unit = f" {column.unit}" if column.unit else ""
    if plausible:
        low, high = column.plausible
        return f"{column.name} lies outside the usual {low:g} to {high:g}{unit}", "Check the figure and its unit; a right one needs no change."
    if word == "needed":
        return f"{column.name} is blank", f"Write {column.meaning}" + (f", for example {column.example}." if column.example else ".")
    if word == "too early":
        return f"{column.name} {RANGE_WORDS[word]}", "Correct the year. A bare year in a cell formatted as a date turns into a day in 1905: format the cell as text."
    return f"{column.name} {RANGE_WORDS[word]}", f"It must lie between {column.minimum:g} and {column.maximum:g}{unit}." if column.maximum is not None else "Correct the figure."


def _expand(log: Log, held: Held, problems: Problems):
    """Long rows from day sheet and set-up, added after those written as such; returns what the rules need to see of the lines."""
    if not ({"day_sheet", "set_up"} & set(log.frames)):
        return None
    for name in ("day_sheet", "set_up", "dentures", "implants"):
        log.frames.setdefault(name, blank(schemas.tables()[name]))
    once = {name: repeats.once(log.frames[name], name, problems) for name in ("day_sheet", "set_up")}
    given = {name: _given(log.frames[name], held.written(name), *key) for name, key in {"dentures": ("patient_id", "arch"), "implants": ("patient_id", "position")}.items()}
    arranged = sites.arrange(once["day_sheet"], once["set_up"], given["dentures"], given["implants"], held.sites(), held.dentures())
    made = day_sheet.expand(log, arranged, {"dentures": held.made("dentures"), "implants": held.frame("implants")})
    held.forget("dentures", arranged.restated)
    for name, frame in made.items():
        written = log.frames.get(name)
        log.frames[name] = frame if written is None else stacked([written, frame])
    return lines.views(arranged, once["day_sheet"], once["set_up"], made["parts_log"])


def _given(frame: pd.DataFrame, held: pd.DataFrame, *key: str) -> pd.DataFrame:
    """Rows of a table as written in the files, and those typed into it before of which the files say nothing."""
    names = list(held.columns)
    plain = frame[names].astype({name: object for name in names if not name.endswith("_on")})
    here = pd.MultiIndex.from_frame(plain[list(key)])
    older = held[~pd.MultiIndex.from_frame(held[list(key)]).isin(here)]
    return pd.concat([plain, older.set_axis(range(-len(older), 0))]) if len(older) else plain


def _empty(readings: list[Reading], log: Log) -> None:
    if not any(len(frame) for frame in log.frames.values()) and not any(reading.refused for reading in readings):
        for reading in readings[:1]:
            reading.fault("empty", "there is no row in any table", "Fill in the log first: one line for each denture seen.", refuses=True)
        return
    for reading in readings:
        if reading.mapping and not reading.refused and not any(len(sheet.lines) for sheet in reading.sheets):
            reading.fault("empty", "no row of it is taken", "Look whether the export was cut off or filtered, and whether the mapping takes rows with other words.", severity="warning")


def _across(staged: Staged, log: Log, held: Held, problems: Problems, arranged) -> dict[str, np.ndarray]:
    """Denture ids left out, doubles, rules across tables; returns which rows stay out."""
    for name, frame in (arranged or lines.nothing()).items():
        staged.stage_written(name, frame)
    staged.prepare("staged.sql")
    staged.find_dentures()
    repeats.take_once(staged, log, problems)
    staged.prepare("staged.sql", "looks.sql")
    rules.run(staged, log, problems)
    bad = aside.from_problems(log, problems)
    if not any(rows.any() for rows in bad.values()):
        return bad
    aside.spread(log, held, bad)
    for _ in range(5):  # rows taken out may leave others without sense; a few rounds settle that
        staged.leave_out(bad)
        found = {table: places[~bad[table][places]] for table, places in rules.errors(staged, log).items() if table in bad}
        if not any(len(places) for places in found.values()):
            break
        for table, places in found.items():
            bad[table][places] = True
        aside.spread(log, held, bad)
    return bad


def _never_expanded(log: Log, problems: Problems, left: list[pd.DataFrame]) -> dict[str, int]:
    """Lines of the day sheet and of the set-up with an error of which no row was made, so that none of theirs is counted yet."""
    counted = set(pd.concat(left).itertuples(index=False, name=None)) if left else set()
    found = {}
    for name in ("day_sheet", "set_up"):
        if name in log.frames:
            lines = set(log.frames[name].iloc[problems.error_rows(name)][PROVENANCE].itertuples(index=False, name=None)) - counted
            found |= {name: len(lines)} if lines else {}
    return found


def _outcome(readings: list[Reading], paths: list[Path], log: Log, problems: Problems, bad: dict[str, np.ndarray], doubles: dict[str, np.ndarray], options: Options) -> Checked:
    refused = [reading.name for reading in readings if reading.refused]
    tables, set_aside, left = {}, {}, []
    for name, table in schemas.stored_tables().items():
        columns = [column for column, _ in table.stored_columns] + PROVENANCE
        keep = np.zeros(log.rows(name), dtype=bool) if refused else ~(bad[name] | doubles.get(name, False))
        frame = log.frames[name][columns]
        tables[name] = frame if keep.all() else frame[keep].reset_index(drop=True)
        if not keep.all():
            set_aside[name] = int((~keep).sum())
            left.append(frame[~keep][PROVENANCE])
    if not refused:
        set_aside |= _never_expanded(log, problems, left)
    sources = [Source(reading.name, reading.sha256, reading.kind, tuple(map(visible, reading.decisions)), sum(len(sheet.lines) for sheet in reading.sheets)) for reading in readings]
    found = problems.frame(log, readings)
    typed_lines, kept_out = aside.lines(readings, log, bad, found)
    return Checked(tables, found, sources, [visible(one) for reading in readings for one in reading.decisions],
                   set_aside, refused, problems.sentences, paths, options, typed_lines, kept_out)
