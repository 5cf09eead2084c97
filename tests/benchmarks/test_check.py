"""How long the check of a clinic's five-year workbook takes: 4,000 lines of the day sheet, with set-up, patients and questionnaires. Prints; asserts no times.

Run with: python -m pytest -m benchmark -s tests/benchmarks/test_check.py
"""

from __future__ import annotations

import subprocess
import sys

import pytest

LINES = 4000

MEASURE = """
import sys, time
from outcomes import intake
started, cpu = time.perf_counter(), time.process_time()
checked = intake.check([sys.argv[1]])
said = intake.summary(checked)
middle, middle_cpu = time.perf_counter(), time.process_time()
intake.marked_copy(checked, sys.argv[2])
print(checked.error_count, checked.warning_count, middle - started, middle_cpu - cpu, time.perf_counter() - middle, time.process_time() - middle_cpu)
"""


@pytest.mark.benchmark
def test_check_of_a_five_year_workbook(tmp_path):
    import pandas as pd
    from openpyxl import load_workbook

    from outcomes import schemas, synthetic_data
    from outcomes.intake.template import SHEETS, write_template

    tables = synthetic_data.simulate("demo", patients=720, seed=3).tables("day sheet")
    path = tmp_path / "clinic_log.xlsx"
    write_template(path)
    book = load_workbook(path)
    rows = {}
    for name in SHEETS:
        sheet, frame = book[schemas.tables()[name].title], tables[name].head(LINES)
        places = {cell.value.replace(" ", "_"): cell.column for cell in sheet[1]}
        rows[name] = len(frame)
        for column in frame.columns:
            for row, value in enumerate(frame[column].astype(object), 2):
                if not pd.isna(value):
                    sheet.cell(row, places[column], value if isinstance(value, (int, float, str)) else str(value))
    book.save(path)
    out = subprocess.run([sys.executable, "-c", MEASURE, str(path), str(tmp_path / "marked.xlsx")], capture_output=True, text=True, check=True).stdout.split()
    errors, warned, wall, cpu, marked, marked_cpu = map(float, out)
    assert rows["day_sheet"] == LINES
    print(f"\n{', '.join(f'{count:,} rows of {name}' for name, count in rows.items())}: check {cpu:.1f} s of processor ({wall:.1f} s by the clock), {errors:.0f} errors, {warned:.0f} warnings; "
          f"the marked copy {marked_cpu:.1f} s of processor ({marked:.1f} s by the clock)")
