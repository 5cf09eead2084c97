"""The ``outcomes`` command. Each command imports what it needs only when it runs, so that --help is quick."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from outcomes import __version__
from outcomes.errors import OutcomesError

CAUTION = ("Reports describe one clinic's patients and rank no device. Decisions on a patient rest with the treating clinician; "
           "local rules on audit, research ethics and patient data apply.")


def parser() -> argparse.ArgumentParser:
    """The whole command line, with a sentence for every command and option."""
    top = argparse.ArgumentParser(prog="outcomes", description="From a clinic's visit log to honest answers about implant overdentures.", epilog=CAUTION)
    top.add_argument("--version", action="version", version=f"outcomes {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", title="commands")

    def command(name: str, sentence: str) -> argparse.ArgumentParser:
        one = commands.add_parser(name, help=sentence, description=sentence[0].upper() + sentence[1:] + ".")
        one.add_argument("--debug", action="store_true", help="show the program's own trace where something fails")
        one.add_argument("--quiet", action="store_true", help="say nothing while working")
        return one

    demo = command("demo", "simulate an invented clinic, check and load its log, and write the full report")
    demo.add_argument("--out", type=Path, default=Path("demo_report"), help="folder to write (default: demo_report)")
    demo.add_argument("--patients", type=int, help="patients in the invented clinic (default: the demo scenario's own)")
    demo.add_argument("--seed", type=int, help="seed of the simulation (default: the demo scenario's own)")

    template = command("template", "write an empty workbook to keep the log in, with drop-downs")
    template.add_argument("--out", type=Path, default=Path("clinic_log.xlsx"), help="workbook to write (default: clinic_log.xlsx)")

    check = command("check", "list every problem in the clinic's files as a sentence; changes nothing")
    _files(check)
    check.add_argument("--store", type=Path, help="also check against what this store holds")
    check.add_argument("--problems", type=Path, metavar="FILE.csv", help="write every problem, one a line, to this file")
    check.add_argument("--marked", type=Path, metavar="FILE.xlsx", help="write a copy of the workbook with the cells marked")

    load = command("load", "check the files and add them to the store in one transaction")
    _files(load)
    _store(load)
    _loading(load)

    audit = command("audit", "check, load and report in one go")
    _files(audit)
    audit.add_argument("--store", type=Path, default=Path("clinic.duckdb"), help="the store to keep (default: clinic.duckdb)")
    audit.add_argument("--out", type=Path, default=Path("audit_report"), help="folder to write (default: audit_report)")
    audit.add_argument("--plan", type=Path, help="the clinic's own plan (TOML)")
    _loading(audit)

    report = command("report", "write reports from the store, or say whether a report is still what its manifest says")
    report.add_argument("names", nargs="*", metavar="NAME", help="reports to write (default: clinic_audit)")
    report.add_argument("--store", type=Path, help="the store's file; with --verify the report is made again from it and compared")
    report.add_argument("--out", type=Path, help="folder to write")
    report.add_argument("--plan", type=Path, help="the clinic's own plan (TOML); with --verify it is compared with the report's plan")
    report.add_argument("--verify", type=Path, metavar="MANIFEST", help="say which file, package, input, setting or store content differs from this manifest.json; writes nothing")

    history = command("history", "who added what when")
    _store(history)
    undo = command("undo", "take back the last load")
    _store(undo)
    export = command("export", "write the store's tables as CSV and Parquet with a data package")
    _store(export)
    export.add_argument("--out", type=Path, required=True, help="folder to write")
    return top


def _files(one: argparse.ArgumentParser) -> None:
    one.add_argument("files", nargs="+", type=Path, metavar="FILE", help="workbooks (.xlsx), tables (.csv), or a folder of them")
    one.add_argument("--date-order", choices=["day first", "month first"], help="how dates such as 03/04/2024 are meant")
    one.add_argument("--decimal", choices=[",", "."], help="the decimal mark of the files")
    one.add_argument("--separator", choices=[",", ";", "tab"], help="the separator of CSV files")
    one.add_argument("--encoding", help="the encoding of CSV files, such as utf-8 or windows-1252")


def _store(one: argparse.ArgumentParser) -> None:
    one.add_argument("--store", type=Path, required=True, help="the store's file")


def _loading(one: argparse.ArgumentParser) -> None:
    one.add_argument("--good-rows", action="store_true", help="load the rows without errors and set the others aside")
    one.add_argument("--withdraw", action="store_true", help="withdraw rows that are no longer in the file they came from")


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit status: 0 done, 1 problems in the data, 2 misuse."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a console that lacks a letter must not stop the work
    options = parser().parse_args(arguments)
    if options.command is None:
        parser().print_help()
        return 0
    from outcomes import commands

    try:
        return getattr(commands, options.command)(options) or 0
    except OutcomesError as problem:
        if options.debug:
            raise
        print(str(problem), file=sys.stderr)
        return problem.exit_status
    except KeyboardInterrupt:
        print("Stopped. Nothing was half-written: a load is kept whole or not at all.", file=sys.stderr)
        return 2
    except MemoryError:
        print("The machine ran out of memory. Close other programs, or load the files one at a time.", file=sys.stderr)
        return 2
    except OSError as problem:
        if options.debug:
            raise
        where = f" ({Path(problem.filename).name})" if isinstance(problem.filename, (str, Path)) else ""
        print(f"A file could not be read or written{where}: {problem.strerror or 'the system gave no reason'}. "
              "Check that the folder exists, that you may write there, that no other program holds the file, and that the disk has room.", file=sys.stderr)
        return 2
    except Exception as problem:
        if options.debug:
            raise
        print(f"Something went wrong inside the program ({type(problem).__name__}). Nothing was half-written. "
              "Run the same command with --debug and pass on what it prints, after checking that it shows no patient's data.", file=sys.stderr)
        return 2
