"""Print-ready day sheets for today's patients, filled in with what is in each mouth now."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import Misuse
from outcomes.progress import Progress

SENTENCE = "day sheets to print for today's patients: what is in each mouth now, and the boxes of one line for each denture"
MOST = 200  # patients of one day


def options(one) -> None:
    """The store, the patients and the day."""
    arguments.store(one)
    one.add_argument("--patients", nargs="+", default=[], metavar="PSEUDONYM", help="today's patients, in the order in which they come")
    one.add_argument("--list", type=Path, metavar="FILE", help="a text file or CSV file with one pseudonym a line, in its first column")
    one.add_argument("--date", metavar="DATE", help="the day printed: YYYY-MM-DD (default: today); nothing later in the log counts")
    arguments.plan(one)
    one.add_argument("--out", type=Path, default=Path("day_sheets.html"), metavar="FILE.html", help="file to write (default: day_sheets.html)")


def run(options) -> int:
    """Write the sheets; a patient the store does not know gets a blank one."""
    from outcomes.analyses import day_sheets
    from outcomes.neutral import unwritable
    from outcomes.present.day_sheets import PER_PAGE, write
    from outcomes.store import open_store

    patients = wanted(options)
    if options.out.suffix.lower() != ".html":
        raise Misuse(f"--out {options.out.name}: day sheets are written as an .html file, which any browser prints.")
    plan = arguments.plan_on(options.plan, options.date or "today", "--date")
    day = plan["audit"]["closing_day"]
    progress = Progress(quiet=options.quiet)
    with open_store(options.store, read_only=True) as store:
        known = {patient: consent for patient, consent in store.connection.execute("SELECT patient_id, audit_consent FROM patients").fetchall()}
        with progress.step("Reading what is in each mouth"):
            log = read(store.connection, plan, day)
            pages = day_sheets.pages(log, known, [patient for patient, consent in known.items() if consent == "no"], patients, _date(day))
    try:
        write(pages, day, options.out)
    except OSError as problem:
        raise unwritable(options.out, problem) from None
    new = [place for place, patient in enumerate(patients, 1) if patient not in known]
    leaves = -(-len(pages) // PER_PAGE)
    print(f"Wrote {options.out}: {len(pages)} sheet{'s' if len(pages) != 1 else ''} on {leaves} A4 page{'s' if leaves != 1 else ''}. Open it in a browser and print it."
          + (f" {_of_those_named(new)} not in the store and {'has a blank sheet' if len(new) == 1 else 'have blank sheets'}: compare the pseudonym with the log, or take the sheet for somebody new." if new else ""))
    return 0


def _of_those_named(places: list[int]) -> str:
    """Which of the patients named are meant, by their place: a pseudonym typed wrong need not be shown to be found."""
    from outcomes.present import words

    said = words.listing([f"number {place}" for place in places[:10]] + ([f"{len(places) - 10} more"] if len(places) > 10 else []))
    return f"Of the patients named, {said} {'is' if len(places) == 1 else 'are'}"


def read(connection, plan, day: str):
    """The log as on that day; None where it holds no visit by then."""
    from outcomes.analyses.cohort import read_log

    (visits,) = connection.execute("SELECT count(*) FROM visits WHERE visited_on <= ?::DATE", [day]).fetchone()
    return read_log(connection, plan) if visits else None


def wanted(options) -> list[str]:
    """The pseudonyms asked for, each once. Raises Misuse where there is none, or where one looks like personal data; what it says is not repeated."""
    given = [(f"number {at} of --patients", text.strip()) for at, text in enumerate(options.patients, 1)]
    if options.list is not None:
        given += _listed(options.list)
    given = [(where, text) for where, text in given if text]
    if not given:
        raise Misuse("No patient was named. Give their pseudonyms with --patients, or a file with one a line with --list.")
    from outcomes.intake import privacy

    for where, text in given:
        looks = privacy.content(text, person=True)
        if looks or len(text) > 40:
            raise Misuse(f"{where} {f'looks like {looks}' if looks else 'is too long for a pseudonym'}. Give pseudonyms only.")
    patients = list(dict.fromkeys(text for _, text in given))
    if len(patients) > MOST:
        raise Misuse(f"{len(patients)} patients were named; sheets are made for at most {MOST} at a time.")
    return patients


def _listed(path: Path) -> list[tuple[str, str]]:
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise Misuse(f"There is no file {path}. Check the name; a name with blanks needs quotation marks.") from None
    except (OSError, UnicodeDecodeError):
        raise Misuse(f"{path.name} cannot be read as a list. Save it as plain text (UTF-8) with one pseudonym a line.") from None
    import re

    lines = [(f"line {at} of {path.name}", re.split(r"[;,\t]", line)[0].strip().strip('"').strip()) for at, line in enumerate(text.splitlines(), 1)]
    return [(where, word) for where, word in lines if word.casefold().replace(" ", "_") not in ("patient", "patient_id", "patients")]


def _date(day: str):
    import datetime

    return datetime.date.fromisoformat(day)
