"""How long the commands take and how much memory they need, measured in processes of their own. Prints; asserts no times.

Run with: python -m pytest -m benchmark -s tests/benchmarks/test_commands.py
"""

from __future__ import annotations

import subprocess
import sys
import time

import numpy as np
import pytest

pytestmark = pytest.mark.benchmark


def timed(*words) -> tuple[float, float]:
    """Seconds and peak memory in MiB of one command in a process of its own."""
    import psutil

    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-m", "outcomes", *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    watched, peak = psutil.Process(process.pid), 0
    while process.poll() is None:
        try:
            peak = max(peak, watched.memory_info().rss)
        except psutil.Error:
            break
        time.sleep(0.02)
    said = process.communicate()[1]
    assert process.returncode == 0, said
    return time.perf_counter() - start, peak / 2**20


def test_asking_for_help():
    seconds = min(timed("--help")[0] for _ in range(5))
    bare = min(bare_start() for _ in range(5))
    print(f"\n--help: {seconds:.2f} s; an empty Python script in the same run: {bare:.2f} s")


def bare_start() -> float:
    start = time.perf_counter()
    subprocess.run([sys.executable, "-c", "pass"], check=True)
    return time.perf_counter() - start


def test_the_demo(tmp_path):
    seconds, memory = timed("demo", "--out", tmp_path / "demo")
    print(f"\ndemo: {seconds:.1f} s, {memory:.0f} MiB")


def test_the_commands_of_monday_on_the_demo_clinic(tmp_path):
    timed("demo", "--out", tmp_path / "demo")
    for command in ("due", "stock", "tell"):
        seconds, memory = timed(command, "--store", tmp_path / "demo/demo.duckdb", "--out", tmp_path / command)
        print(f"\n{command}: {seconds:.1f} s, {memory:.0f} MiB")


def test_check_and_load_of_a_million_part_rows(tmp_path):
    files = tmp_path / "files"
    files.mkdir()
    rows = write_long_log(files, patients=50_000, visits=5)
    seconds, memory = timed("load", files, "--store", tmp_path / "big.duckdb")
    print(f"\ncheck and load of {rows:,} part rows: {seconds:.1f} s, {memory:.0f} MiB at the peak")


def write_long_log(folder, *, patients: int, visits: int) -> int:
    """A clean long log: two sites a patient, inserts and housings looked at on every visit. Returns the part rows."""
    import pandas as pd

    ids = np.char.add("P", np.char.zfill(np.arange(patients).astype(str), 6))
    pd.DataFrame({"patient_id": ids, "audit_consent": "yes"}).to_csv(folder / "patients.csv", index=False)
    pd.DataFrame({"level": ["light"], "system": ["A"], "retention": [6.7], "unit": ["N"]}).to_csv(folder / "insert_levels.csv", index=False)
    start = np.datetime64("2015-01-05") + np.arange(patients) % 1500
    pd.DataFrame({"patient_id": ids, "arch": "lower", "delivered_on": start}).to_csv(folder / "dentures.csv", index=False)
    who, when = np.repeat(np.arange(patients), visits), np.tile(np.arange(visits), patients)
    days = (start[who] + 365 * when).astype(str)
    names = np.char.add(np.char.add(ids[who], "/"), days)
    seen = pd.DataFrame({"visit_id": names, "patient_id": ids[who], "visited_on": days, "reason": np.where(when == 0, "delivery", "recall"), "parts_checked": "listed only", "snap": "just right"})
    seen.to_csv(folder / "visits.csv", index=False)
    parts = [(p, part) for p in ("33", "43") for part in ("insert", "housing")]
    if visits * patients * len(parts) < 1_000_000:
        raise AssertionError("the benchmark is meant for a million rows")
    first = np.repeat(when == 0, len(parts))
    log = pd.DataFrame({"visit_id": np.repeat(names, len(parts)), "position": np.tile([p for p, _ in parts], len(names)), "part": np.tile([q for _, q in parts], len(names)),
                        "finding": np.where(first, "not present", "sound"), "action": np.where(first, "fitted", "none"), "level": np.where(first & (np.tile([q for _, q in parts], len(names)) == "insert"), "light", "")})
    abutments = pd.DataFrame({"visit_id": np.repeat(names[when == 0], 2), "position": np.tile(["33", "43"], patients), "part": "abutment", "finding": "not present", "action": "fitted", "level": ""})
    log = pd.concat([log, abutments])
    log.to_csv(folder / "parts_log.csv", index=False)
    return len(log)
