"""What may go with wear: each factor with its words, and how a unit gets its value, from its own row or from the parts at its site."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.errors import Misuse
from outcomes.present import words

UNKNOWN = "not known"
MISSING = 0.05  # more than this share without a value: a group of its own, else left out and counted


@dataclass(frozen=True)
class Factor:
    """``title`` heads a figure; ``part``: the part at the same site that carries the value where the unit's own row does not."""

    name: str
    title: str
    part: str = ""
    said: tuple[tuple[str, str], ...] = ()


FACTORS = {
    "level": Factor("level", "Retention level at fitting"),
    "arch": Factor("arch", "Jaw", said=(("lower", "lower jaw"), ("upper", "upper jaw"))),
    "attachment": Factor("attachment", "Attachment", "abutment", tuple(schemas.codebook()["attachment"]["codes"].items())),
    "pick_up": Factor("pick_up", "Housing fixed into the denture", "housing", (("chairside", "in the mouth"), ("laboratory", "in the laboratory"))),
    "surface": Factor("surface", "Surface of the abutment", "abutment", tuple(schemas.codebook()["surface"]["codes"].items())),
    "sites": Factor("sites", "Attachments in the denture"),
    "opposing": Factor("opposing", "Opposite jaw", said=tuple((code, code) for code in schemas.codebook()["opposing"]["codes"])),
}


def factor(name: str) -> Factor:
    """The factor of that name. Raises Misuse for one that is not known."""
    if name not in FACTORS:
        raise Misuse(f"{name} in [wear] of the plan is no factor. Known are: {', '.join(FACTORS)}.")
    return FACTORS[name]


def values(log, life, which: Factor) -> pd.Series:
    """The group of each row of ``life``, in words; missing where nobody wrote it down."""
    rows = life.rows
    if which.name == "level":
        return _bands(rows, log.plan["levels"])
    if which.name == "sites":
        return rows["sites"].map(lambda count: words.count(int(count), "attachment"), na_action="ignore").astype(object) if "sites" in rows else _nothing(rows)
    own = rows[which.name].astype(object) if which.name in rows else _nothing(rows)
    if which.part and own.isna().any():
        own = own.where(own.notna(), _at_site(log, rows, which))
    return own.map(dict(which.said))


def _nothing(rows: pd.DataFrame) -> pd.Series:
    return pd.Series(np.nan, index=rows.index, dtype=object)


def _bands(rows: pd.DataFrame, limits) -> pd.Series:
    """Levels by their force, so that systems of several makers stand on one scale."""
    force = rows["retention_n"].astype(float)
    light, medium = f"{limits['low_n']:g}", f"{limits['medium_n']:g}"
    names = np.select([force <= limits["low_n"], force < limits["medium_n"], force >= limits["medium_n"]],
                      [f"up to {light}{words.SPACE}N", f"{light} to {medium}{words.SPACE}N", f"{medium}{words.SPACE}N or more"], default="")  # fmt: skip
    return pd.Series(names, index=rows.index, dtype=object).replace("", np.nan)


def _at_site(log, rows: pd.DataFrame, which: Factor) -> pd.Series:
    """The value of the part in place at the same site on the day the unit was fitted."""
    parts = log.episodes[log.episodes["part"] == which.part]
    if which.name not in parts or parts[which.name].isna().all() or "unit_id" not in rows:
        return _nothing(rows)
    fitted = log.episodes.drop_duplicates("episode_id").set_index("episode_id")["fitted_on"]
    here = rows[["denture_id", "position"]].assign(day=pd.to_datetime(rows["unit_id"].map(fitted)), row=np.arange(len(rows)))
    there = parts[["denture_id", "position", "fitted_on", "serial", which.name]].dropna(subset=[which.name])
    both = here.merge(there, on=["denture_id", "position"])
    # A part of unknown day was there before; of several the last one fitted by that day counts, else the first.
    both["before"] = pd.to_datetime(both["fitted_on"]).isna() | (pd.to_datetime(both["fitted_on"]) <= both["day"])
    both["rank"] = np.where(both["before"], both["serial"], -both["serial"] - 1e6)
    found = both.sort_values("rank").groupby("row")[which.name].last()
    return pd.Series(found.reindex(np.arange(len(rows))).to_numpy(dtype=object), index=rows.index)
