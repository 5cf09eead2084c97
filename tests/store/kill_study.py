"""Loads killed (SIGKILL) at random moments, and images of the store's files taken at random moments of a load, as a power cut would leave them.

Run: python tests/store/kill_study.py [--kills 200] [--images 200] [--seed 1] [--out FILE.json]; about ten minutes of processor time. The recorded
result stands beside this file. After every kill, and for every image, the store must open, verify, and hold exactly what it
held before the load or exactly what it holds after it.
"""

from __future__ import annotations

import argparse
import json
import pickle
import platform
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from datetime import date
from pathlib import Path

CHILD = """
import pickle, sys
import duckdb, pandas, pyarrow
from outcomes.store import open_store
checked = pickle.load(open(sys.argv[2], "rb"))
print("ready", flush=True)
sys.stdin.readline()
with open_store(sys.argv[1]) as store:
    store.load(checked, withdraw=True)
    print("done", flush=True)
print("closed", flush=True)
sys.stdin.readline()
"""


def prepare(folder: Path) -> tuple[Path, Path, tuple, tuple]:
    """A store with a clinic of 60 patients; a load that adds, changes and withdraws rows; content before and after it."""
    from outcomes import intake, synthetic_data
    from outcomes.store import open_store

    today = date(2030, 1, 1)
    checks = []
    for name, patients in (("first", 60), ("second", 90)):
        files = synthetic_data.write(synthetic_data.simulate("demo", patients=patients, seed=11), folder / name, form="day sheet", file="xlsx")
        checks.append(intake.check(files, today=today))
    base, packed = folder / "base.duckdb", folder / "second.pickle"
    packed.write_bytes(pickle.dumps(checks[1]))
    with open_store(base, create=True) as store:
        store.load(checks[0])
    shutil.copy(base, folder / "after.duckdb")
    with open_store(folder / "after.duckdb") as store:
        report = store.load(checks[1], withdraw=True)
        assert report.added and report.changed and report.withdrawn, report
    return base, packed, content(base), content(folder / "after.duckdb")


def content(path: Path) -> tuple[str, int]:
    """Revision and length of the history of a store in which nothing is wrong."""
    from outcomes.store import open_store

    with open_store(path) as store:
        wrong = store.verify()
        assert wrong == [], wrong
        return store.revision, len(store.history())


def start(store: Path, packed: Path) -> subprocess.Popen:
    """A process that has everything imported and waits to load."""
    child = subprocess.Popen([sys.executable, "-c", CHILD, str(store), str(packed)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert child.stdout.readline() == "ready\n", child.stderr.read()
    return child


def fresh(folder: Path, base: Path) -> Path:
    """A copy of the store in a folder of its own."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    return Path(shutil.copy(base, folder / "clinic.duckdb"))


def duration(folder: Path, base: Path, packed: Path) -> float:
    """Seconds of a load that nobody stops, from go to closed: the longest of three."""
    took = []
    for _ in range(3):
        child = start(fresh(folder, base), packed)
        began = time.monotonic()
        child.stdin.write("go\n")
        child.stdin.flush()
        assert [child.stdout.readline(), child.stdout.readline()] == ["done\n", "closed\n"]
        took.append(time.monotonic() - began)
        child.kill()
        child.communicate()
    return max(took)


def judged(path: Path, before: tuple, after: tuple) -> str:
    """What a store holds: before, after, or what went wrong."""
    try:
        found = content(path)
    except Exception as problem:
        return f"lost: {type(problem).__name__} {problem}"
    return "before" if found == before else "after" if found == after else "lost: neither before nor after"


def kills(number: int, chance: random.Random, folder: Path, base: Path, packed: Path, before: tuple, after: tuple, longest: float) -> Counter:
    """Loads killed at random moments, each from a fresh copy of the store."""
    found: Counter = Counter()
    for _ in range(number):
        path = fresh(folder / "killed", base)
        child = start(path, packed)
        child.stdin.write("go\n")
        child.stdin.flush()
        time.sleep(chance.uniform(0, longest))
        child.send_signal(signal.SIGKILL)
        done = "done" in child.communicate()[0]
        verdict = judged(path, before, after)
        found[verdict if not (done and verdict == "before") else "lost: reported as done"] += 1
        if [left for left in path.parent.rglob("*.part*")] and verdict == "after":
            found["with half a copy left beside it"] += 1
    return found


def images(number: int, chance: random.Random, folder: Path, base: Path, packed: Path, before: tuple, after: tuple, longest: float) -> Counter:
    """The store's files as they are at random moments of a load, the process being stopped while they are copied."""
    found: Counter = Counter()
    while sum(found.values()) < number:
        path = fresh(folder / "running", base)
        child = start(path, packed)
        child.stdin.write("go\n")
        child.stdin.flush()
        began, taken = time.monotonic(), []
        pauses = sorted(chance.uniform(0, longest) for _ in range(10))
        lost = 0.0
        for pause in pauses:
            time.sleep(max(0.0, pause - (time.monotonic() - began - lost)))
            halted = time.monotonic()
            child.send_signal(signal.SIGSTOP)
            image = folder / f"image{len(taken)}"
            shutil.rmtree(image, ignore_errors=True)
            image.mkdir()
            for name in ("clinic.duckdb", "clinic.duckdb.wal"):
                if (path.parent / name).exists():
                    shutil.copy(path.parent / name, image)
            taken.append(image / "clinic.duckdb")
            child.send_signal(signal.SIGCONT)
            lost += time.monotonic() - halted
        child.kill()
        child.communicate()
        found.update(judged(image, before, after) for image in taken[: number - sum(found.values())])
    return found


def study(kill_count: int, image_count: int, seed: int) -> dict:
    """Both parts; the counts of what was found."""
    import duckdb

    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        base, packed, before, after = prepare(folder)
        longest = 1.1 * duration(folder / "timed", base, packed)
        killed = kills(kill_count, chance, folder, base, packed, before, after, longest)
        imaged = images(image_count, chance, folder, base, packed, before, after, longest)
    return {"kills": dict(sorted(killed.items())), "images": dict(sorted(imaged.items())), "moments within seconds of a load": round(longest, 2), "seed": seed,
            "system": f"{platform.system()} {platform.machine()}", "duckdb": duckdb.__version__}


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--images", type=int, default=200)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--out", type=Path)
    options = asked.parse_args()
    result = json.dumps(study(options.kills, options.images, options.seed), indent=2)
    print(result)
    if options.out:
        options.out.write_text(result + "\n", encoding="utf-8")
