"""From ball to stud in the same denture: the same patients before and after, described, never compared."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.people import RIGHT, WORDS
from outcomes.present import words


@dataclass(frozen=True, eq=False)
class Conversions:
    """One row per patient converted from balls: patient_id, years_before, problems_before, years_after, problems_after, word_before, word_after."""

    rows: pd.DataFrame

    @property
    def patients(self) -> int:
        return len(self.rows)

    def table(self) -> pd.DataFrame:
        """before and after: patients, years together, visits with a problem, snap just right of those asked."""
        out = []
        for side in ("before", "after"):
            said = self.rows[f"word_{side}"].dropna()
            out.append({"": f"{side} the conversion", "patients": self.patients, "years": float(self.rows[f"years_{side}"].sum()), "problems": int(self.rows[f"problems_{side}"].sum()),
                        "asked": len(said), "right": int((said == RIGHT).sum())})  # fmt: skip
        return pd.DataFrame(out)


def conversions(log) -> Conversions:
    """Patients whose balls were exchanged for studs at a conversion, from their first visit in the log to the end of care."""
    balls = log.episodes[(log.episodes["attachment"] == "ball") & log.episodes["ended_on"].notna()]
    ended = set(zip(balls["patient_id"], pd.to_datetime(balls["ended_on"])))
    days = log.visits[log.visits["reason"] == "conversion"].drop_duplicates("patient_id")
    days = days[np.array([pair in ended for pair in zip(days["patient_id"], days["day"])], dtype=bool)]
    seen = log.visits[log.visits["patient_id"].isin(days["patient_id"]) & log.visits["seen"]].drop_duplicates(["patient_id", "day"])
    own, until = dict(iter(seen.groupby("patient_id"))), log.until()
    rows = [_patient(own[one.patient_id], until[one.patient_id], one.patient_id, one.day) for one in days.itertuples() if one.patient_id in own]
    return Conversions(pd.DataFrame(rows, columns=["patient_id", "years_before", "problems_before", "years_after", "problems_after", "word_before", "word_after"]))


def _patient(own: pd.DataFrame, last: pd.Timestamp, patient: str, day: pd.Timestamp) -> tuple:
    before, after = own[own["day"] < day], own[own["day"] > day]
    asked = own[own["snap"].isin(WORDS)]
    first = own["day"].min()
    earlier, later = asked[asked["day"] <= day]["snap"], asked[asked["day"] > day]["snap"]
    return (patient, max((day - first).days, 0) / YEAR, int(before["problem"].sum()), max((last - day).days, 0) / YEAR, int((after["problem"] & (after["day"] <= last)).sum()),
            earlier.iloc[-1] if len(earlier) else None, later.iloc[0] if len(later) else None)  # fmt: skip


CAUTION = (
    "A denture is converted when its balls are worn or give trouble. The time before a conversion therefore holds the worst of the balls, and some of the relief afterwards would have come with any new part; "
    "new studs are also young parts. So the table describes what these patients went through; it does not say which attachment is better."
)


def shown(found: Conversions) -> pd.DataFrame:
    """The table as it is printed: counts only."""
    table = found.table()
    return pd.DataFrame({"when": table[""], "patients": table["patients"].astype(str), "years together": [words.number(value, 1) for value in table["years"]], "visits with a problem": table["problems"].astype(str),
                         "snap just right": [f"{right} of {asked} asked" for right, asked in zip(table["right"], table["asked"])]})  # fmt: skip
