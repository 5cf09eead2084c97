"""Runs cells in full and keeps what they gave: results.csv, one row per line of a cell, and the page made from it."""

from __future__ import annotations

import csv
import math
import time
from pathlib import Path

from .cells import CELLS
from .engine import Cell, judge, run
from .page import page

HERE = Path(__file__).parent
RESULTS = HERE / "results.csv"
PAGE = HERE / "README.md"
NUMBERS = ("estimate", "monte_carlo_se", "target", "limit_low", "limit_high", "undefined")
COUNTS = ("repetitions", "seed")


def main(words: list[str]) -> None:
    """Run the cells whose name holds one of the ``words`` (all without words, none with --page) and write both files."""
    chosen = [] if words == ["--page"] else [cell for cell in CELLS if not words or any(word in cell.name for word in words)]
    kept = {key(row): row for row in recorded()}
    for cell in chosen:
        began = time.perf_counter()
        for row in judge(cell, run(cell, cell.repetitions)):
            kept[key(row)] = row
        print(f"{time.perf_counter() - began:6.1f} s  {cell.name}", flush=True)
        write([judged(cell, kept[key(line_key(cell, line))], line) for cell in CELLS for line in cell.lines if key(line_key(cell, line)) in kept])
    rows = [judged(cell, kept[key(line_key(cell, line))], line) for cell in CELLS for line in cell.lines if key(line_key(cell, line)) in kept]
    write(rows)
    PAGE.write_text(page(rows, CELLS), encoding="utf-8")


def recorded() -> list[dict]:
    """The rows of results.csv, numbers as numbers, None where a line has no limits."""
    if not RESULTS.exists():
        return []
    with RESULTS.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        row |= {name: None if row[name] == "" else float(row[name]) for name in NUMBERS} | {name: int(row[name]) for name in COUNTS}
    return rows


def key(row: dict) -> tuple:
    return row["family"], row["setting"], row["measure"], row["method"]


def line_key(cell: Cell, line) -> dict:
    return {"family": cell.family, "setting": cell.setting, "measure": line.measure, "method": line.method}


def judged(cell: Cell, row: dict, line) -> dict:
    """A recorded row with limits and verdict as the cell states them now."""
    n, known = row["repetitions"], row["repetitions"] * (1 - row["undefined"])
    deviation = row["monte_carlo_se"] * math.sqrt(known)
    low, high = (None, None) if line.low is None else line.limits(n, deviation)
    return row | {
        "role": line.role, "target": line.target, "limit_low": low, "limit_high": high,
        "verdict": line.judged(row["estimate"], n, deviation, row["undefined"]), "seed": row["seed"],
    }  # fmt: skip


def write(rows: list[dict]) -> None:
    with RESULTS.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], lineterminator="\n")
        writer.writeheader()
        for row in rows:
            writer.writerow({name: f"{value:.6g}" if isinstance(value, float) else value for name, value in row.items()})
