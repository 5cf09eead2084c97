"""Changed files through the command, in this process, with a clock beside each: what came of them, counted."""

from __future__ import annotations

import contextlib
import faulthandler
import hashlib
import io
import random
import re
import shutil
import signal
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from fuzzing import seeds
from fuzzing.changes import changed

HANG = 10.0  # seconds of the processor, so that a busy machine makes no hang of a sound run
ASLEEP = 120.0  # seconds of the clock, for a run that waits without working
TOGETHER = 100  # files in one run of check: few enough that all of them together stay far from the clock, so that only a file that hangs rings it
LOADED = 100  # one file in so many is loaded as well
INSIDE = re.compile(r"Something went wrong inside the program|Traceback \(most recent call last\)")

KIND = re.compile(r"inside the program \((\w+)\)")


@dataclass
class Found:
    """What came of the files so far."""

    files: int = 0
    outcomes: Counter = field(default_factory=Counter)  # (kind of change, outcome)
    alone: int = 0
    loads: Counter = field(default_factory=Counter)
    failures: list[dict] = field(default_factory=list)
    slowest: float = 0.0
    slowest_file: str = ""


class _Hang(BaseException):
    """Ten seconds are over. No Exception, so that nothing on the way takes it for a fault of a file."""


def _ring(*_):
    raise _Hang


def _wind() -> None:
    for which, timer, seconds in ((signal.SIGPROF, signal.ITIMER_PROF, HANG), (signal.SIGALRM, signal.ITIMER_REAL, ASLEEP)):
        signal.signal(which, _ring)
        signal.setitimer(timer, seconds)


def _stop() -> None:
    signal.setitimer(signal.ITIMER_PROF, 0)
    signal.setitimer(signal.ITIMER_REAL, 0)


def command(*arguments) -> tuple[int | None, str, float]:
    """(exit status, all that was printed, seconds) of the command; the status is None where it did not come back in time or let an error through."""
    from outcomes.cli import main

    sink, began = io.StringIO(), time.process_time()
    _wind()
    try:
        with contextlib.redirect_stdout(sink), contextlib.redirect_stderr(sink):
            status = main([str(one) for one in arguments])
    except _Hang:
        return None, "hang", time.process_time() - began
    except BaseException as problem:  # the command lets nothing through but a plain exit
        return None, f"let through {type(problem).__name__}", time.process_time() - began
    finally:
        _stop()
    return status, sink.getvalue(), time.process_time() - began


def fault(status, said: str, seconds: float) -> str:
    """Why this run of the command is not as it must be; empty where it is."""
    if status is None:
        return said
    if status not in (0, 1, 2):
        return f"exit status {status}"
    if found := INSIDE.search(said):
        return f"{found[0]} {KIND.findall(said)[:1]}"
    if seconds > HANG:
        return "hang"
    return "" if said.strip() else "nothing said"


