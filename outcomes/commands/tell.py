"""Sentences for talking to a patient, from this clinic's own past patients."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import DataProblem, Misuse

SENTENCE = "sentences for talking to a patient: what happened to this clinic's past patients, as counts of ten people"


def options(one) -> None:
    """The store, how far ahead, and where the leaflet goes."""
    arguments.store(one)
    one.add_argument("--years", type=float, help="so far ahead, and nothing for a shorter time (default: the plan's years, or the longest shorter that enough patients were followed for)")
    arguments.plan(one)
    one.add_argument("--out", type=Path, metavar="DIR|FILE.html", help="folder for tell.html (one A4 side for the chair) and tell.csv, or the leaflet's file")


def run(options) -> int:
    """Say the sentences, and write the leaflet where asked. Exit status 1 where nothing may be said."""
    from outcomes.analyses import tell
    from outcomes.plan import read_plan
    from outcomes.present import sheet, tables

    if options.years is not None and not 0.25 <= options.years <= 20:
        raise Misuse("--years takes a number from 0.25 (three months) to 20.")
    out, single = options.out, arguments.one_file(options.out, "the leaflet is", ".html")
    plan = read_plan(options.plan)
    with arguments.opened_log(options, plan) as (log, progress, _):
        with progress.step("Counting people"):
            told = tell.tell(log, options.years)
    if not any(one.sentences for one in told):
        raise DataProblem("Nothing may be told to a patient from this log yet:\n" + "\n".join(f"  {one.topic}: {one.refused}." for one in told))
    for line in tell.lines(told):
        print(line)
    if out is not None:
        folder = out.parent if single else out
        folder.mkdir(parents=True, exist_ok=True)
        written = [sheet.write(tell.sheet(told), out if single else out / "tell.html")]
        written += [] if single else [tables.write(tell.table(told), folder, "tell")]
        print(f"Wrote {', '.join(str(path) for path in written)}.")
    return 0
