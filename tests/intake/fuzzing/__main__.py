"""python tests/intake/fuzzing [COUNT] [--seed N] [--processes N] [--minutes M] [--keep DIR]: changed files through the command, and record.json beside this file."""

import argparse
import json
import multiprocessing
import platform
import sys
import time
from collections import Counter
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).resolve().parent
PORTION = 2500  # files of one seed number; the record is written after each
sys.path[:0] = [str(HERE.parent)]

from fuzzing.engine import HANG, LOADED, TOGETHER, fuzz  # noqa: E402


def _part(task):
    count, seed, keep, until = task
    if keep:
        keep.mkdir(parents=True, exist_ok=True)
    return fuzz(count, seed, keep, until)


def main() -> int:
    """Run, write the record, and give 1 where a file failed."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("count", nargs="?", type=int, default=100_000)
    words.add_argument("--seed", type=int, default=20260)
    words.add_argument("--processes", type=int, default=1)
    words.add_argument("--minutes", type=float)
    words.add_argument("--keep", type=Path, help="an empty folder in which files that failed are kept")
    words.add_argument("--record", type=Path, default=HERE / "record.json")
    asked = words.parse_args()
    began = time.time()
    until = began + 60 * asked.minutes if asked.minutes else None
    starts = range(0, asked.count, PORTION)
    tasks = [(min(PORTION, asked.count - start), asked.seed + number, asked.keep / str(number) if asked.keep else None, until) for number, start in enumerate(starts)]
    parts = []
    # The parent has imported nothing heavy yet, so that a fork carries no threads.
    with multiprocessing.get_context("fork").Pool(asked.processes) as pool:
        for part in pool.imap_unordered(_part, tasks, chunksize=1):
            parts.append(part)
            record = _record(asked, parts, [seed for _, seed, _, _ in tasks], (time.time() - began) / 60)
            asked.record.write_text(json.dumps(record, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(json.dumps({name: record[name] for name in ("files", "outcomes", "loads", "slowest file, seconds", "minutes")}, indent=1))
    for failure in record["failures"][:50]:
        print(failure)
    return 1 if record["failures"] else 0


def _record(asked, parts: list, seeds: list[int], minutes: float) -> dict:
    """What came of the portions that are done."""
    counted, loads = Counter(), Counter()
    for part in parts:
        counted.update(part.outcomes)
        loads.update(part.loads)
    slowest = max(parts, key=lambda part: part.slowest)
    return {
        "files": sum(part.files for part in parts),
        "asked": asked.count,
        "failures": [failure for part in parts for failure in part.failures],
        "outcomes": {kind: {word: number for (one, word), number in sorted(counted.items()) if one == kind} for kind in sorted({kind for kind, _ in counted})},
        "checked one by one": sum(part.alone for part in parts),
        "checked in companies of": TOGETHER,
        "loaded as well, one in": LOADED,
        "loads": dict(loads),
        "a hang is longer than seconds": HANG,
        "slowest file, seconds": round(slowest.slowest, 2),
        "minutes": round(minutes, 1),
        "processes": asked.processes,
        "seeds": [seeds[0], seeds[-1]],
        "versions": {"python": platform.python_version(), **{name: version(name) for name in ("outcomes", "duckdb", "pandas", "pyarrow", "openpyxl", "lxml")}},
    }


if __name__ == "__main__":
    sys.exit(main())
