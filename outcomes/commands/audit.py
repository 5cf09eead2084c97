"""Check, load and report in one go."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments, check, load, report
from outcomes.progress import Progress

SENTENCE = "check, load and report in one go"


def options(one) -> None:
    """The files, the store, the report's folder and the plan."""
    arguments.files(one)
    arguments.store(one)
    one.add_argument("--out", type=Path, default=Path("audit_report"), help="folder to write (default: audit_report)")
    arguments.plan(one)
    arguments.loading(one)


def run(options) -> int:
    """The clinic's whole year in one command."""
    from outcomes.plan import read_plan

    progress = Progress(quiet=options.quiet)
    plan = read_plan(options.plan)
    checked = check.read(options, progress)
    load.add(checked, options, progress)
    return report.write(["clinic_audit"], options.store, options.out, plan, progress)
