"""The ``outcomes`` command. Each command imports what it needs only when it runs, so that --help is quick."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from outcomes import __version__
from outcomes.commands import NAMES, module
from outcomes.errors import OutcomesError

CAUTION = ("Reports describe one clinic's patients and rank no device. Decisions on a patient rest with the treating clinician; "
           "local rules on audit, research ethics and patient data apply.")


def parser() -> argparse.ArgumentParser:
    """The whole command line, with a sentence for every command and option."""
    top = argparse.ArgumentParser(prog="outcomes", description="From a clinic's visit log to honest answers about implant overdentures.", epilog=CAUTION)
    top.add_argument("--version", action="version", version=f"outcomes {__version__}")
    commands = top.add_subparsers(dest="command", metavar="COMMAND", title="commands")

    for name in NAMES:
        sentence = module(name).SENTENCE
        one = commands.add_parser(name, help=sentence, description=sentence[0].upper() + sentence[1:] + ".")
        one.add_argument("--debug", action="store_true", help="show the program's own trace where something fails")
        one.add_argument("--quiet", action="store_true", help="say nothing while working")
        module(name).options(one)
    return top


def main(arguments: list[str] | None = None) -> int:
    """Run one command; returns the exit status: 0 done, 1 problems in the data, 2 misuse."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a console that lacks a letter must not stop the work
    options = parser().parse_args(arguments)
    if options.command is None:
        parser().print_help()
        return 0
    try:
        return module(options.command).run(options) or 0
    except OutcomesError as problem:
        print(_trace(problem) if options.debug else str(problem), file=sys.stderr)
        return problem.exit_status
    except KeyboardInterrupt:
        print("Stopped. Nothing was half-written: a load is kept whole or not at all.", file=sys.stderr)
        return 2
    except MemoryError:
        print("The machine ran out of memory. Close other programs, or load the files one at a time.", file=sys.stderr)
        return 2
    except OSError as problem:
        if options.debug:
            print(_trace(problem), file=sys.stderr)
            return 2
        where = f" ({Path(problem.filename).name})" if isinstance(problem.filename, (str, Path)) else ""
        print(f"A file could not be read or written{where}: {problem.strerror or 'the system gave no reason'}. "
              "Check that the folder exists, that you may write there, that no other program holds the file, and that the disk has room.", file=sys.stderr)
        return 2
    except Exception as problem:
        if options.debug:
            print(_trace(problem), file=sys.stderr)
            return 2
        print(f"Something went wrong inside the program ({type(problem).__name__}). Nothing was half-written. "
              "Run the same command with --debug and pass on what it prints: it names places in the program and repeats no cell.", file=sys.stderr)
        return 2


def _trace(problem: BaseException) -> str:
    from outcomes.trace import trace

    return trace(problem)
