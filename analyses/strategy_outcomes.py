"""What became of the patients of a comparison, from the day of delivery, whatever level they wore later."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity, satisfaction
from outcomes.analyses.cohort import gone_by_denture
from outcomes.analyses.levels_paths import Paths
from outcomes.analyses.lifetimes import YEAR

FEWEST = 5  # patients per arm still followed at the end of an outcome's span, and with an answer

# Work on an insert that had another occasion: a conversion, other work on the denture.
_INSERT_VISITS = """
SELECT v.patient_id, v.visited_on AS day, max(v.minutes) AS minutes, bool_or(v.reason = 'problem') AS problem,
       bool_or(p.change_reason IN ('wanted firmer', 'wanted lighter')) AS step
FROM parts_log p JOIN visits v USING (visit_id)
WHERE p.part IN ('insert', 'clip') AND v.visited_on IS NOT NULL AND v.reason NOT IN ('delivery', 'laboratory', 'contact only')
  AND (p.action NOT IN ('none', 'fitted') OR p.finding IN ('worn', 'torn', 'deformed', 'fractured', 'lost', 'loose in its seat'))
  AND coalesce(p.change_reason, '') NOT IN ('conversion', 'with reline or housing work', 'denture remade', 'abutment height', 'mistaken level')
GROUP BY ALL ORDER BY ALL
"""
_HOUSING_VISITS = """
SELECT v.patient_id, v.visited_on AS day, max(v.minutes) AS minutes, bool_or(v.reason = 'problem') AS problem, false AS step
FROM parts_log p JOIN visits v USING (visit_id)
WHERE p.part = 'housing' AND v.visited_on IS NOT NULL AND v.reason NOT IN ('delivery', 'contact only')
  AND (p.action IN ('picked up again', 'replaced', 'repaired') OR p.finding IN ('debonded', 'loose in its seat', 'lost'))
  AND coalesce(p.change_reason, '') NOT IN ('conversion', 'denture remade', 'abutment height')
