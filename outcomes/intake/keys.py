"""Keys that may be left out: a visit is patient, date, jaw and order; a denture is patient, jaw and count."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.intake.dates import LENGTH
from outcomes.intake.problems import Problems


def date_text(days: pd.Series, precision: pd.Series) -> pd.Series:
    """Dates as a key writes them: 2024-03-14, 2024-03 or 2024; missing where the date is missing or not known."""
    distinct = pd.DataFrame({"day": days.to_numpy(), "precision": precision.astype(object).to_numpy()})
    codes, index = np.unique(distinct["day"].to_numpy().astype("datetime64[D]").astype(str), return_inverse=True)
    text = pd.Series(codes[index], index=days.index, dtype="string[pyarrow]")
    for word, length in LENGTH.items():
        if word != "day":
            text = text.mask((precision == word).to_numpy(), text.str.slice(0, length))
    return text.mask((days.isna() | ~precision.isin(list(LENGTH))).to_numpy())


def visit_ids(patient: pd.Series, days: pd.Series, precision: pd.Series, arch: pd.Series, order: pd.Series) -> pd.Series:
    """patient / date, then / jaw where given, then / order where given; missing where the patient or the date is.

    >>> import pandas as pd
    >>> one = lambda value, kind: pd.Series([value], dtype=kind)
    >>> visit_ids(one("P0042", "string[pyarrow]"), one("2024-03-01", "datetime64[s]"), one("month", "str"), one("lower", "str"), one(2, "Int32"))[0]
    'P0042/2024-03/lower/2'
    """
    key = patient.astype("string[pyarrow]") + "/" + date_text(days, precision)
    key = key.where(arch.isna().to_numpy(), key + "/" + arch.astype("string[pyarrow]"))
    return key.where(order.isna().to_numpy(), key + "/" + order.astype("string[pyarrow]"))


def fill_visits(frame: pd.DataFrame, problems: Problems) -> None:
    """Fill visit_id where it was left out; an error where date or patient are too little known to make one."""
    blank = frame["visit_id"].isna()
    if not blank.any():
        return
    made = visit_ids(frame["patient_id"], frame["visited_on"], frame["visited_on_precision"], frame["arch"], frame["visit_order"])
    frame["visit_id"] = frame["visit_id"].where(~blank, made).astype("string[pyarrow]")
    unmade = frame["visit_id"].isna() & (frame["visited_on_precision"] == "not known") & frame["patient_id"].notna()
    problems.add("error", "visit without a key", "visits", np.flatnonzero(unmade), "visited_on", "a visit whose day is not known needs a visit_id of its own",
                 "Write the year at least, or give the visit an id.")


def fill_dentures(frame: pd.DataFrame, stored: pd.DataFrame | None = None) -> None:
    """Fill denture_id where it was left out: count in order of delivery within patient and jaw; a day not known comes first.

    ``stored``: dentures of the store (patient_id, arch, delivered_on, denture_id) that count along. Rows without a patient or jaw stay without a key.
    """
    blank = frame["denture_id"].isna()
    if not blank.any():
        return
    new = pd.DataFrame({"patient_id": frame["patient_id"].astype(object), "arch": frame["arch"].astype(object), "day": frame["delivered_on"], "row": np.arange(len(frame))})
    parts = [new]
    if stored is not None and len(stored):
        old = stored.rename(columns={"delivered_on": "day"})[["patient_id", "arch", "day"]].assign(row=-1)
        # A row of the file about the same day is the same denture, stated again.
        old = old.merge(new[["patient_id", "arch", "day"]].drop_duplicates(), how="left", on=["patient_id", "arch", "day"], indicator=True)
        parts.insert(0, old[old["_merge"] == "left_only"].drop(columns="_merge"))
    both = pd.concat(parts, ignore_index=True).sort_values(["patient_id", "arch", "day", "row"], na_position="first", kind="stable")
    both["count"] = both.groupby(["patient_id", "arch"], sort=False).cumcount() + 1
    both = both[(both["row"] >= 0) & both["patient_id"].notna() & both["arch"].notna()]
    made = pd.Series(pd.NA, index=range(len(frame)), dtype=object)
    made.iloc[both["row"].to_numpy()] = (both["patient_id"] + "/" + both["arch"] + "/" + both["count"].astype(str)).to_numpy()
    frame["denture_id"] = frame["denture_id"].where(~blank, made.to_numpy()).astype("string[pyarrow]")
