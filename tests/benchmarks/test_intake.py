"""Checking a million rows of parts_log from CSV, beside a bare read of the same file in the same process; and the memory it takes."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

WRITE = """
import sys
import numpy as np, pandas as pd
rows, folder = int(sys.argv[1]), sys.argv[2]
patients, chance = max(rows // 60, 1), np.random.default_rng(20)
visit = np.arange(rows) // 6
who, turn = visit % patients, visit // patients
people = np.array([f"P{n:06d}" for n in range(patients)], dtype=object)
days = (np.datetime64("2015-01-01") + turn * 180 + who % 170).astype(str).astype(object)
ids = people[who] + "/" + days
slot = np.arange(rows) % 6
part = np.array(["abutment", "housing", "insert"], dtype=object)[slot // 2]
first = turn == 0
worn = (slot // 2 == 2) & (chance.random(rows) < 0.1) & ~first
finding = np.where(first, "not present", np.where(worn, np.where(slot % 2, "torn", "worn"), "sound"))
action = np.where(first, "fitted", np.where(worn, "replaced", "none"))
parts = pd.DataFrame({"visit_id": ids, "position": np.array(["33", "43"], dtype=object)[slot % 2], "part": part, "finding": finding, "action": action,
    "change_reason": np.where(worn, "failed", ""), "noticed_on": np.where(worn, pd.Series(days).str.slice(0, 7), ""), "attachment": np.where(first, "stud", ""),
    "level": np.where((first | worn) & (slot // 2 == 2), "light", ""), "torque_ncm": np.where(first & (slot // 2 == 0), "25", ""), "height_mm": np.where(first & (slot // 2 == 0), "2.5", "")})
visits = pd.DataFrame({"patient_id": people[who[::6]], "visited_on": days[::6], "reason": np.where(first[::6], "delivery", "recall"), "parts_checked": "all", "minutes": 15 + visit[::6] % 30, "snap": "just right"})
dentures = pd.DataFrame({"patient_id": people, "arch": "lower", "delivered_on": (np.datetime64("2015-01-01") + np.arange(patients) % 170).astype(str)})
frames = {"parts_log": parts, "visits": visits, "dentures": dentures, "patients": pd.DataFrame({"patient_id": people, "audit_consent": "yes"}),
    "insert_levels": pd.DataFrame({"level": ["light"], "system": ["A"], "retention": ["6.7"], "unit": ["N"]})}
for name, frame in frames.items():
    frame.to_csv(f"{folder}/{name}.csv", index=False)
"""

MEASURE = """
import json, sys, time
from pathlib import Path
import pyarrow.csv
import duckdb, openpyxl, pandas, pandera.pandas
from outcomes import intake
files = sorted(Path(sys.argv[1]).glob("*.csv"))
def peak():
    import psutil
    if sys.platform == "win32":
        return psutil.Process().memory_info().peak_wset
    import resource
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
started = time.perf_counter(); cpu = time.process_time()
checked = intake.check(files)
found = {"check": time.perf_counter() - started, "cpu": time.process_time() - cpu, "peak": peak() / 2**30, "errors": checked.error_count, "warnings": checked.warning_count,
    "rows": {name: len(frame) for name, frame in checked.tables.items() if len(frame)}}
started = time.perf_counter()
if len(sys.argv) > 2:
    from outcomes.store import open_store
    with open_store(sys.argv[2], create=True) as store:
        store.load(checked)
    found |= {"load": time.perf_counter() - started, "peak with load": peak() / 2**30}
del checked
started, cpu = time.perf_counter(), time.process_time()
bare = sum(pandas.read_csv(file, dtype=str, keep_default_na=False).shape[0] for file in files)
found |= {"bare": time.perf_counter() - started, "bare cpu": time.process_time() - cpu}
print(json.dumps(found))
"""


@pytest.mark.benchmark
def test_a_million_rows_are_checked_and_loaded_within_a_few_bare_reads_and_two_gibibytes(tmp_path):
    (tmp_path / "log").mkdir()
    subprocess.run([sys.executable, "-c", WRITE, "1000000", str(tmp_path / "log")], check=True)
    out = subprocess.run([sys.executable, "-c", MEASURE, str(tmp_path / "log"), str(tmp_path / "clinic.duckdb")], capture_output=True, text=True, check=True).stdout
    found = json.loads(out)
    print(f"\n{found['rows']['parts_log']:,} rows of parts_log and {found['rows']['visits']:,} visits from CSV: check {found['check']:.2f} s ({found['cpu']:.2f} s of processor), "
          f"load {found['load']:.2f} s, bare read {found['bare']:.2f} s ({found['bare cpu']:.2f}); {found['peak']:.2f} GiB at most in the check, {found['peak with load']:.2f} with the load")
    assert found["errors"] == 0
    assert found["cpu"] < 20 * found["bare cpu"]  # processor time, so that other work on the machine does not decide
    assert found["peak with load"] < 2
