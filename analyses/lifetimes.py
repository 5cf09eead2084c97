"""How long parts last: one endpoint's rows as the views, shares and counts that a report shows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.between_looks import Share, lower_limit
from outcomes.analyses.followed import UNITS, YEAR, Followed

__all__ = ["DEPENDS", "EVENT", "FIRST_ONLY", "LATER", "UNITS", "YEAR", "Lifetime", "Share", "lifetime"]

DEPENDS = 0.05  # the two censoring rules further apart than this: "depends on who came back"
EVENT = "event"
NEIGHBOUR = "changed with a neighbour"
LATER = "fixed again or fitted later at its site"
FIRST_ONLY = ("insert", "clip", "housing", "abutment", "bar")  # of these only the first at a site is followed


@dataclass(frozen=True, eq=False)
class Lifetime(Followed):
    """The units of one endpoint as curves, shares and brackets, each worked out once when first asked for."""

    # ------------------------------------------------------------------ views

    @cached_property
    def day_found(self):
        """Kaplan–Meier on the day found, with late entry; None where nobody has any time at risk."""
        return self._product_limit("found_day")

    @cached_property
    def day_found_other(self):
        """The same by the other censoring rule."""
        return self._product_limit("found_day_other")

    def _product_limit(self, column: str):
        time, observed, entry, cluster = self.by_day_found(column)
        if len(time) == 0:
            return None
        return longevity.kaplan_meier(time, observed, entry=entry if entry.any() else None, cluster=cluster, level=self.level, small_sample=True)

    @cached_property
    def between_looks(self):
        """The interval-censored curve of fresh rows; None where there are none."""
        return self._interval_curve("left_day", "right_day")

    @cached_property
    def between_looks_other(self):
        """The same, with the un-failed followed by the other rule."""
        return self._interval_curve("left_care", "right_care") if self.examined else self._interval_curve("left_look", "right_look")

    def _interval_curve(self, left: str, right: str):
        if self.fresh.empty:
            return None
        settings = self.plan["report"]
        return longevity.turnbull(self.fresh[left].to_numpy(float), self.fresh[right].fillna(np.inf).to_numpy(float), cluster=self.fresh["patient_id"].to_numpy(),
                                  level=self.level, draws=settings["draws"], seed=settings["seed"])  # fmt: skip

    @cached_property
    def endings(self) -> tuple[np.ndarray, np.ndarray]:
        """(day, cause) by which each unit ended, "" while it goes on: failures on the day found, all others on their own day.

        Whoever goes on is followed while under care: an ending would have been written down.
        """
        rows = self.rows
        own = rows["found_day_other"] if self.examined else rows["found_day"]
        other = ~rows["cause"].isin(("", EVENT)) & rows["competing_day"].notna()
        day = rows["found_day"].where(rows["observed"], own).where(~other, rows["competing_day"])
        return day.to_numpy(float), rows["cause"].where(rows["observed"] | other, "").to_numpy(object)

    @cached_property
    def bracket(self):
        """What holds whatever would have become of units that ended otherwise; None where none failed."""
        day, cause = self.endings
        entry = self.rows["entry_day"].fillna(0).to_numpy(float)
        kept = (day > entry) & (day > 0)
        if not (cause[kept] == EVENT).any():
            return None
        return longevity.wear_bracket(day[kept], cause[kept], EVENT, entry=entry[kept] if entry[kept].any() else None, cluster=self.rows["patient_id"].to_numpy()[kept], level=self.level, small_sample=True)

    @property
    def headline(self):
        """The view that the endpoint's way of being noticed asks for."""
        return self.between_looks if self.examined else self.day_found

    # ------------------------------------------------------------------ numbers

    @property
    def speaks(self) -> bool:
        """Whether enough patients had the event for a share to be estimated."""
        return self.patients_telling >= self.plan["report"]["minimum_patients"]

    def share_at(self, years: float) -> Share | None:
        """The share still working, with limits as the number of patients with events allows; None where nobody was followed so long."""
        curve, day = self.headline, years * YEAR
        if curve is None:
            return None
        value = float(curve.survival_at(day))
        followed = self.followed(years)
        if np.isnan(value) or followed == 0:
            return None
        few = self.patients_telling < self.plan["report"]["test_patients"]

        def limits(at: float) -> tuple[float, float]:
            exact = curve.share_interval(at) if few else None
            return (exact.low, exact.high) if few else tuple(float(limit) for limit in curve.interval_at(at))

        low, high = limits(day)
        if self.examined:
            low = lower_limit(curve, day, lambda at: limits(at)[0])
        below = float(curve.survival_bounds_at(day)[0]) if self.examined else float("nan")
        return Share(years, value, low, high, followed, below)

    def silence(self, years: float) -> tuple[float, float]:
        """(if silence means sound, if silence means nothing): the share by both censoring rules, in the view where they lie further apart.

        Dated on the day found, silent failures that only a recall brings to light hide in both rules alike (simulated: flagged
        in 15 % of such clinics by the day found, in 99 % between looks); so failures that patients notice are read both ways.
        """
        views = [(self.between_looks, self.between_looks_other)] if self.examined else [(self.day_found, self.day_found_other)]
        if self.endpoint["noticed_by"] == "patient":
            views.append((self.between_looks, self.between_looks_other))
        pairs = [tuple(float("nan") if curve is None else float(curve.survival_at(years * YEAR)) for curve in pair) for pair in views]
        known = [pair for pair in pairs if not np.isnan(pair).any()] or pairs
        own, other = max(known, key=lambda pair: abs(pair[0] - pair[1]))
        return (other, own) if self.examined else (own, other)

    @cached_property
    def depends_on_who_came_back(self) -> bool:
        """Whether the two censoring rules differ by more than 0.05 at any horizon of the plan."""
        return bool(self.widest_silence) and abs(np.subtract(*self.silence(self.widest_silence))) > DEPENDS

    @cached_property
    def widest_silence(self) -> float:
        """The horizon at which the two censoring rules lie furthest apart, of those that enough patients reached; 0 for none."""
        report = self.plan["report"]
        reached = [years for years in {*report["horizons_years"], report["headline_years"]} if self.followed(years) >= report["minimum_patients"] and not np.isnan(self.silence(years)).any()]
        return max(sorted(reached), key=lambda years: abs(np.subtract(*self.silence(years))), default=0)

    @cached_property
    def horizon(self) -> float | None:
        """Years at which the headline is read: the plan's, or the longest shorter horizon with enough patients; None if there is none."""
        report = self.plan["report"]
        wanted = [report["headline_years"], *sorted((y for y in report["horizons_years"] if y < report["headline_years"]), reverse=True)]
        return next((years for years in wanted if self.followed(years) >= report["minimum_patients"]), None)

    # ------------------------------------------------------------------ the same units read in other ways

    @cached_property
    def noticed(self) -> Lifetime:
        """Failures placed on the day (month, year) on which the patient noticed them, where the log gives one."""
        if "noticed_right" not in self.rows:
            return self
        return replace(self, rows=self.rows.assign(left_day=self.rows["noticed_left"], right_day=self.rows["noticed_right"]))

    def neighbours_failed(self) -> Lifetime:
        """Inserts changed within days after a failure in the same denture counted as failed with it."""
        also = (self.rows["cause"] == NEIGHBOUR) & self.rows["competing_day"].notna() & (self.rows["competing_day"] > 0)
        rows = self.rows.copy()
        day = rows.loc[also, "competing_day"]
        rows.loc[also, "left_day"] = np.minimum(rows.loc[also, "left_look"], day - 1)
        for column in ("right_day", "right_look", "right_care", "found_day", "found_day_other"):
            rows.loc[also, column] = day
        rows.loc[also, "observed"], rows.loc[also, "cause"] = True, EVENT
        return replace(self, rows=rows)

    def per_patient(self, years: float) -> float:
        """The share with every patient counted once, however many sites the patient has: each unit weighs one over them.

        Williamson, Datta and Satten 2003 (Biometrics 59:36).
        """
        return float("nan") if self._weighed is None else float(self._weighed.survival_at(years * YEAR))

    @cached_property
    def _weighed(self):
        return self.each_patient_once(2) if self.behind.groupby("patient_id").size().nunique() > 1 else None

    def each_patient_once(self, draws: int):
        """The headline curve with each patient counting once, by so many bootstrap draws; None where nobody has any time at risk."""
        if self.examined:
            rows = self.behind
        else:
            rows = self.rows.assign(entry=self.rows["entry_day"].fillna(0).astype(float).clip(lower=self.starts_late))
            rows = rows[rows["found_day"] > rows["entry"]]
        if rows.empty:
            return None
        shared = {"level": self.level, "weights": 1 / rows.groupby("patient_id")["patient_id"].transform("size").to_numpy(float), "cluster": rows["patient_id"].to_numpy()}
        if self.examined:
            return longevity.turnbull(rows["left_day"].to_numpy(float), rows["right_day"].fillna(np.inf).to_numpy(float), draws=draws, seed=self.plan["report"]["seed"], **shared)
        entry = rows["entry"].to_numpy(float)
        return longevity.kaplan_meier(rows["found_day"].to_numpy(float), rows["observed"].to_numpy(bool), entry=entry if entry.any() else None, small_sample=True, **shared)


def lifetime(times: pd.DataFrame, endpoint: dict, plan, *, first_only: bool | None = None) -> Lifetime:
    """The rows of one endpoint; of inserts, clips, abutments and bars only the first at their site, of housings only the first bond, unless told otherwise.

    Sites that fail often have most later rows, so all rows together make parts look short-lived: with a frailty variance of 1 and
    bonds that last 12 years on average, 0.75 after 3 years in place of 0.80 (tests/analyses/test_lifetimes.py).
    """
    rows = times[times["endpoint"] == endpoint["name"]]
    left_out = rows.loc[rows["excluded"] != "", "excluded"].value_counts().sort_index().to_dict()
    rows = rows[rows["excluded"] == ""]
    if first_only if first_only is not None else endpoint["unit"] in FIRST_ONLY:
        if endpoint["unit"] != "insert":  # one in place before the log began is the first that the log knows, and enters late
            again = int((rows["serial"] > 1).sum())
            left_out |= {LATER: again} if again else {}
            rows = rows[~(rows["serial"] > 1)]
        else:
            rows = rows[rows["first_insert"].fillna(False).astype(bool)]
    return Lifetime(endpoint, rows.reset_index(drop=True), left_out, plan)