GROUP BY ALL ORDER BY ALL
"""


@dataclass(frozen=True, eq=False)
class Care:
    """Visits with work on inserts (or housings) of the patients in ``rows``, in their order, counted from day 0.

    end: days followed; gone: whether death or the loss of the denture ended it; who, day, minutes, problem, step: one entry per patient and day.
    ``unwritten``: such visits whose minutes nobody wrote down; they count as long as the others on average.
    """

    rows: pd.DataFrame
    end: np.ndarray
    gone: np.ndarray
    who: np.ndarray
    day: np.ndarray
    minutes: np.ndarray
    problem: np.ndarray
    step: np.ndarray
    unwritten: int

    def so_far(self, years: float, amount: np.ndarray | None = None):
        """Visits (or another amount) per patient started, by ``years``."""
        return longevity.CountSoFar(self.end, self.gone, self.who, self.day, np.ones(len(self.day)) if amount is None else amount, years * YEAR)

    def followed(self, years: float) -> np.ndarray:
        """Whether each patient was followed so long with the denture."""
        return self.end >= years * YEAR


def care(log, connection, rows: pd.DataFrame, *, housings: bool = False) -> Care:
    """Follow each patient from the day of delivery to death, the loss of the denture, leaving, or the closing day."""
    end, gone = _ends(log, rows)
    visits = connection.execute(_HOUSING_VISITS if housings else _INSERT_VISITS).df()
    visits["day"] = pd.to_datetime(visits["day"])
    place = pd.Series(range(len(rows)), index=rows["patient_id"])
    visits = visits[visits["patient_id"].isin(place.index)]
    who = visits["patient_id"].map(place).to_numpy(int)
    day = (visits["day"].to_numpy() - rows["begun"].to_numpy()[who]) / np.timedelta64(1, "D")
    inside = (day > 0) & (day <= end[who])
    minutes = visits["minutes"].astype(float).to_numpy()[inside]
    unwritten = np.isnan(minutes)
    usual = float(minutes[~unwritten].mean()) if (~unwritten).any() else 0.0
    flags = (visits[name].fillna(False).to_numpy(bool)[inside] for name in ("problem", "step"))
    return Care(rows, end, gone, who[inside], day[inside], np.where(unwritten, usual, minutes), *flags, int(unwritten.sum()))


def _ends(log, rows: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    until, died = log.until().reindex(rows["patient_id"]).to_numpy(), rows["patient_id"].isin(log.patients.loc[log.patients["left_reason"] == "died", "patient_id"]).to_numpy()
    retired = rows["denture_id"].map(gone_by_denture(log.dentures)).to_numpy()
    lost = ~np.isnat(retired) & (retired <= until)
    end = np.where(lost, retired, until)
    return np.maximum((end - rows["begun"].to_numpy()) / np.timedelta64(1, "D"), 0.0), lost | died


def outcomes(log, care_: Care, paths: Paths, plan, *, housings: bool = False) -> tuple[list, tuple[str, ...]]:
    """(outcomes that both arms were followed for; sentences on those left out)."""
    other, found, missing = care_.rows["other"].to_numpy(bool), [], []
    fewest = lambda known: int(min(known[other].sum(), known[~other].sum()))  # noqa: E731
    what = "housing" if housings else "insert"
    for years in plan["strategy"]["years"]:
        if fewest(care_.followed(years)) < FEWEST:
            missing.append(f"Visits within {years:g} years: fewer than {FEWEST} patients of one group were followed so long.")
            continue
        found.append(longevity.Outcome(f"visits for an {what}, within {years:g} years" if what == "insert" else f"visits for a {what}, within {years:g} years", care_.so_far(years), ratio=True))
        found.append(longevity.Outcome(f"chair minutes of these visits, within {years:g} years", care_.so_far(years, care_.minutes), ratio=True))
    if not housings:
        top, bottom = _at_start(care_.rows, paths, plan["strategy"]["years"][0] * YEAR)
        if fewest(bottom > 0) >= FEWEST:
            found.append(longevity.Outcome(f"share of the time at the starting level, within {plan['strategy']['years'][0]:g} years", longevity.ShareOf(top, bottom)))
    days, failed = _first_failure(log, care_.rows, "housing bond failure" if housings else "first repair")
    horizon = plan["strategy"]["years"][0] * YEAR
    name = f"months until {'a housing comes loose' if housings else 'the first repair'}, of the first {horizon * 12 / YEAR:g}"
    if log.guard or log.withheld:
        missing.append(f"{name.capitalize()}: the log lists failures but not the visits where nothing was wrong.")
    elif fewest(days >= horizon) >= FEWEST:
        found.append(longevity.Outcome(name, InMonths(longevity.TimeFree(days, failed, horizon))))
    else:
        missing.append(f"{name.capitalize()}: fewer than {FEWEST} patients of one group were followed so long.")
    score = year_scores(log, care_.rows)
    if fewest(~np.isnan(score)) >= FEWEST:
        form = satisfaction.instrument(next(iter(plan["instruments"])))
        found.append(longevity.Outcome(f"{form.title.lower()} a year after ({form.better} is better)", longevity.MeanOf(score)))
    else:
        missing.append(f"Satisfaction a year after: fewer than {FEWEST} patients of one group answered.")
    return found, tuple(missing)


@dataclass(frozen=True, eq=False)
class InMonths:
    """A measure in days, in months."""

    measure: object

    def at(self, weight) -> float:
        return self.measure.at(weight) * 12 / YEAR


def _at_start(rows: pd.DataFrame, paths: Paths, horizon: float) -> tuple[np.ndarray, np.ndarray]:
    """Days at the level of day 0 and days followed, within the horizon."""
    spells = paths.rows[paths.rows["denture_id"].isin(rows["denture_id"])]
    days = (spells["stop"].clip(upper=horizon) - spells["start"].clip(upper=horizon)).astype(float)
    first = spells["denture_id"].map(paths.dentures.set_index("denture_id")["first"])
    top = (days * (spells["state"] == first)).groupby(spells["denture_id"]).sum()
    return tuple(part.reindex(rows["denture_id"]).fillna(0.0).to_numpy(float) for part in (top, days.groupby(spells["denture_id"]).sum()))


def _first_failure(log, rows: pd.DataFrame, endpoint: str) -> tuple[np.ndarray, np.ndarray]:
    """Day found of the first failure at any site of the denture, and whether there was one; else the last day it is known to be free."""
    times = log.times[(log.times["endpoint"] == endpoint) & (log.times["excluded"] == "") & log.times["denture_id"].isin(rows["denture_id"]) & log.times["fresh"]]
    if endpoint != "first repair":
        times = times[times["serial"] == 1]
    failed = times[times["observed"]].groupby("denture_id")["found_day"].min()
    free = times.groupby("denture_id")["found_day"].min()
    day = failed.reindex(rows["denture_id"]).fillna(free.reindex(rows["denture_id"]))
    return day.fillna(0.0).to_numpy(float), rows["denture_id"].isin(failed.index).to_numpy()


def year_scores(log, rows: pd.DataFrame) -> np.ndarray:
    """The plan's first instrument a year after delivery (nan: not answered), 180 to 545 days."""
    out, name = np.full(len(rows), np.nan), next(iter(log.plan["instruments"]), "")
    answers = log.answers[(log.answers["instrument"] == name) & log.answers["patient_id"].isin(rows["patient_id"])]
    if answers.empty:
        return out
    table = satisfaction.score(answers, name).table()
    day = (pd.to_datetime(table["answered_on"]) - table["patient_id"].map(rows.set_index("patient_id")["begun"])).dt.days
    window = satisfaction.assign_windows(table["patient_id"], day).window
    found = table[np.asarray(window) == "month 12"].dropna(subset=["total"]).groupby("patient_id")["total"].mean()
    return found.reindex(rows["patient_id"]).to_numpy(float)