class Fuzzing:
    """Makes changed files from a seed number, gives them to the command, and counts what came of them."""

    def __init__(self, seed: int, folder: Path):
        self.rng, self.folder, self.found = random.Random(seed), folder, Found()
        self.sound = seeds.files()
        self.store = folder / "clinic.duckdb"
        self.failed = folder / "failed"
        begun = []
        for name in seeds.STORED:
            path = folder / f"{name}.csv"
            path.write_bytes(self.sound[path.name])
            begun.append(path)
        status, said, _ = command("load", *begun, "--store", self.store, "--quiet")
        if status != 0:
            raise AssertionError(f"the sound files do not load: {said}")
        self.digest = _digest(self.store)
        shutil.copy2(self.store, folder / "before.duckdb")

    def run(self, count: int, until: float | None = None) -> Found:
        """Change and give ``count`` files, or as many as there is time for."""
        faulthandler.enable()
        waiting: list[tuple[str, Path]] = []
        while self.found.files < count and (until is None or time.time() < until):
            name = self.rng.choice(list(self.sound))
            kind, data = changed(self.rng, name, self.sound[name])
            self.found.files += 1
            path = self._write(name, data)
            if self._refused(kind, path):
                continue
            if self.found.files % LOADED == 0:
                self._load(kind, path)
            waiting.append((kind, path))
            if len(waiting) == TOGETHER:
                self._together(waiting)
                waiting = []
        if waiting:
            self._together(waiting)
        return self.found

    def _write(self, name: str, data: bytes) -> Path:
        stem, _, ending = name.rpartition(".")
        path = self.folder / f"{stem} {self.found.files}.{ending}"
        path.write_bytes(data)
        return path

    def _refused(self, kind: str, path: Path) -> bool:
        """Whether the file is refused by itself: such a one goes to the command alone, for it would hide the others of its company."""
        from outcomes.errors import OutcomesError
        from outcomes.intake import checked, decisions
        from outcomes.intake.source import Options

        _wind()
        try:
            readings, _ = checked.read_all([path], Options())
            tables = {sheet.table: checked.declared_table(sheet.table) for sheet in readings[0].sheets}
            decisions.decide(readings[0], tables, Options())
            alone = readings[0].refused
        except OutcomesError:
            alone = True
        except BaseException:  # whatever it is, the command must turn it into a sentence
            alone = True
        finally:
            _stop()
        if alone:
            self._judge([(kind, path)], *command("check", path))
            self.found.alone += 1
            path.unlink()
        return alone

    def _together(self, waiting: list[tuple[str, Path]], last: bool = True) -> None:
        """Check many files beside the store; where that fails, each alone, to know which."""
        status, said, seconds = command("check", *(path for _, path in waiting), "--store", self.store)
        if len(waiting) > 1 and (fault(status, said, seconds) or self._touched()):
            known = len(self.found.failures)
            for one in waiting:
                self._together([one], last=False)
            if len(self.found.failures) == known:
                self._keep(waiting, "in company only: " + (fault(status, said, seconds) or "the store was changed"))
        else:
            self._judge(waiting, status, said, seconds)
        for _, path in waiting if last else []:
            path.unlink()

    def _load(self, kind: str, path: Path) -> None:
        """Load a file: refused, the store stays as it was byte for byte; taken, it is put back afterwards."""
        good = ["--good-rows"] if self.rng.random() < 0.5 else []
        status, said, seconds = command("load", path, "--store", self.store, *good)
        wrong = fault(status, said, seconds)
        if not wrong and status != 0 and self._touched():
            wrong = "a load that was refused changed the store"
        if wrong:
            self._keep([(kind, path)], f"load: {wrong}")
        self.found.loads["taken" if status == 0 else "refused, store unchanged" if status in (1, 2) else "failed"] += 1
        shutil.copy2(self.folder / "before.duckdb", self.store)
        for left in self.folder.glob("clinic.duckdb?*"):
            shutil.rmtree(left) if left.is_dir() else left.unlink()
        for left in self.folder.glob("*backup*"):
            shutil.rmtree(left) if left.is_dir() else left.unlink()

    def _judge(self, given: list[tuple[str, Path]], status, said: str, seconds: float) -> None:
        wrong = fault(status, said, seconds) or ("a check changed the store" if self._touched() else "")
        if wrong:
            self._keep(given, wrong)
        word = "failed" if wrong else {0: "checked, no error", 1: "checked, problems listed" if "cannot be used as it is" not in said else "refused as a whole with its reasons", 2: "refused in a sentence"}[status]
        for kind, path in given:
            self.found.outcomes[kind, word if len(given) == 1 else "checked in company, problems listed" if status else "checked in company, no error"] += 1
        if seconds / len(given) > self.found.slowest:
            self.found.slowest, self.found.slowest_file = seconds / len(given), given[0][1].name

    def _keep(self, given: list[tuple[str, Path]], why: str) -> None:
        self.failed.mkdir(exist_ok=True)
        for _, path in given:
            shutil.copy2(path, self.failed / path.name)
        self.found.failures.append({"files": [path.name for _, path in given], "why": why})

    def _touched(self) -> bool:
        return _digest(self.store) != self.digest


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def fuzz(count: int, seed: int, folder: Path | None = None, until: float | None = None) -> Found:
    """Give ``count`` changed files to the command (fewer where ``until``, a time of day in seconds, comes first)."""
    if folder is not None:
        return Fuzzing(seed, folder).run(count, until)
    with tempfile.TemporaryDirectory() as made:
        return Fuzzing(seed, Path(made)).run(count, until)
