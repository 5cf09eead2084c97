"""Random clinics, year by year, as the log that a packet is made from: patients come, parts fail, some leave."""

from __future__ import annotations

import datetime
import tempfile
from pathlib import Path

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.analyses import club_packet
from outcomes.analyses.cohort import Log
from outcomes.club.releases import Releases
from outcomes.errors import DataProblem
from outcomes.plan import Plan, read_plan

ENDPOINTS = ("housing bond failure", "denture fracture")
START = pd.Timestamp("2015-01-01")


def plan_with(**sharing) -> Plan:
    body = {key: dict(value) if isinstance(value, dict) else value for key, value in read_plan().items()}
    body["report"] = {**body["report"], "endpoints": list(ENDPOINTS), "draws": 20}
    body["sharing"] = {**body["sharing"], **sharing}
    return Plan(body)


class Clinic:
    """Patients with their groups and lives, once and for all; ``log(year)`` is what is known by then."""

    def __init__(self, seed: int, patients: int | None = None, plan: Plan | None = None):
        r = self.r = np.random.default_rng(seed)
        self.plan = plan or plan_with(**[{}, {}, {"preset": "cms"}, {"preset": "hes"}, {"minimum_patients": 5, "round_to": 1}][seed % 5])
        n = int(patients or r.integers(25, 400))
        self.n, self.people = n, [f"P{k:04}" for k in range(n)]
        pace = r.uniform(1, 5)  # years over which they came
        self.came = np.sort(r.uniform(0, pace, n) * 365.25)
        self.jaw = r.choice(3, n, p=r.dirichlet([6, 2, 1]))
        self.force = r.choice([6.0, 10.0, 14.0, np.nan], n, p=r.dirichlet([5, 1, 3, 1]))
        self.sites = r.choice([2, 4], n, p=r.dirichlet([3, 1]))
        self.born = np.where(r.random(n) < 0.05, np.nan, 2015 - r.integers(45, 90, n))
        self.life = {name: np.ceil(r.exponential(r.uniform(1, 12) * 365.25, n)) for name in ENDPOINTS}
        self.leaves = self.came + r.exponential(r.uniform(4, 40) * 365.25, n)
        self.seen = {name: r.random(n) > r.choice([0, 0.03, 0.2]) for name in ENDPOINTS}
        self.problems = [np.sort(r.uniform(0, 3650, r.poisson(4 * r.gamma(1)))) for _ in range(n)]

    def log(self, years: float) -> Log:
        """The log as it stood so many years after the start."""
        now = years * 365.25
        here = np.flatnonzero(self.came < now)
        patients = pd.DataFrame({"patient_id": [self.people[k] for k in here], "birth_year": self.born[here], "sex": "female", "left_reason": None,
                                 "ends_on": [START + pd.Timedelta(days=int(self.leaves[k])) if self.leaves[k] < now else pd.NaT for k in here]})  # fmt: skip
        patients["ends_on"] = pd.to_datetime(patients["ends_on"])
        arches = [(k, arch) for k in here for arch in ([["lower"], ["upper"], ["lower", "upper"]][self.jaw[k]])]
        dentures = pd.DataFrame({"denture_id": [f"{self.people[k]}/{arch}" for k, arch in arches], "patient_id": [self.people[k] for k, _ in arches], "arch": [arch for _, arch in arches],
                                 "delivered_on": [START + pd.Timedelta(days=int(self.came[k])) for k, _ in arches], "delivered_on_precision": "day", "retired_on": pd.NaT})  # fmt: skip
        episodes = pd.DataFrame([{"part": "insert", "denture_id": f"{self.people[k]}/{'upper' if self.jaw[k] == 1 else 'lower'}", "patient_id": self.people[k], "position": str(31 + site), "serial": 1, "retention_n": self.force[k]}
                                 for k in here for site in range(self.sites[k])])  # fmt: skip
        times = pd.concat([self._times(name, here, now) for name in ENDPOINTS], ignore_index=True)
        first = [(self.people[k], int(self.came[k]), False) for k in here]
        first += [(self.people[k], int(self.came[k] + day), True) for k in here for day in self.problems[k] if self.came[k] + day < min(now, self.leaves[k])]
        visits = pd.DataFrame([{"visit_id": str(i), "patient_id": who, "day": START + pd.Timedelta(days=day), "seen": True, "problem": problem, "minutes": 10.0, "arch": None, "looked": True, "reason": "problem" if problem else "delivery"} for i, (who, day, problem) in enumerate(first)])
        return Log(self.plan, (START + pd.Timedelta(days=int(now))).date() if now else datetime.date(2015, 1, 1), len(here), 0, patients, dentures, visits, pd.DataFrame(), pd.DataFrame(),
                   pd.DataFrame({"instrument": []}), episodes, times, "")  # fmt: skip

    def _times(self, name: str, here: np.ndarray, now: float) -> pd.DataFrame:
        here = here[self.seen[name][here]]
        until = np.maximum(np.floor(np.minimum(now, self.leaves[here]) - self.came[here]), 1.0)
        life = self.life[name][here]
        found = np.minimum(life, until)
        unit = schemas.endpoints()[name]["unit"]
        return pd.DataFrame({"endpoint": name, "unit_id": [f"{self.people[k]}/{unit}" for k in here], "patient_id": [self.people[k] for k in here], "excluded": "", "serial": 1, "first_insert": True, "fresh": True,
                             "entry_day": 0.0, "found_day": found, "found_day_other": found, "left_day": np.where(life <= until, found - 1, found), "right_day": np.where(life <= until, found, np.inf), "observed": life <= until, "cause": ""})  # fmt: skip


def shared(clinic: Clinic, years: list[float]) -> list[club_packet.Made]:
    """The packets that a clinic shares, one after the other; those that are refused are left out."""
    releases, made = Releases(Path(tempfile.gettempdir()) / "nothing", "secret"), []
    for year in years:
        try:
            one = club_packet.make(clinic.log(year), releases)
        except DataProblem:
            continue
        releases.made.append({"sign": "", "checksum": one.packet["checksum"], "closes": "", "counts": one.counts, "release": one.release.body()})
        made.append(one)
    return made
