"""What another recall interval would do to the time a worn insert goes unnoticed, read from the fitted curve of wear."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.due import in_care
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.wear_shapes import if_alike, shapes
from outcomes.errors import Misuse
from outcomes.present import words
from outcomes.present.sheet import Bar, Bars, Points, Rows

NINE, MONTH = 0.9, 30.4375
ASSUMED = "Assumed: every recall is kept to the day, every insert is looked at, wear shows at the first look after it, and nobody comes earlier"


@dataclass(frozen=True, eq=False)
class Planning:
    """``rows``: a row per interval and way of coming (coming: 0 for nobody); ``why``: why there is none; ``share``: who came by themselves;
    ``in_care``: patients to recall."""

    rows: pd.DataFrame
    why: str = ""
    share: float = float("nan")
    until: float = float("nan")
    basis: str = ""
    condition: str = ""
    method: str = ""
    in_care: int = 0


def planning(log) -> Planning:
    """Days a worn first insert stays unnoticed, for each interval of the plan. Raises Misuse for intervals that are no days."""
    days = log.plan["recall"]["compare_days"]
    if not days or not all(isinstance(one, (int, float)) and not isinstance(one, bool) and 7 <= one <= 3650 for one in days):
        raise Misuse("compare_days in [recall] of the plan needs recall intervals in days, each from 7 to 3650.")
    life = log.lifetime("insert worn")
    if log.guard_of(life):
        return Planning(pd.DataFrame(), f"Cannot be said: {log.guard_of(life)[:1].lower()}{log.guard_of(life)[1:]}")
    found = shapes(life)
    if found is None:
        least = log.plan["report"]["test_patients"]
        if life.patients_with_events >= least:
            return Planning(pd.DataFrame(), f"Cannot be said: {words.count(life.patients_with_events, 'patient')} had a first insert found worn, but no smooth curve could be fitted to when.")
        return Planning(pd.DataFrame(), f"Cannot be said: {words.count(life.patients_with_events, 'patient')} of {life.patients} had a first insert found worn; it takes {least}.")
    report, rule = log.plan["report"], log.plan["rules"]
    share, drawn = _came(life, report["draws"], report["seed"])
    rows = []
    for coming, draws in ((0.0, None), (share, drawn)):
        table = longevity.time_unnoticed(found.fit, sorted({float(one) for one in days}), horizon=found.until, coming=coming, coming_draws=draws, within=rule["notice_days"] if coming else 0, quantile=NINE,
                                         draws=report["draws"], seed=report["seed"])  # fmt: skip
        rows.append(table.table().assign(coming=coming))
    frame = pd.concat(rows, ignore_index=True).sort_values(["interval", "coming"], kind="stable").reset_index(drop=True)
    basis = f"{words.people(life.patients, life.parts, 'first insert')}; {words.count(life.patients_with_events, 'patient')} with wear found"
    return Planning(frame, "", share, found.until, basis, if_alike(life), table.method, in_care(log)["patient_id"].nunique())


def _came(life, draws: int, seed: int) -> tuple[float, np.ndarray]:
    """Share of worn first inserts found because the patient came with a problem, and the same over draws of whole patients."""
    failed = life.rows[life.rows["observed"]]
    by_patient = failed.assign(came=failed["found_at"] == "problem").groupby("patient_id")["came"].agg(["sum", "size"]).to_numpy(float)
    share = float(by_patient[:, 0].sum() / by_patient[:, 1].sum())
    people = len(by_patient)
    chosen = np.random.default_rng(seed).integers(0, people, (draws, people))
    sums = by_patient[chosen].sum(axis=1)
    return share, sums[:, 0] / sums[:, 1]


def shown(plan: Planning, recall_days: float) -> pd.DataFrame:
    """The table as it is read: one row per interval, the two ways of coming side by side; the plan's own interval is marked."""
    out = []
    for interval, both in plan.rows.groupby("interval", sort=True):
        nobody, some = both.iloc[0], both.iloc[-1]
        mark = " (now)" if interval == recall_days else ""
        out.append({"recall every": words.every(interval) + mark, "recalls a month": words.rate(recalls_a_month(plan, interval)), "days unnoticed, on average": _days(nobody, "mean"), "9 of 10 no longer than": f"{words.number(nobody['upper'])} days", "of the time worn, unknown": _share(nobody),
                    "days, if some come early": _days(some, "mean"), "of the time, if some come early": _share(some)})  # fmt: skip
    return pd.DataFrame(out)


