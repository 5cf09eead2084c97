"""Who is due, as a list to print, a table and a calendar; and what another recall interval would do."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import DataProblem, Misuse
from outcomes.progress import Progress

SENTENCE = "who is due: recalls, reviews, questionnaires and parts nobody looked at, as a list, a table and a calendar"
ENDINGS = (".csv", ".ics", ".html")


def options(one) -> None:
    """The store, the day, and where the list goes."""
    arguments.store(one)
    one.add_argument("--plan", type=Path, help="the clinic's own plan (TOML)")
    one.add_argument("--on", metavar="DATE", help="the day the list is for: YYYY-MM-DD, or today (default: the last day of the log)")
    one.add_argument("--within", type=int, metavar="DAYS", help="how far ahead to look (default: the plan's within_days)")
    one.add_argument("--alarm", type=int, metavar="DAYS", help="let the calendar remind so many days before each event (default: no alarm)")
    one.add_argument("--out", type=Path, metavar="DIR|FILE", help="folder for due.csv, due.ics, due.html and recall_planning.csv, or one file ending in .csv, .ics or .html")


def run(options) -> int:
    """Say who is due, and write the list where asked."""
    from outcomes.analyses import due, due_list, recall_planning
    from outcomes.analyses.cohort import read_log
    from outcomes.store import open_store

    for name, most in (("within", 3650), ("alarm", 365)):
        given = getattr(options, name)
        if given is not None and not 0 <= given <= most:
            raise Misuse(f"--{name} takes a number of days from 0 to {most}.")
    if options.out is not None and options.out.suffix and options.out.suffix.lower() not in ENDINGS and not options.out.is_dir():
        raise Misuse(f"--out {options.out.name}: a list is written as {', '.join(ENDINGS)}, or name a folder for all three.")
    progress = Progress(quiet=options.quiet)
    plan = plan_on(options.plan, options.on)
    with open_store(options.store, read_only=True) as store:
        visits_of(store, options.store, plan)
        with progress.step("Deriving part histories"):
            log = read_log(store.connection, plan)
        with progress.step("Working out who is due"):
            found = due.due(log, options.within)
            planned = recall_planning.planning(log)
    now = plan["recall"]["interval_days"]
    for sentence in [*due_list.sentences(found, log), "What another recall interval would do:", *recall_planning.lines(planned, now), *recall_planning.sentences(planned, now)]:
        print(sentence)
    if options.out is not None:
        written = due_list.write_list(found, log, planned, options.out, alarm_days=options.alarm)
        print(f"Wrote {', '.join(str(path) for path in written)}." if written else "Nobody is due, so no calendar was written.")
    return 0


def plan_on(path: Path | None, day: str | None):
    """The plan, read as on ``day`` where one is given: nothing that came later in the log counts."""
    import datetime

    from outcomes.plan import Plan, read_plan

    plan = read_plan(path)
    if day is None:
        return plan
    try:
        asked = datetime.date.today() if day == "today" else datetime.date.fromisoformat(day)
    except ValueError:
        raise Misuse(f"--on takes a day as YYYY-MM-DD, or today, not {day}.") from None
    return Plan({**plan, "audit": {**plan["audit"], "closing_day": f"{asked:%Y-%m-%d}"}})


def visits_of(store, path: Path, plan) -> None:
    """Refuse a store without a visit, and a day before the first."""
    first, count = store.connection.execute("SELECT min(visited_on), count(*) FROM visits").fetchone()
    if not count:
        raise DataProblem(f"{Path(path).name} holds no visit, so nobody is known. Write the visits into the day sheet, one line for each denture seen, and run the command again.")
    closing = plan["audit"]["closing_day"]
    if closing and first is not None and closing < f"{first:%Y-%m-%d}":
        raise Misuse(f"On {closing} the log had not begun: its first visit is on {first:%Y-%m-%d}. Give a later day.")
