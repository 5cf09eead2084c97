"""Loading a million rows, against a bare insert of the same frame in the same process; and the memory it takes."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

MEASURE = """
import json, sys, time
from types import SimpleNamespace
import duckdb, numpy as np, pandas as pd, psutil
from outcomes import schemas
from outcomes.store import open_store

rows, folder = int(sys.argv[1]), sys.argv[2]
patients = max(rows // 60, 1)
people = np.array([f"P{n:06d}" for n in range(patients)], dtype=object)
visit = np.arange(rows) // 6
who = visit % patients
days = (np.datetime64("2015-01-01") + (visit // patients) * 97).astype("datetime64[D]")
on_day = np.unique(days, return_inverse=True)
ids = {}
visit_ids = np.array([f"{people[w]}/{d}" for w, d in zip(who[::6], days[::6])], dtype=object)[visit]
dentures = np.array([p + "/lower/1" for p in people], dtype=object)
code = np.random.default_rng(20).integers
pick = lambda words: np.array(words, dtype=object)[code(0, len(words), rows)]
slot = np.arange(rows) % 6
parts = pd.DataFrame({"visit_id": visit_ids, "denture_id": dentures[who], "position": np.array(["33", "43"], dtype=object)[slot % 2],
    "part": np.array(["abutment", "housing", "insert"], dtype=object)[slot // 2], "finding": pick(["sound", "worn", "torn"]), "action": pick(["none", "replaced"]),
    "change_reason": pick(["failed", None]), "level": pick(["light", "medium", None]), "torque_ncm": np.where(slot // 2 == 0, 25.0, np.nan)})
visits = parts[["visit_id"]][::6].assign(patient_id=people[who[::6]], visited_on=days[::6].astype("datetime64[s]"), visited_on_precision="day", reason="recall", parts_checked="all")
frames = {"patients": pd.DataFrame({"patient_id": people, "audit_consent": "yes"}),
    "dentures": pd.DataFrame({"denture_id": dentures, "patient_id": people, "arch": "lower", "delivered_on": np.datetime64("2014-01-01", "s"), "delivered_on_precision": "day"}),
    "visits": visits.reset_index(drop=True), "parts_log": parts}
for frame in frames.values():
    frame["_file"], frame["_sheet"], frame["_line"] = 0, "", np.arange(2, len(frame) + 2)
checked = SimpleNamespace(tables=frames, sources=[SimpleNamespace(name="years.csv", sha256="0" * 64, kind="csv", decisions=[], rows=rows)], error_count=0, warning_count=0)
bare = duckdb.connect(folder + "/bare.duckdb")
bare.execute("SET enable_progress_bar = false")
started, cpu = time.perf_counter(), time.process_time()
for name, frame in frames.items():
    bare.register("frame", frame)
    bare.execute(f"CREATE TABLE {name} AS SELECT * FROM frame")
    bare.unregister("frame")
bare.execute("CHECKPOINT")
bare_seconds = time.perf_counter() - started, time.process_time() - cpu
bare.close()
process = psutil.Process()
before = process.memory_info().rss
seconds = {}
with open_store(folder + "/years.duckdb", create=True) as store:
    for what, act in {"load": lambda: store.load(checked), "the same again": lambda: store.load(checked), "revision": lambda: store.revision,
                      "verify": store.verify, "undo": store.undo}.items():
        started, cpu = time.perf_counter(), time.process_time()
        act()
        seconds[what] = time.perf_counter() - started, time.process_time() - cpu
peak = process.memory_info().peak_wset if sys.platform == "win32" else __import__("resource").getrusage(__import__("resource").RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
print(json.dumps({"bare": bare_seconds, "seconds": seconds, "frames": before / 2**30, "peak": peak / 2**30}))
"""


@pytest.mark.benchmark
def test_a_million_rows_load_within_a_few_bare_inserts_and_two_gibibytes(tmp_path):
    out = subprocess.run([sys.executable, "-c", MEASURE, "1000000", str(tmp_path)], capture_output=True, text=True, check=True).stdout
    found = json.loads(out)
    told = ", ".join(f"{what} {wall:.2f} s ({cpu:.2f})" for what, (wall, cpu) in {"bare insert": found["bare"], **found["seconds"]}.items())
    print(f"\n1,000,000 part rows, seconds (of processor time): {told}; {found['frames']:.2f} GiB before, {found['peak']:.2f} GiB at most")
    for what in ("load", "the same again"):  # processor time, so that a busy machine does not decide
        assert found["seconds"][what][1] < 8 * found["bare"][1], what
    assert found["peak"] < 2


WHOLE = """
import json, sys, time
from datetime import date
from pathlib import Path
import resource
from outcomes import intake
from outcomes.store import open_store

paths, seconds = sorted(Path(sys.argv[1]).glob("*.csv")), {}
started, cpu = time.perf_counter(), time.process_time()
checked = intake.check(paths, today=date(2030, 1, 1))
seconds["check"] = time.perf_counter() - started, time.process_time() - cpu
started, cpu = time.perf_counter(), time.process_time()
with open_store(sys.argv[2], create=True) as store:
    store.load(checked)
seconds["load"] = time.perf_counter() - started, time.process_time() - cpu
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024)
print(json.dumps({"seconds": seconds, "peak": peak / 2**30, "rows": {name: len(frame) for name, frame in checked.tables.items()}}))
"""


@pytest.mark.benchmark
@pytest.mark.skipif(sys.platform == "win32", reason="peak memory is read as POSIX systems tell it")
def test_a_simulated_log_with_a_million_part_rows_is_checked_and_loaded_within_two_gibibytes(tmp_path):
    from outcomes import synthetic_data

    synthetic_data.write(synthetic_data.simulate("demo", patients=73_000), tmp_path / "files", form="long", file="csv")
    found = json.loads(subprocess.run([sys.executable, "-c", WHOLE, str(tmp_path / "files"), str(tmp_path / "clinic.duckdb")], capture_output=True, text=True, check=True).stdout)
    assert found["rows"]["parts_log"] >= 1_000_000
    print(f"\n{found['rows']['parts_log']:,} part rows of {sum(found['rows'].values()):,} from CSV: "
          + ", ".join(f"{what} {wall:.1f} s ({cpu:.1f} s of processor time)" for what, (wall, cpu) in found["seconds"].items()) + f"; {found['peak']:.2f} GiB at most")
    assert found["peak"] < 2
