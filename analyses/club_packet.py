"""A clinic's totals for its study club: counts of people, and the estimates that their counts allow to be told."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import cache

import numpy as np
import pandas as pd

from outcomes import __version__, schemas
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.people import satisfied
from outcomes.analyses.upkeep import upkeep
from outcomes.club import packet as packets
from outcomes.club.bands import Band, bands, labelled, labels_of, said
from outcomes.club.cells import Cells, Known, Release
from outcomes.club.hiding import LATER, hide
from outcomes.club.rule import Rule, rule_of

EVERYBODY = "all patients"
HAD, NOT, OUT = "had it", "did not", "not followed"
UPKEEP = ("unplanned visits: had one", "unplanned visits: had none", "unplanned visits: not followed")
SATISFIED = ("satisfaction: answered before and after", "satisfaction: did not answer both times")
GROUPS = ("jaw", "starting level", "sites", "age")
CROSSED = ("jaw", "starting level")  # also told by endpoint
SHARES, ERRORS = 3, 4  # decimals of shares, and of everything else


@dataclass(frozen=True, eq=False)
class Made:
    """``packet``: what leaves; ``release`` and ``counts``: for the record of releases; ``reasons``: why each hidden label is hidden; ``left_out``: what could not be counted at all."""

    packet: dict
    release: Release
    counts: dict[str, int]
    reasons: dict[str, str]
    rule: Rule


def make(log, releases) -> Made:
    """The packet of a log under its plan's sharing rule, given what was shared before.

    Raises DataProblem where the patients are too few, or few more than in an earlier release.
    """
    rule = rule_of(log.plan)
    groups = _groups(log)
    lives = [log.lifetime(name) for name in log.plan["report"]["endpoints"]]
    told = {life.name: _Told.of(life, log, groups.index, rule) for life in lives}
    visits, scored = upkeep(log), satisfied(log, next(iter(log.plan["instruments"]), ""))
    cells = _cells(groups, told, visits, scored)
    earlier = releases.earlier
    moved = {label for label, count in cells.counts.items() if any(rule.few(count - before.get(label, count)) for _, before in earlier)}
    shown = hide(cells, rule, earlier, known=lambda hidden: tuple(known for one in told.values() if not one.why(hidden) for known in one.known))
    reasons = shown.reasons
    body = {
        "format": packets.FORMAT, "software": __version__, "codebook": codebook(), "questions": questions(log.plan), "questions_digest": packets.digest(questions(log.plan)),
        "sharing": rule.body(), "clinic": releases.clinic, "closes": f"{log.closing.year}, quarter {(log.closing.month + 2) // 3}",
        "people": packets.people_shown(shown.release.shown),
        "endpoints": [one.body(shown.release.shown, reasons, moved) for one in told.values()],
        "upkeep": _upkeep(visits, reasons, moved, rule), "satisfaction": _satisfaction(scored, log.plan, reasons, moved),
    }  # fmt: skip
    return Made(packets.sealed({**body, "sign": releases.sign(body)}), shown.release, cells.counts, reasons, rule)


# ---------------------------------------------------------------- what the clubs' members must have in common

@cache
def codebook() -> dict[str, str]:
    """SHA-256 of each declaration that gives the words and numbers of a log their meaning, by its name."""
    import tomllib

    files = [schemas.HERE / "codebook.toml", schemas.HERE / "endpoints.toml", *sorted((schemas.HERE / "tables").glob("*.toml")), *sorted((schemas.HERE / "instruments").glob("*.toml"))]
    return {path.relative_to(schemas.HERE).as_posix(): packets.digest(tomllib.loads(path.read_text(encoding="utf-8")))[:16] for path in files}


def questions(plan) -> dict:
    """What of a plan decides what the numbers mean: settings that change only how a page looks are left out."""
    declared = {**schemas.endpoints(), **{row["name"]: row for row in plan.get("endpoints", [])}}
    report = plan["report"]
    return {
        "endpoints": {name: declared[name] for name in report["endpoints"]}, "years": {"horizons": report["horizons_years"], "headline": report["headline_years"]},
        "level": report["level"], "rules": dict(plan["rules"]), "levels": dict(plan["levels"]), "instruments": {name: dict(rule) for name, rule in plan["instruments"].items()},
    }  # fmt: skip


# ---------------------------------------------------------------- people

def _groups(log) -> pd.DataFrame:
    """One row per patient with an overdenture that may be audited: the groups the patient belongs to."""
    dentures = log.dentures.sort_values(["patient_id", "delivered_on", "arch", "denture_id"], na_position="first")
    arch = dentures.groupby("patient_id")["arch"]
    jaws = (arch.first() + " jaw only").where(arch.nunique() < 2, "both jaws")
    first = dentures.drop_duplicates("patient_id").set_index("patient_id")
    inserts = log.episodes[log.episodes["part"].isin(("insert", "clip")) & log.episodes["denture_id"].isin(first["denture_id"])].sort_values("serial").drop_duplicates(["denture_id", "position"])
    forces = inserts.groupby("patient_id").agg(low=("retention_n", "min"), high=("retention_n", "max"), known=("retention_n", "count"), parts=("position", "size"), sites=("position", "nunique")).reindex(jaws.index)
    light, firm = forces["high"] <= log.plan["levels"]["low_n"], forces["low"] >= log.plan["levels"]["medium_n"]
    level = np.select([~(forces["known"] == forces["parts"]), light, firm], ["starting level not known", "started light", "started medium or firm"], "started mixed or between")
    sites = np.select([forces["sites"].isna(), forces["sites"] <= 2], ["sites not known", "one or two sites"], "three or more sites")
    age = first["delivered_on"].dt.year - log.patients.set_index("patient_id")["birth_year"].astype(float).reindex(jaws.index)
    ages = np.select([age.isna(), age < 65, age < 75], ["age not known", "age under 65", "age 65 to 74"], "age 75 or older")
    return pd.DataFrame({"jaw": jaws, "starting level": level, "sites": sites, "age": ages}, index=jaws.index)


NAMES = {"jaw": ("lower jaw only", "upper jaw only", "both jaws"), "starting level": ("started light", "started mixed or between", "started medium or firm", "starting level not known"),
         "sites": ("one or two sites", "three or more sites", "sites not known"), "age": ("age under 65", "age 65 to 74", "age 75 or older", "age not known")}  # fmt: skip


def _cells(groups: pd.DataFrame, told: dict, visits, scored) -> Cells:
    counts: dict[str, int] = {EVERYBODY: len(groups)}
    sums, spare, growing = [], {}, {EVERYBODY}
    for group in GROUPS:
        growing |= set(NAMES[group])
        counts |= {name: int((groups[group] == name).sum()) for name in NAMES[group]}
        sums.append((EVERYBODY, NAMES[group]))
        spare |= dict.fromkeys(NAMES[group], 2)
    for name, one in told.items():
        if one.silent:
            continue
        labels = {kind: f"{name}: {kind}" for kind in (HAD, NOT, OUT)}
        counts |= {labels[kind]: int((one.kind == kind).sum()) for kind in labels}
        sums.append((EVERYBODY, tuple(labels.values())))
        spare |= {labels[HAD]: 0, labels[NOT]: 1, labels[OUT]: 3}
        growing.add(labels[HAD])
        more, added, spared = labelled(name, one.bands, EVERYBODY, (labels[HAD], labels[NOT], labels[OUT]))
        counts |= more
        sums += added
        spare |= spared
        for group in CROSSED:
            inner = {(kind, part): f"{name}: {kind}, {part}" for kind in labels for part in NAMES[group]}
            counts |= {label: int(((one.kind == kind) & (groups[group] == part)).sum()) for (kind, part), label in inner.items()}
            sums += [(part, tuple(inner[kind, part] for kind in labels)) for part in NAMES[group]]
            sums += [(labels[kind], tuple(inner[kind, part] for part in NAMES[group])) for kind in labels]
            spare |= dict.fromkeys(inner.values(), 4)
            growing |= {inner[HAD, part] for part in NAMES[group]}
    seen = visits.patients[visits.patients["patient_id"].isin(groups.index) & (visits.patients["years"] > 0)]
    had = int((seen["unplanned"] > 0).sum())
    counts |= dict(zip(UPKEEP, (had, len(seen) - had, len(groups) - len(seen))))
    both = scored.pairs if scored is not None else 0
    counts |= dict(zip(SATISFIED, (both, len(groups) - both)))
    sums += [(EVERYBODY, UPKEEP), (EVERYBODY, SATISFIED)]
    spare |= {UPKEEP[0]: 0, UPKEEP[1]: 1, UPKEEP[2]: 3, SATISFIED[0]: 0, SATISFIED[1]: 1}
    return Cells(counts, tuple(sums), EVERYBODY, spare, frozenset(growing | {UPKEEP[0], SATISFIED[0]}))


# ---------------------------------------------------------------- estimates

@dataclass(frozen=True, eq=False)
class _Told:
    """One endpoint: each patient's ``kind`` by the last time that may be told, and the curve there. ``silent``: why nothing can be said at all."""

    name: str
    unit: str
    kind: pd.Series
    bands: list[Band]
    curve: tuple[tuple[float, float | None], ...]
    known: tuple[Known, ...]
    silent: str = ""

    @classmethod
    def of(cls, life, log, people: pd.Index, rule: Rule) -> _Told:
        if log.guard_of(life):
            return cls(life.name, life.unit, pd.Series(OUT, people), [], (), (), "its log lists failures only")
        rows = life.rows[life.rows["patient_id"].isin(people)]
        last = rows.groupby("patient_id")["found_day"].max()
        event = rows[rows["observed"]].groupby("patient_id")["found_day"].min().reindex(last.index).fillna(np.inf)
        report = log.plan["report"]
        taken = bands(event.to_numpy(), last.to_numpy(), [report["headline_years"], *sorted(report["horizons_years"])], rule, year=YEAR)
        taken = [band for band in taken if life.headline is not None and not np.isnan(life.headline.survival_at(band.years * YEAR))]
        until = taken[-1].years * YEAR if taken else np.inf
        kind = pd.Series(np.where((event <= until) & (event < np.inf), HAD, NOT), last.index).reindex(people).fillna(OUT)
        curve = tuple(_share(life, band.years * YEAR) for band in taken)
        late = life.examined or (rows["entry_day"].fillna(0) > 0).any()
        known = said(life.name, taken, [share for share, _ in curve], tuple(f"{life.name}: {kind}" for kind in (HAD, NOT, OUT)), parts=np.inf if late else len(rows) / max(len(last), 1), decimals=SHARES, rule=rule)
        return cls(life.name, life.unit, kind, taken, curve, tuple(known))

    def why(self, hidden: dict[str, str]) -> str:
        """Why the curve stays home, given what is hidden; "" where it may leave."""
        if self.silent:
            return self.silent
        if not self.curve:
            return "too few patients followed, or too few of them with the event by the same time"
        label = f"{self.name}: {HAD}"
        if label in hidden:
            return "few patients had it" if hidden[label] != LATER else hidden[label]
        return ""

    def body(self, shown: dict[str, int | None], hidden: dict[str, str], moved: set[str]) -> dict:
        """As it stands in a packet: a share is told where as many had it by then as in every earlier packet, or enough more."""
        withheld, points = self.why(hidden), []
        if not withheld:
            labels = labels_of(self.name, self.bands, f"{self.name}: {HAD}").had
            points = [{"years": band.years, "share": share, "error": error} for band, label, (share, error) in zip(self.bands, labels, self.curve) if label not in moved]
            withheld = "" if points else "few patients more had it than in an earlier packet"
        return {"name": self.name, "unit": self.unit, "curve": points, "withheld": withheld}