def _days(row, name: str) -> str:
    return f"{words.number(row[name])} ({words.number(row[name + '_low'])} to {words.number(row[name + '_high'])})"


def _share(row) -> str:
    return f"{words.percent(row['share_of_time'])} ({words.percent_range(row['share_of_time_low'], row['share_of_time_high'])})"


def recalls_a_month(plan: Planning, interval):
    """Visits that an interval takes in a month for everybody in care."""
    return plan.in_care * MONTH / interval


def sentences(plan: Planning, recall_days: float) -> list[str]:
    """What the table says in words: the plan's interval and half of it where both are there; else the first and the last. Then what was assumed."""
    if plan.why:
        return [plan.why]
    nobody = plan.rows[plan.rows["coming"] == 0].set_index("interval")
    now = recall_days if recall_days in nobody.index else nobody.index[-1]
    other = min((one for one in nobody.index if one != now), key=lambda one: abs(one - now / 2), default=now)
    text = [f"With a recall every {words.every(one)} a worn insert goes unnoticed for {words.number(nobody.loc[one, 'mean'])} days on average (likely {words.number(nobody.loc[one, 'mean_low'])} to {words.number(nobody.loc[one, 'mean_high'])}){plan.condition}."
            for one in dict.fromkeys((now, other))]  # fmt: skip
    came = "Nobody in this log came by themselves" if plan.share == 0 else f"In this log {words.percent(plan.share)} of worn first inserts were found because the patient came with a problem"
    early = "" if plan.share == 0 else "; “if some come early” lets as many come within the plan's days of notice"
    return [*text, f"{ASSUMED}.", f"{came}{early}.", f"Read up to {words.years(plan.until)} after fitting, when wear was last found."]


def blocks(plan: Planning, recall_days: float) -> list:
    """For the sheet: the days unnoticed as bars, everything else as a table, what was assumed below it."""
    if plan.why:
        return [Points("What another interval would do", (plan.why,))]
    nobody = plan.rows[plan.rows["coming"] == 0].sort_values("interval")
    rows = tuple(Bar(words.every(row.interval) + (" (now)" if row.interval == recall_days else ""), (row.mean, 0.0), words.number(row.mean), row.mean_low, row.mean_high) for row in nobody.itertuples())
    said, table = sentences(plan, recall_days), shown(plan, recall_days)
    finding, rest = said[:-3], said[-3:]
    return [Bars("What another interval would do: how long a worn insert goes unnoticed", (" ".join(finding),), rows, ("recall every", "days", "line: likely range (95 %)"), note=f"{plan.basis[:1].upper()}{plan.basis[1:]}."),
            Rows("What each interval takes, and what it would find sooner", table, wide=tuple(table.columns[1:]), after=(*rest, f"Recalls a month: for all {words.count(plan.in_care, 'patient')} in care."))]  # fmt: skip


def lines(plan: Planning, recall_days: float) -> list[str]:
    """The table for a terminal, one interval a line."""
    if plan.why:
        return []
    table = shown(plan, recall_days).iloc[:, :5].replace(words.SPACE, " ", regex=True)
    widths = [max(len(name), *(len(value) for value in table[name])) for name in table.columns]
    return ["  " + "   ".join(value.ljust(width) for value, width in zip(row, widths)).rstrip() for row in [list(table.columns), *table.to_numpy().tolist()]]


def exact(plan: Planning) -> pd.DataFrame:
    """Every number, unrounded."""
    return plan.rows.assign(read_up_to_years=plan.until / YEAR, recalls_a_month=recalls_a_month(plan, plan.rows["interval"])) if len(plan.rows) else plan.rows
