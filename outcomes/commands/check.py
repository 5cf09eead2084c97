"""Print every problem of the clinic's files, or, where only a store is named, whether the store is whole; changes nothing."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.progress import Progress

SENTENCE = "list every problem in the clinic's files, or in a store alone, as a sentence; changes nothing"


def options(one) -> None:
    """The files, and where the problems go."""
    arguments.files(one, needed=False)
    one.add_argument("--store", type=Path, help="also check against what this store holds; with no file, check the store itself")
    one.add_argument("--problems", type=Path, metavar="FILE.csv", help="write every problem, one a line, to this file")
    one.add_argument("--marked", type=Path, metavar="FILE.xlsx", help="write a copy of the workbook with the cells marked")


def run(options) -> int:
    """Exit status 1 where rows would be kept out, or where something is wrong in the store."""
    if not options.files:
        return _store_alone(options)
    checked = read(options, Progress(quiet=options.quiet))
    from outcomes import intake
    from outcomes.store.report import joined

    for sentence in intake.summary(checked):
        print(sentence)
    if options.problems:
        intake.write_problems(checked, options.problems)
        print(f"Every problem is in {options.problems}.")
    if options.marked:
        copies = intake.marked_copy(checked, options.marked)
        print(f"A marked copy is in {options.marked}." if len(copies) == 1 else f"Marked copies are in {joined([str(copy) for copy in copies])}.")
        for original, copy in zip(checked.paths, copies):
            if missing := intake.left_behind(original, copy):
                print(f"{copy.name} lacks what {original.name} has beside its cells: {joined(missing)}. Mend the cells in {original.name} itself, with the copy beside it.")
    elif checked.error_count and checked.sources:
        print("Add --marked marked.xlsx for a copy with these cells coloured and a list of what to mend.")
    return 1 if checked.error_count else 0


def _store_alone(options) -> int:
    """Read the whole store and say what is wrong in it."""
    from outcomes.errors import Misuse
    from outcomes.store import open_store
    from outcomes.store.backup import newest_whole
    from outcomes.store.report import counted, joined
    from outcomes.store.trouble import Damaged

    if options.store is None or options.problems or options.marked:
        raise Misuse("Name the files to check, such as clinic_log.xlsx; or, with --store FILE alone, a store to check.")
    try:
        with Progress(quiet=options.quiet).step(f"Reading all of {options.store.name}"), open_store(options.store, read_only=True) as store:
            wrong, held, loads = store.verify(), store.counts(), len(store.history())
    except Damaged as damage:
        wrong, held, loads = [str(damage)], {}, 0
    for sentence in wrong:
        print(sentence)
    if not wrong:
        rows = joined([counted(count, name) for name, count in held.items()] or ["no row"])
        print(f"{options.store.name} is whole: {rows} from {loads:,} {'entry' if loads == 1 else 'entries'} of the history. "
              "Every row is as it was loaded, knows its file and line, and names nothing that is not there.")
        return 0
    copy = newest_whole(options.store)
    print(f"The newest whole copy is {copy.parent.name}/{copy.name}. Keep the store under another name, put the copy in its place, and load the files that came after it." if copy
          else "No copy beside it is whole. Keep the file as it is, and load the clinic's files into a new store.")
    return 1


def read(options, progress: Progress):
    """The files of ``options`` as checked frames and problems, beside the store where there is one."""
    from outcomes import intake

    given, asked = arguments.paths(options.files), options.__dict__
    separator, own = asked.get("separator"), mappings(asked)
    reading = intake.Options(date_order=asked.get("date_order"), decimal=asked.get("decimal"), separator="\t" if separator == "tab" else separator, encoding=asked.get("encoding"), mappings=own)
    with progress.step(f"Checking {len(given)} file{'s' if len(given) > 1 else ''}"):
        if options.store is not None and Path(options.store).exists():
            from outcomes.store import open_store

            with open_store(options.store, read_only=True) as store:
                _same_key(store, own)
                checked = intake.check(given, options=reading, store=store)
        else:
            checked = intake.check(given, options=reading)
    for sentence in checked.decisions:
        progress.say(sentence)
    return checked


def mappings(asked: dict) -> tuple:
    """The mappings named, with the key of pseudonyms where one is given."""
    if not asked.get("map"):
        return ()
    from outcomes.intake.mapping import read_mapping
    from outcomes.intake.pseudonyms import read_key

    key = read_key(asked["key"], beside=[asked.get("store")]) if asked.get("key") else None
    return tuple(read_mapping(path, key=key) for path in asked["map"])


def _same_key(store, own: tuple) -> None:
    """Refuse another key of pseudonyms than the store's earlier loads were made with: everybody would be a new person."""
    from outcomes.errors import Misuse
    from outcomes.intake.mapped import FINGERPRINT

    fingerprints = {one.key.fingerprint for one in own if one.pseudonymises}
    if not fingerprints:
        return
    said = store.connection.execute("SELECT DISTINCT one FROM (SELECT unnest(decisions) AS one FROM kept.sources) WHERE contains(one, ?)", [FINGERPRINT]).fetchall()
    before = {one.split(FINGERPRINT)[1].rstrip(".") for (one,) in said}
    if before and fingerprints - before:
        raise Misuse(f"The store's pseudonyms were made with the key {', '.join(sorted(before))}, and the key given is {', '.join(sorted(fingerprints))}. "
                     "Give the key used before; another key would make everybody a new person.")
