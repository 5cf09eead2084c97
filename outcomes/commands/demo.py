"""Simulate the demo clinic, then do with its files what a clinic does with its own."""

from __future__ import annotations

import shutil
from pathlib import Path

from outcomes.commands import audit
from outcomes.commands.arguments import folder
from outcomes.errors import Misuse
from outcomes.progress import Progress

SENTENCE = "simulate an invented clinic, check and load its log, and write the full report"


def options(one) -> None:
    """What may be asked of the demo."""
    one.add_argument("--out", type=Path, default=Path("demo_report"), help="folder to write (default: demo_report)")
    one.add_argument("--patients", type=int, help="patients in the invented clinic (default: the demo scenario's own)")
    one.add_argument("--seed", type=int, help="seed of the simulation (default: the demo scenario's own)")


def run(options) -> int:
    """Simulate, then audit."""
    from outcomes import synthetic_data

    progress = Progress(quiet=options.quiet)
    out = folder(options.out)
    files, store = out / "clinic_files", out / "demo.duckdb"
    if options.patients is not None and not 20 <= options.patients <= 1_000_000:
        raise Misuse("--patients takes a number from 20 to 1,000,000.")
    with progress.step("Simulating an invented clinic"):
        clinic = synthetic_data.simulate("demo", patients=options.patients, seed=options.seed)
        shutil.rmtree(files, ignore_errors=True)
        # A workbook is what a clinic keeps; beyond some ten thousand patients no spreadsheet would open it.
        written = synthetic_data.write(clinic, files, form="day sheet", file="xlsx" if (options.patients or 0) <= 20_000 else "csv")
    for left in (store, store.with_name(store.name + ".wal")):
        left.unlink(missing_ok=True)
    options.files, options.store, options.plan = [Path(path) for path in written], store, None
    options.good_rows = options.withdraw = False
    options.changes, options.yes = None, True
    return audit.run(options)
