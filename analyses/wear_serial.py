"""First against later inserts at a site: why they may not simply be put together, and what can be said of each."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.drawings import thinned
from outcomes.analyses.lifetimes import YEAR
from outcomes.present import words
from outcomes.present.counts import Counts, ticks_for
from outcomes.present.curves import CannotDraw, Frame, Line, survival
from outcomes.present.palette import LIGHT

ENDPOINT = "any insert change"  # every complete stay at a site ends in it, which is what makes weighting the stays valid
NAMES = {1: "first insert", 2: "second insert", 3: "third insert"}
TITLES = {1: "first inserts", 2: "second, where a first was changed", 3: "third, where a second was changed"}


@dataclass(frozen=True, eq=False)
class Stays:
    """Stays of inserts at sites whose first insert was fitted while the log ran, in order, up to the first cut one.

    ``rows``: patient_id, site, serial, days, changed.
    """

    rows: pd.DataFrame
    plan: dict

    @property
    def patients(self) -> int:
        return int(self.rows["patient_id"].nunique())

    def of(self, serial: int) -> pd.DataFrame:
        return self.rows[self.rows["serial"] == serial]

    def people(self, serial: int) -> int:
        """Patients with a change of their insert of that number."""
        here = self.of(serial)
        return int(here.loc[here["changed"], "patient_id"].nunique())

    @cached_property
    def weighted(self):
        """Curve of all stays, each site counting once: weights of Wang and Chang 1999."""
        rows = self.rows
        weight = longevity.serial_gaps(rows["site"].to_numpy(), rows["serial"].to_numpy(), rows["changed"].to_numpy(bool))
        kept = weight > 0
        return longevity.kaplan_meier(rows["days"].to_numpy(float)[kept], rows["changed"].to_numpy(bool)[kept], weights=weight[kept], cluster=rows["patient_id"].to_numpy()[kept],
                                      level=self.plan["report"]["level"], small_sample=True)  # fmt: skip

    @cached_property
    def curves(self) -> dict[int, object]:
        """Curve of each serial number with enough patients with a change."""
        least = self.plan["report"]["minimum_patients"]
        return {serial: longevity.kaplan_meier(here["days"].to_numpy(float), here["changed"].to_numpy(bool), cluster=here["patient_id"].to_numpy(), level=self.plan["report"]["level"], small_sample=True)
                for serial in NAMES if self.people(serial) >= least and len(here := self.of(serial))}  # fmt: skip


def stays(log) -> Stays:
    """Every stay of an insert at a site that the log saw from its first insert on."""
    rows = log.times[(log.times["endpoint"] == ENDPOINT) & (log.times["excluded"] == "")]
    rows = rows.assign(site=rows["denture_id"].astype(str) + " " + rows["position"].astype(str), days=rows["found_day"].astype(float), changed=rows["observed"].astype(bool))
    rows = rows[rows["days"] > 0].sort_values(["site", "serial"])
    started = rows.loc[rows["first_insert"].fillna(False).astype(bool), "site"].unique()
    rows = rows[rows["site"].isin(started) & (rows["serial"] >= 1)]
    # A stay after a cut one cannot be placed in the row of stays: it and what follows are left out.
    cut_before = (~rows["changed"]).groupby(rows["site"]).cumsum() - (~rows["changed"]).astype(int)
    in_order = rows.groupby("site").cumcount() + 1 == rows["serial"]
    kept = rows[(cut_before == 0) & in_order.groupby(rows["site"]).cummin()]
    return Stays(kept[["patient_id", "site", "serial", "days", "changed"]].reset_index(drop=True), log.plan)


def table(found: Stays) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): share not yet changed at the plan's horizons, first, later, and all with each site counting once."""
    shown, exact = [], []
    curves = [(TITLES[serial], found.of(serial), curve, found.people(serial)) for serial, curve in found.curves.items()]
    if 1 in found.curves and found.rows["serial"].max() > 1:
        changed = found.rows[found.rows["changed"]]
        curves.append(("all, each site counting once", found.rows, found.weighted, int(changed["patient_id"].nunique())))
    report = found.plan["report"]
    for name, rows, curve, people in curves:
        row = {"inserts": name, "patients": str(rows["patient_id"].nunique()), "with a change": str(people)}
        for years in report["horizons_years"]:
            followed = int(rows.loc[rows["days"] >= years * YEAR, "patient_id"].nunique())
            value = float(curve.survival_at(years * YEAR)) if followed >= report["minimum_patients"] else math.nan
            low, high = (float(edge) for edge in curve.interval_at(years * YEAR)) if not math.isnan(value) else (math.nan, math.nan)
            row[f"not changed after {words.span(years)}"] = "–" if math.isnan(value) else f"{words.estimated(value, rows['patient_id'].nunique())} ({words.percent_range(low, high)})"
            exact.append({"inserts": name, "years": years, "share": value, "low": low, "high": high, "patients_followed": followed, "patients": int(rows["patient_id"].nunique()), "patients_with_a_change": people})
        shown.append(row)
    return pd.DataFrame(shown), pd.DataFrame(exact)


def drawn(found: Stays, shape):
    """Curves of first, second and third inserts, no test between them."""
    if not found.curves:
        raise CannotDraw("Too few patients had an insert changed to draw how long inserts stay.")
    lines = [_line(found, serial, curve, colour) for (serial, curve), colour in zip(found.curves.items(), ("accent", "signal", "ink"))]
    sites = found.rows["site"].nunique()
    subtitle = f"{words.people(found.patients, sites, 'site')} seen from the first insert on. A later curve speaks only of sites that needed the change before it."
    return survival(lines, Frame("How long inserts stay before any change, first and later", subtitle), shape)


def _line(found: Stays, serial: int, curve, colour: str) -> Line:
    here = found.of(serial)
    steps = curve.table()[["time", "survival", "low", "high"]].rename(columns={"time": "years", "survival": "share"})
    steps = pd.concat([pd.DataFrame({"years": [0.0], "share": [1.0], "low": [1.0], "high": [1.0]}), steps.assign(years=steps["years"] / YEAR)], ignore_index=True)
    if found.people(serial) < found.plan["report"]["test_patients"]:
        steps = steps.assign(low=np.nan, high=np.nan)
    last = np.sort(here.groupby("patient_id")["days"].max().to_numpy(float))[::-1] / YEAR
    stops = {people: float(last[min(people, len(last)) - 1]) for people in (found.plan["report"]["stop_curves_at"], 10)}
    first = found.of(1)
    whole = np.sort(first.groupby("patient_id")["days"].max().to_numpy(float))[::-1] / YEAR
    ticks = ticks_for(max(float(whole[min(found.plan["report"]["stop_curves_at"], len(whole)) - 1]), 0.25))
    table = longevity.risk_table(here["days"].to_numpy(float), here["changed"].to_numpy(bool), [tick * YEAR for tick in ticks], cluster=here["patient_id"].to_numpy())
    names = {"clusters_at_risk": "patients", "at_risk": "in place", "failed": "changed", "censored": "censored"}
    counts = Counts("inserts", len(here), ticks, {label: tuple(int(n) for n in table[name]) for name, label in names.items()}, ("patients",))
    return Line(NAMES[serial], thinned(steps), counts, stops, colour=LIGHT[colour])
