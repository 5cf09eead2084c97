"""Take the packets of several clinics together and write the club's page."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import DataProblem, Misuse

SENTENCE = "take the packets of several clinics together and write the study club's page"


def options(one) -> None:
    """The packets and the folder."""
    one.add_argument("packets", nargs="+", type=Path, metavar="PACKET", help="packets (.json) as outcomes share wrote them, or a folder of them")
    one.add_argument("--out", type=Path, required=True, help="folder to write")


def run(options) -> int:
    """Check, pool, write."""
    from outcomes.analyses.club_report import report

    paths = []
    for path in options.packets:
        if not path.exists():
            raise Misuse(f"There is no file {path}. Check the name; a name with blanks needs quotation marks.")
        inside = sorted(path.glob("*.json")) if path.is_dir() else [path]
        if not inside:
            raise Misuse(f"The folder {path} holds no packet (.json).")
        paths += inside
    if len(paths) < 2:
        raise DataProblem("One packet is no club: give those of at least two clinics, and of three for a mean.")
    new = not options.out.exists()
    try:
        page = report(paths, arguments.folder(options.out))
    except DataProblem:
        if new:
            with suppress(OSError):
                options.out.rmdir()  # packets that are refused leave no empty folder that looks like a report
        raise
    print(f"Open {page} in a browser.")
    return 0
