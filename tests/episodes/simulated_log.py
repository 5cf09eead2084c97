"""A tiny clinic with known truth: parts fail on known days, visits find what they look at, and the log is kept perfectly or sloppily.

A sloppy log is incomplete, never false: looks are missed, notes are silent, dates are coarse, sound parts are often implied and not listed.
The clinic simulated here shares no code with the package's own simulated clinic.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from random import Random

START = datetime.date(2015, 1, 1)
NOTICE_DAYS = 30
NEVER = 10**6
FAILING = {"insert": "worn", "housing": "debonded", "abutment": "loose in its seat"}
SCALE = {"insert": 700, "housing": 1200, "abutment": 1500}


def calendar(day: int) -> str:
    return (START + datetime.timedelta(days=day)).isoformat()


@dataclass
class Part:
    """One true part: fitted and ended on true days; ``fails``: the day it fails, unless it is gone by then. ``bonds``: from, fails, picked up again, of a housing."""

    kind: str
    fitted: int
    fails: int = 0
    calls: int = 0
    logged_start: bool = True
    mentioned: bool = True
    ended: int | None = None
    how: str = ""
    tightened: bool = False
    bonds: list[list[int | None]] = field(default_factory=list)


@dataclass
class Visit:
    day: int
    reason: str
    checked: str = "none"
    rows: list[dict] = field(default_factory=list)
    snap_history: str | None = None
    written: str = ""


class Clinic:
    """Simulates ``patients`` patients and writes their log. ``tables``: the log; ``parts``: the truth by (owner, position, part), in order."""

    def __init__(self, seed: int, *, patients: int = 3, perfect: bool = True, recall: int = 365, trigger: float = 0.5, late: bool = False):
        self.random = Random(seed)
        self.perfect, self.recall, self.trigger, self.late = perfect, recall, trigger, late
        self.tables: dict[str, list[dict]] = {name: [] for name in ("patients", "dentures", "implants", "insert_levels", "visits", "parts_log", "denture_log")}
        self.parts: dict[tuple[str, str, str], list[Part]] = {}
        self.closing = 3000
        for number in range(patients):
            self._patient(f"P{number}")

    # ---------------------------------------------------------------- life

    def _chance(self, share: float) -> bool:
        return self.random.random() < share

    def _patient(self, name: str) -> None:
        delivered = self.random.randrange(0, 1200)
        ends = self.random.randrange(delivered + 30, self.closing + 1) if self._chance(0.4) else None
        how = self.random.choice(["died", "moved", "withdrew"]) if ends else ""
        self.stop = min(ends or self.closing, self.closing)
        positions = ("33", "43") if self._chance(0.6) else ("33", "43", "35", "45")
        self.owner, self.name = f"{name}/lower/1", name
        self.log_begins = delivered + self.random.randrange(200, 900) if self.late and self._chance(0.6) else delivered
        self.visits: list[Visit] = []
        self.sites = {}
        for position in positions:
            for kind in ("abutment", "housing", "insert"):
                self._fit(kind, position, delivered)
        first = Visit(delivered, "delivery", "all")
        first.rows = [self._row(position, kind, "not present", "fitted") for position, kind in self.sites]
        self.visits.append(first)
        day = delivered
        next_recall = delivered + 7 + self.random.randrange(5)
        while True:
            day, reason = self._next_visit(day, next_recall)
            if day > self.stop:
                break
            if day >= next_recall:
                next_recall = day + self.recall + self.random.randrange(-40, 41)
            if reason == "recall" and not self.perfect and self._chance(0.25):
                continue
            self.visits.append(self._visit(day, reason))
        self._end(ends, how)
        self._write(delivered, ends, how)

    def _fit(self, kind: str, position: str, day: int, logged: bool = True) -> Part:
        part = Part(kind, day, logged_start=logged, mentioned=logged)
        self._draw_failure(part, day)
        if kind == "housing":
            part.bonds.append([day, part.fails, None])
        owner = self.name if kind == "abutment" else self.owner
        self.parts.setdefault((owner, position, kind), []).append(part)
        self.sites[position, kind] = part
        return part

    def _next_visit(self, day: int, recall: int) -> tuple[int, str]:
        """The next recall, or a problem visit before it."""
        call = min((part.calls for part in self.sites.values() if part.calls > day), default=NEVER)
        return (call, "problem") if call <= recall else (max(recall, day + 1), "recall")

    def _draw_failure(self, part: Part, day: int) -> None:
        """When the part fails, and when that brings the patient in: a debonded housing always does, a worn insert sometimes, an abutment never."""
        part.fails = day + 1 + int(self.random.weibullvariate(SCALE[part.kind], 1.4))
        felt = part.kind == "housing" or (part.kind == "insert" and self._chance(self.trigger))
        part.calls = part.fails + self.random.randrange(NOTICE_DAYS) if felt else NEVER

    # ---------------------------------------------------------------- a visit

    def _visit(self, day: int, reason: str) -> Visit:
        checked = "all" if self.perfect else self.random.choice(["all", "all", "inserts only", "listed only", "none", "notes silent"])
        if reason == "problem" and any(part.fails <= day for (_, kind), part in self.sites.items() if kind == "housing") and checked in ("none", "inserts only"):
            checked = "listed only"  # what the patient came for is looked at
        visit = Visit(day, reason, checked, snap_history="never right")
        gone_with_housing = set()
        for (position, kind), part in list(self.sites.items()):
            looked = self._looks(checked, kind, reason, part, day)
            if (position, kind) in gone_with_housing:
                self._insert_with_housing(visit, position, part, looked)
                continue
            found = looked and part.fails <= day
            if kind == "housing" and found and self._chance(0.4):
                gone_with_housing.add((position, "insert"))
                self._replace(visit, position, part, "debonded", "housing")
            elif found:
                self._mend(visit, position, part)
            elif kind == "insert" and self._chance(0.1):
                self._replace(visit, position, part, "sound" if looked else "not checked", "insert", "wanted firmer")
            elif not self.perfect and looked and checked != "all" and (checked != "inserts only" or kind != "insert"):
                visit.rows.append(self._row(position, kind, "sound", "none"))
            elif not self.perfect and part.mentioned and self._chance(0.05) and not looked:
                visit.rows.append(self._row(position, kind, self.random.choice(["not checked", "notes silent"]), "none"))
        return visit

    def _looks(self, checked: str, kind: str, reason: str, part: Part, day: int) -> bool:
        if kind == "housing" and reason == "problem" and part.fails <= day:
            return True
        if checked == "all":
            return True
        if checked == "inserts only" and kind == "insert":
            return True
        return checked in ("listed only", "notes silent") and self._chance(0.4)

    def _mend(self, visit: Visit, position: str, part: Part) -> None:
        if part.kind == "insert":
            if not self.perfect and self._chance(0.2):
                visit.rows.append(self._row(position, "insert", "worn", "none"))
            else:
                self._replace(visit, position, part, "worn", "insert")
        elif part.kind == "housing":
            row = self._row(position, "housing", "debonded", "picked up again")
            self._noticed(row, part, visit)
            visit.rows.append(row)
            self._draw_failure(part, visit.day)
            part.bonds[-1][2] = visit.day
            part.bonds.append([visit.day, part.fails, None])
        else:
            visit.rows.append(self._row(position, "abutment", "loose in its seat", "tightened"))
            part.tightened, part.bonds = True, [[part.fitted, part.fails, None]]
            part.fails = NEVER

    def _replace(self, visit: Visit, position: str, part: Part, finding: str, kind: str, reason: str | None = None) -> None:
        row = self._row(position, kind, finding, "replaced", reason)
        if kind == "housing":
            self._noticed(row, part, visit)
        visit.rows.append(row)
        part.mentioned = True
        part.ended, part.how = visit.day, "failed" if finding == FAILING[kind] else reason
        self._fit(kind, position, visit.day)

    def _insert_with_housing(self, visit: Visit, position: str, part: Part, looked: bool) -> None:
        """The insert goes with its housing: with a row of its own, or, in a sloppy log, without a word."""
        worn = part.fails <= visit.day
        if self.perfect or self._chance(0.6):
            finding = ("worn" if worn else "sound") if looked else "not checked"
            self._replace(visit, position, part, finding, "insert", "with reline or housing work")
            if part.how == "with reline or housing work":
                part.how = "with other work"
        else:
            part.ended, part.how = visit.day, "with its carrier"
            self._fit("insert", position, visit.day, logged=False)

    def _noticed(self, row: dict, part: Part, visit: Visit) -> None:
        if self._chance(0.3):
            row["noticed_on"] = calendar(part.fails)[: self.random.choice([7, 10])]

    def _row(self, position: str, kind: str, finding: str, action: str, reason: str | None = None) -> dict:
        part = self.sites.get((position, kind))
        if part is not None and finding not in ("not checked", "notes silent"):
            part.mentioned = True
        row = {"denture_id": self.owner, "position": position, "part": kind, "finding": finding, "action": action, "change_reason": reason}
        return row | ({"level": "light"} if action in ("fitted", "replaced") and kind == "insert" else {})

    # ---------------------------------------------------------------- the log

    def _end(self, ends: int | None, how: str) -> None:
        for part in self.sites.values():
            part.ended, part.how = (ends, how) if ends is not None and ends <= self.closing else (None, "")

    def _write(self, delivered: int, ends: int | None, how: str) -> None:
        kept = [visit for visit in self.visits if visit.day >= self.log_begins]
        if not kept:
            self.parts = {site: parts for site, parts in self.parts.items() if site[0] not in (self.owner, self.name)}
        if kept and kept[0].reason != "delivery":
            self._already_in_place(kept[0])
        self._coarsen(kept)
        left = {"left_on": calendar(ends), "left_reason": how} if ends is not None else {}
        self.tables["patients"].append({"patient_id": self.name, "audit_consent": "yes"} | left)
        written = kept[0].written if kept and kept[0].reason == "delivery" else calendar(delivered)
        self.tables["dentures"].append({"denture_id": self.owner, "patient_id": self.name, "arch": "lower", "delivered_on": written, "use": "everyday"})
        for number, visit in enumerate(kept):
            visit_id = f"{self.name}/{number}"
            self.tables["visits"].append({"visit_id": visit_id, "patient_id": self.name, "visited_on": visit.written, "reason": visit.reason,
                                          "parts_checked": visit.checked, "snap_history": visit.snap_history})  # fmt: skip
            self.tables["parts_log"] += [{"visit_id": visit_id} | row for row in visit.rows]

    def _already_in_place(self, first: Visit) -> None:
        """The parts in place at the first visit of the log get a row there: since a day, a month, a year or nobody knows when."""
        for (owner, position, kind), parts in self.parts.items():
            if owner not in (self.owner, self.name):
                continue
            parts[:] = [part for part in parts if part.ended is None or part.ended >= first.day]
            old = parts[0]
            row = next((row for row in first.rows if row["position"] == position and row["part"] == kind), None)
            if row is None and old.how == "with its carrier" and old.ended == first.day:
                old.mentioned = False
                continue
            if row is None:
                looked = first.checked == "all" or (first.checked == "inserts only" and kind == "insert")
                row = {"denture_id": self.owner, "position": position, "part": kind, "finding": "sound" if looked else "not checked", "action": "none"}
                first.rows.append(row)
            old.bonds[:] = [bond for bond in old.bonds if bond[2] is None or bond[2] >= first.day]
            known = self._chance(0.7) and old.logged_start and not old.tightened
            since = old.bonds[0][0] if kind == "housing" else old.fitted
            row["in_place_since"] = calendar(since)[: self.random.choice([4, 7, 10])] if known else "not known"
            old.logged_start, old.mentioned = known, True

    def _coarsen(self, visits: list[Visit]) -> None:
        """Some dates of a sloppy log are coarse, but never so that the order of two visits with rows is lost."""
        for visit in visits:
            visit.written = calendar(visit.day)
        for visit in visits if not self.perfect else ():
            length = self.random.choices([10, 7, 4], [0.7, 0.25, 0.05])[0]
            within = calendar(visit.day)[:length]
            others = [other for other in visits if other is not visit and calendar(other.day)[:length] == within]
            if not any(other.rows for other in others) or not visit.rows:
                if all(len(other.written) == 10 for other in others):
                    visit.written = within
