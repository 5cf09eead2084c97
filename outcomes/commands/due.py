"""Who is due, as a list to print, a table and a calendar; and what another recall interval would do."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import Misuse

SENTENCE = "who is due: recalls, reviews, questionnaires and parts nobody looked at, as a list, a table and a calendar"


def options(one) -> None:
    """The store, the day, and where the list goes."""
    arguments.store(one)
    arguments.plan(one)
    one.add_argument("--on", metavar="DATE", help="the day the list is for: YYYY-MM-DD, or today (default: the last day of the log)")
    one.add_argument("--within", type=int, metavar="DAYS", help="how far ahead to look (default: the plan's within_days)")
    one.add_argument("--alarm", type=int, metavar="DAYS", help="let the calendar remind so many days before each event (default: no alarm)")
    one.add_argument("--out", type=Path, metavar="DIR|FILE", help="folder for due.csv, due.ics, due.html, due_months.csv and recall_planning.csv, or one file ending in .csv, .ics or .html")


def run(options) -> int:
    """Say who is due, and write the list where asked."""
    from outcomes.analyses import due, due_list, due_months, recall_planning

    for name, most in (("within", 3650), ("alarm", 365)):
        given = getattr(options, name)
        if given is not None and not 0 <= given <= most:
            raise Misuse(f"--{name} takes a number of days from 0 to {most}.")
    arguments.one_file(options.out, "the list is", ".csv", ".ics", ".html")
    plan = arguments.plan_on(options.plan, options.on)
    with arguments.opened_log(options, plan) as (log, progress, _):
        with progress.step("Working out who is due"):
            found = due.due(log, options.within)
            planned, months = recall_planning.planning(log), due_months.ahead(log)
    now = plan["recall"]["interval_days"]
    for sentence in [*due_list.sentences(found, log), *due_months.sentences(months), "What another recall interval would do:", *recall_planning.lines(planned, now), *recall_planning.sentences(planned, now)]:
        print(sentence)
    if options.out is not None:
        written = due_list.write_list(found, log, planned, options.out, months=months, alarm_days=options.alarm)
        print(f"Wrote {', '.join(str(path) for path in written)}." if written else "Nobody is due, so no calendar was written.")
    return 0
