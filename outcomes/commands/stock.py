"""Inserts to have in the drawer for the months to come, level by level, with a range and how such forecasts fared."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import DataProblem, Misuse

SENTENCE = "inserts to have in the drawer for the months to come, level by level, with a range"


def options(one) -> None:
    """The store, how far ahead, and where the table goes."""
    arguments.store(one)
    one.add_argument("--months", type=float, help="how far ahead (default: the plan's months)")
    arguments.plan(one)
    one.add_argument("--out", type=Path, metavar="DIR|FILE.csv", help="folder for stock.csv, stock_past_years.csv and stock.html, a sheet to print, or one file for the forecast")


def run(options) -> int:
    """Say what to have, and write the tables where asked."""
    from outcomes.analyses import drawer, drawer_sheet
    from outcomes.plan import read_plan
    from outcomes.present import sheet, tables

    if options.months is not None and not 0.5 <= options.months <= 60:
        raise Misuse("--months takes a number from 0.5 to 60.")
    out, single = options.out, arguments.one_file(options.out, "the forecast is", ".csv")
    plan = read_plan(options.plan)
    with arguments.opened_log(options, plan) as (log, progress, _):
        with progress.step("Following every insert on"):
            found = drawer.stock(log, options.months, past=True)
    if found.why:
        taken = drawer.last_year(log)
        raise DataProblem(f"{found.why}{f' The last year took: {taken}.' if taken else ''}")
    for line in [*drawer.lines(found), *drawer.sentences(found, log)]:
        print(line)
    if out is not None:
        folder = out.parent if single else out
        written = [tables.write(found.rows, folder, out.stem if single else "stock")]
        written += [] if single else [tables.write(found.past, folder, "stock_past_years"), sheet.write(drawer_sheet.sheet(found, log), folder / "stock.html")]
        print(f"Wrote {', '.join(str(path) for path in written)}.")
    return 0