def _share(life, day: float) -> tuple[float, float | None]:
    """(share, standard error of log(−log share)), rounded; no error where all or none are left."""
    share, se = float(life.headline.survival_at(day)), float(life.headline.standard_error_at(day))
    if not 0 < share < 1 or not se > 0:
        return round(share, SHARES), None
    people = life.patients
    factor = 1.0 if life.examined or people < 2 else np.sqrt(people / (people - 1))  # the bootstrap of whole patients needs none
    return round(share, SHARES), round(float(factor * se / (share * abs(np.log(share)))), ERRORS) or None


def _moved(label: str, moved: set[str]) -> str:
    return "few patients more or fewer than in an earlier packet" if label in moved else ""


def _upkeep(visits, hidden: dict[str, str], moved: set[str], rule: Rule) -> dict:
    withheld = "its counts are hidden" if UPKEEP[0] in hidden else _moved(UPKEEP[0], moved) or _moved(UPKEEP[1], moved)
    rate, low, high, note = visits.rate()
    if not withheld and rate > 0 and note:
        withheld = "too few patients for an error that counts the visits of one patient together"
    if not withheld and not (rate > 0 and np.isfinite(low) and low > 0):
        withheld = "nobody came unplanned"
    if withheld:
        return {"rate": None, "error": None, "patient_years": None, "withheld": withheld}
    from scipy import stats

    people = int((visits.patients["years"] > 0).sum())
    reach = stats.t.ppf(0.5 + visits.confidence / 2, people - 1)
    return {"rate": round(rate, ERRORS), "error": round(float(np.log(high / low) / 2 / reach), ERRORS) or None, "patient_years": rule.rounded(round(visits.years)), "withheld": ""}


def _satisfaction(scored, plan, hidden: dict[str, str], moved: set[str]) -> dict:
    nothing = {"instrument": next(iter(plan["instruments"]), ""), "change": None, "error": None}
    if scored is None or scored.change is None:
        return {**nothing, "withheld": "too few answered before and a year after"}
    withheld = "its counts are hidden" if SATISFIED[0] in hidden else _moved(SATISFIED[0], moved)
    if withheld:
        return {**nothing, "withheld": withheld}
    return {**nothing, "change": round(float(scored.change.improvement), SHARES), "error": round(float(scored.change.se), ERRORS) or None, "withheld": ""}


def hidden_by_reason(made: Made) -> Counter:
    """How many labels are hidden, by why."""
    return Counter(made.reasons.values())
