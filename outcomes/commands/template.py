"""Write the empty workbook."""

from __future__ import annotations

from pathlib import Path

from outcomes.errors import Misuse

SENTENCE = "write an empty workbook to keep the log in, with drop-downs"


def options(one) -> None:
    """Where the workbook goes."""
    one.add_argument("--out", type=Path, default=Path("clinic_log.xlsx"), help="workbook to write (default: clinic_log.xlsx)")


def run(options) -> int:
    """Write it, never over a log."""
    from outcomes.intake.template import write_template

    if options.out.exists():
        raise Misuse(f"{options.out.name} is there already. Give another name with --out, so that no log is overwritten.")
    write_template(options.out)
    print(f"Wrote {options.out}. Fill it in, then run: outcomes audit {options.out}")
    return 0
