"""One factor's groups: curves where enough patients had the event, counts where not, and how far apart the groups lie."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.factors_declared import MISSING, UNKNOWN, Factor, values
from outcomes.analyses.lifetimes import YEAR, Lifetime
from outcomes.longevity import ArgumentError
from outcomes.present import words
from outcomes.present.palette import LIGHT, newton_colour

RECALLS = 0.25  # median gaps between looks further apart than this share: recall habits differ


@dataclass(frozen=True, eq=False)
class GroupLife(Lifetime):
    """One group's lifetime, counted at the times of the whole so that tables stand below one another."""

    times: tuple[float, ...] = ()

    def ticks(self) -> tuple[float, ...]:
        return self.times


@dataclass(frozen=True, eq=False)
class Groups:
    """A factor and the lifetime of each of its groups, the largest first but for levels, which go from light to firm.

    ``group``: the group of each row of the whole lifetime, missing for those left out; ``left_out``: how many that are.
    """

    factor: Factor
    whole: Lifetime
    group: pd.Series
    lives: dict[str, Lifetime]
    left_out: int

    @property
    def speaking(self) -> dict[str, Lifetime]:
        """Groups with enough patients with the event for a curve."""
        return {name: life for name, life in self.lives.items() if life.speaks and name != UNKNOWN}

    @property
    def reference(self) -> str:
        """What the others are compared with: the group with the most patients, of those that speak."""
        known = self.speaking or self.lives
        return max(known, key=lambda name: (known[name].patients, known[name].parts), default="")

    @cached_property
    def test(self):
        """Test that all groups share one curve, by the day found and over patients; None below the plan's number of patients."""
        if self.whole.patients_with_events < self.whole.plan["report"]["test_patients"] or len(self.lives) < 2:
            return None
        rows = self.whole.rows
        entry = rows["entry_day"].fillna(0).astype(float)
        kept = self.group.notna() & (self.group != UNKNOWN) & (rows["found_day"] > entry)
        try:
            return longevity.compare_curves(rows.loc[kept, "found_day"].to_numpy(float), rows.loc[kept, "observed"].to_numpy(bool), self.group[kept].to_numpy(str),
                                            entry=entry[kept].to_numpy() if entry[kept].any() else None, cluster=rows.loc[kept, "patient_id"].to_numpy())  # fmt: skip
        except ArgumentError:
            return None

    @cached_property
    def gaps(self) -> dict[str, float]:
        """Median days between the last look without and the look that found it, by group with enough of them."""
        return {name: float(np.median(life.gaps)) for name, life in self.speaking.items() if len(life.gaps) >= 5} if self.whole.examined else {}

    @property
    def recalls_differ(self) -> bool:
        """Whether one group was looked at more often than another, which alone makes curves by the day found differ."""
        return len(self.gaps) > 1 and max(self.gaps.values()) > (1 + RECALLS) * max(min(self.gaps.values()), 1)


def grouped(log, life: Lifetime, factor: Factor) -> Groups:
    """Split a lifetime by a factor. Rows without a value are a group of their own if they are many, else left out and counted."""
    group = values(log, life, factor)
    lacking = group.isna()
    if lacking.mean() > MISSING:
        group = group.fillna(UNKNOWN)
    sizes = life.rows[group.notna()].groupby(group.dropna())["patient_id"].nunique().sort_values(ascending=False, kind="stable")
    names = [name for name in sizes.index if name != UNKNOWN]
    if factor.name == "level":
        force = life.rows["retention_n"].astype(float).groupby(group).min()
        names = sorted(names, key=lambda name: force[name])
    names += [UNKNOWN] if UNKNOWN in sizes.index else []
    plan = {**life.plan, "report": {**life.plan["report"], "draws": life.plan["wear"]["group_draws"]}}
    times = life.ticks()
    lives = {name: GroupLife(life.endpoint, life.rows[group == name].reset_index(drop=True), {}, plan, times) for name in names}
    return Groups(factor, life, group, lives, int(group.isna().sum()))


def colours(groups: Groups) -> dict[str, str | None]:
    """Levels by their force on the one scale; other factors by the order of lines."""
    if groups.factor.name != "level":
        return {name: None for name in groups.lives}
    force = {name: float(life.rows["retention_n"].astype(float).median()) for name, life in groups.lives.items()}
    return {name: LIGHT["slate"] if math.isnan(newtons) else newton_colour(newtons) for name, newtons in force.items()}


def share_of(groups: Groups, name: str):
    """A group's share still working at the whole's horizon; None where too few say so."""
    life, years = groups.lives[name], groups.whole.horizon or 0
    return life.share_at(years) if years and (life.speaks or not life.events) and life.followed(years) >= groups.whole.plan["report"]["minimum_patients"] else None


def table(groups: Groups) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): each group with its people, the share still working at the whole's horizon, and when half were gone."""
    shown, exact, whole = [], [], groups.whole
    years = whole.horizon or 0
    for name, life in groups.lives.items():
        share = share_of(groups, name)
        bounded = share is not None and not math.isnan(share.low)
        half = life.headline.quantile(0.5) if life.speaks and life.headline is not None else math.nan
        row = {groups.factor.title.lower(): name, "patients": str(life.patients), whole.units: str(life.parts), "patients with it": str(life.patients_with_events)}
        if years:
            row |= {f"share still working after {words.span(years)}": "too few to say" if share is None else share.said(life.patients),
                    f"likely range ({words.percent(whole.level)})": words.percent_range(share.low, share.high) if bounded else "–"}  # fmt: skip
        shown.append(row)
        exact.append({"factor": groups.factor.name, "group": name, "patients": life.patients, "parts": life.parts, "patients_with_events": life.patients_with_events, "events": life.events, "years": years,
                      "share": share.value if share else math.nan, "share_lower_edge": share.below if share else math.nan, "low": share.low if share else math.nan, "high": share.high if share else math.nan, "half_by_days": half,
                      "median_days_between_looks": groups.gaps.get(name, math.nan)})  # fmt: skip
    return pd.DataFrame(shown), pd.DataFrame(exact)


@dataclass(frozen=True)
class Apart:
    """Mean days longer that ``group`` lasted than ``reference`` within ``horizon`` days; ``view``: how it was read; ``note``: why not."""

    group: str
    reference: str
    horizon: float
    value: float
    low: float
    high: float
    view: str = ""
    note: str = ""


def apart(groups: Groups) -> list[Apart]:
    """Every speaking group against the reference: difference in mean life within the longest horizon that both reach."""
    if groups.whole.patients_with_events < groups.whole.plan["report"]["test_patients"] or len(groups.speaking) < 2:
        return []
    return [_apart(groups, name) for name in groups.speaking if name != groups.reference]


def _apart(groups: Groups, name: str) -> Apart:
    one, other = groups.speaking[groups.reference], groups.speaking[name]
    plan = one.plan
    allowed = min(_allowed(one), _allowed(other))
    wanted = [years for years in {*plan["report"]["horizons_years"], plan["report"]["headline_years"]} if years * YEAR <= allowed]
    if not wanted:
        return Apart(name, groups.reference, allowed, math.nan, math.nan, math.nan, note=f"only {words.years(allowed)} are seen in both groups")
    horizon, rows = max(wanted) * YEAR, pd.concat([one.rows, other.rows], ignore_index=True)
    label = np.repeat(["0", "1"], [len(one.rows), len(other.rows)])
    for view in ("between looks", "day found") if groups.whole.examined else ("day found",):
        try:
            found = _difference(rows, label, horizon, view, plan)
        except ArgumentError:
            continue  # patients in both groups, or a curve that ends too early: the next view
        return Apart(name, groups.reference, horizon, found.value, found.low, found.high, view)
    return Apart(name, groups.reference, horizon, math.nan, math.nan, math.nan, note="the groups are not seen long enough")


def _difference(rows: pd.DataFrame, label: np.ndarray, horizon: float, view: str, plan):
    report = plan["report"]
    if view == "between looks":
        fresh = rows["fresh"].to_numpy(bool)
        return longevity.interval_mean_difference(rows.loc[fresh, "left_day"].to_numpy(float), rows.loc[fresh, "right_day"].fillna(np.inf).to_numpy(float), label[fresh], horizon=horizon,
                                                  cluster=rows.loc[fresh, "patient_id"].to_numpy(), level=report["level"], draws=report["draws"], seed=report["seed"])  # fmt: skip
    entry = rows["entry_day"].fillna(0).to_numpy(float)
    kept = rows["found_day"].to_numpy(float) > entry
    return longevity.restricted_mean_difference(rows["found_day"].to_numpy(float)[kept], rows["observed"].to_numpy(bool)[kept], label[kept], horizon=horizon, entry=entry[kept] if entry[kept].any() else None,
                                                cluster=rows["patient_id"].to_numpy()[kept], level=report["level"], small_sample=True)  # fmt: skip


def _allowed(life: Lifetime) -> float:
    """The last day on which enough patients of the group are still followed."""
    last = np.sort(life.rows.groupby("patient_id")["found_day"].max().to_numpy(float))[::-1]
    least = life.plan["report"]["minimum_patients"]
    return float(last[least - 1]) if len(last) >= least else 0.0
