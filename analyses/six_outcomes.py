"""Six outcomes of a denture, each denture in exactly one, by the thresholds of the plan: a table of counts that adds up to all dentures.

The six fields: Payne, Walton, Walton and Solomons 2001 (Int J Prosthodont 14:27), abstract read. Thresholds and the order in which the
fields are decided are from memory or ours: settings of the plan, printed as such.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.analyses.cohort import gone_on
from outcomes.analyses.lifetimes import YEAR
from outcomes.present import words
from outcomes.present.content import Notice, Prose, Section

SUCCESSFUL, SURVIVING, UNKNOWN, DECEASED, REPAIR, RETREATMENT = "successful", "surviving", "unknown", "deceased", "repair", "retreatment"
FIELDS = (SUCCESSFUL, SURVIVING, REPAIR, RETREATMENT, DECEASED, UNKNOWN)  # as the table shows them
AGES = ((0.0, 1.0, "up to 1 year ago"), (1.0, 3.0, "1 to 3 years ago"), (3.0, 5.0, "3 to 5 years ago"), (5.0, np.inf, "over 5 years ago"))
NO_DAY = "day not known"
ATTACHMENT = ("insert", "clip", "housing", "abutment", "bar")
RENEWED = {"replaced": ATTACHMENT, "re-activated": ATTACHMENT, "picked up again": ("housing",), "tightened": ("insert", "clip", "housing")}
RELINED = ("relined", "rebased")
BROKEN = ("base fractured", "base fractured at a housing")
MENDED = ("repaired", "relined", "rebased", "to laboratory", "back from laboratory")
SOURCE = ("The six outcomes follow a published protocol for reporting upkeep of implant overdentures (Payne, Walton, Walton and Solomons 2001, Int J Prosthodont 14:27). Its six fields were read; the thresholds are from memory and were not read again, "
          "and the order in which they are decided is this report's own. Check the protocol itself before you publish by it; every threshold is a setting of the plan.")  # fmt: skip
COUNTS = "These are counts, not estimates: a denture that is older has had more time for anything to happen, so read down a column."


@dataclass(frozen=True, eq=False)
class Six:
    """``dentures``: denture_id, patient_id, age (years, nan where the day is not known), outcome. ``by_part``: dentures that would be "repair" too if each part counted.

    ``from_before``: dentures delivered before the log began, whose first years it does not hold.
    """

    dentures: pd.DataFrame
    by_part: int
    from_before: int

    @property
    def table(self) -> pd.DataFrame:
        """Counts of dentures: a row per outcome and one for all, a column per age and one for all."""
        names = [name for _, _, name in AGES]
        age = self.dentures["age"]
        group = pd.Series(NO_DAY, index=age.index)
        for low, high, name in AGES:
            group[(age >= low) & (age < high)] = name
        columns = names + ([NO_DAY] if (group == NO_DAY).any() else [])
        found = pd.crosstab(self.dentures["outcome"], group).reindex(index=list(FIELDS), columns=columns, fill_value=0)
        found["all"] = found.sum(axis=1)
        found.loc["all dentures"] = found.sum()
        return found.rename_axis("outcome", axis=0).rename_axis(None, axis=1)


def outcomes(log) -> Six:
    """The outcome of every everyday denture delivered up to the closing day, as it stands on that day."""
    closing, rule = pd.Timestamp(log.closing), log.plan["six_outcomes"]
    dentures = log.dentures[~(log.dentures["delivered_on"] > closing)].sort_values(["patient_id", "arch", "delivered_on", "denture_id"]).reset_index(drop=True)
    if dentures.empty:
        return Six(dentures.assign(age=np.nan, outcome="")[["denture_id", "patient_id", "age", "outcome"]], 0, 0)
    people = log.patients.set_index("patient_id")
    died = dentures["patient_id"].map(people["ends_on"].where(people["left_reason"] == "died"))
    dead = dentures["patient_id"].map(people["left_reason"] == "died").fillna(False).astype(bool) & ~(died > closing)
    changed = dentures["patient_id"].map(people["left_reason"].isin(("changed to fixed", "changed to plain denture"))).fillna(False).astype(bool) & ~(dentures["patient_id"].map(people["ends_on"]) > closing)
    retired = gone_on(dentures)
    gone = (retired.notna() | dentures["retired_reason"].notna()) & ~(retired > closing) & ~(dead & (retired > died))
    repaired, by_part = (_beyond(log, dentures, rule, each) for each in (rule["counted_by"], "part"))
    examined, heard = _within(log, dentures, closing - pd.Timedelta(days=rule["seen_within_days"]))
    outcome = np.select([gone | changed, repaired, dead, examined, heard], [RETREATMENT, REPAIR, DECEASED, SUCCESSFUL, SURVIVING], UNKNOWN)
    age = (closing - dentures["delivered_on"]).dt.days / YEAR
    first = dentures["patient_id"].map(log.visits.groupby("patient_id")["day"].min())
    before = dentures["delivered_on"].isna() | (dentures["delivered_on"] < first) | (dentures["existing"] == "yes")
    return Six(dentures[["denture_id", "patient_id"]].assign(age=age, outcome=outcome), int((by_part & ~repaired & ~gone & ~changed).sum()), int(before.sum()))


def _beyond(log, dentures: pd.DataFrame, rule, counted_by: str) -> np.ndarray:
    """Which dentures were repaired beyond accepted upkeep: a base mended, attachment parts renewed too often, relined too often."""
    done = log.things_done
    if done.empty:
        return np.zeros(len(dentures), dtype=bool)
    done = done.assign(since=(done["day"] - done["denture_id"].map(dentures.set_index("denture_id")["delivered_on"])).dt.days)
    done = done[(done["since"] > 0) & ~done["reason"].isin(("delivery", "conversion"))]
    mended = set(done.loc[done["finding"].isin(BROKEN) & done["action"].isin(MENDED), "denture_id"])
    renewed = done[np.array([part in RENEWED.get(action, ()) for part, action in zip(done["part"], done["action"])], dtype=bool)]
    if counted_by == "visit":
        renewed = renewed.drop_duplicates(["denture_id", "day"])
    relined = done[(done["part"] == "denture") & done["action"].isin(RELINED)].drop_duplicates(["denture_id", "day"])
    days = rule["later_years"] * YEAR
    early = renewed[renewed["since"] <= rule["first_days"]].groupby("denture_id").size()
    often = {*mended, *early.index[early > rule["first_year_most"]], *_more_than(renewed, rule["later_most"], days), *_more_than(relined, rule["relines_most"], days)}
    return dentures["denture_id"].isin(often).to_numpy()


def _more_than(rows: pd.DataFrame, most: int, days: float) -> set:
    """Dentures with more than so many rows within any so many days."""
    found = set()
    for denture, since in rows.groupby("denture_id")["since"]:
        when = np.sort(since.to_numpy(float))
        if len(when) > most and ((when[most:] - when[: len(when) - most]) <= days).any():
            found.add(denture)
    return found


def _within(log, dentures: pd.DataFrame, since: pd.Timestamp) -> tuple[np.ndarray, np.ndarray]:
    """(examined, heard of) since a day and since its own delivery: a visit with the patient, or any contact."""
    visits = log.visits[log.visits["day"] >= since]
    pairs = dentures[["denture_id", "patient_id", "arch", "delivered_on"]].merge(visits[["patient_id", "day", "arch", "seen", "reason"]], on="patient_id", suffixes=("", "_seen"))
    pairs = pairs[(pairs["arch_seen"].isna() | (pairs["arch_seen"] == pairs["arch"])) & ~(pairs["day"] < pairs["delivered_on"])]
    examined, heard = set(pairs.loc[pairs["seen"], "denture_id"]), set(pairs.loc[pairs["reason"] == "contact only", "denture_id"])
    return dentures["denture_id"].isin(examined).to_numpy(), dentures["denture_id"].isin(heard).to_numpy()


def definitions(rule) -> pd.DataFrame:
    """What each outcome means here, in the order in which it is decided."""
    many = "parts handled at one visit count once" if rule["counted_by"] == "visit" else "each part counts"
    text = {
        RETREATMENT: "the denture was remade, copied, lost, broken beyond repair, worn out or given up, or another took its place",
        REPAIR: f"a broken base was mended; or attachment parts were replaced, re-activated or picked up again more than {rule['first_year_most']} times in the first {words.days(rule['first_days'])}, or more than {rule['later_most']} times within any {words.span(rule['later_years'])} ({many}); "
                f"or it was relined or rebased more than {_times(rule['relines_most'])} within any {words.span(rule['later_years'])}",
        DECEASED: "the patient died, and neither of the two above came before",
        SUCCESSFUL: f"the patient was seen within {words.days(rule['seen_within_days'])} before the closing day, and no more than accepted upkeep was done",
        SURVIVING: "not seen within that time, but heard of by telephone or letter",
        UNKNOWN: "neither seen nor heard of within that time",
    }  # fmt: skip
    return pd.DataFrame([{"outcome": name, "decided": f"{place}.", "means": meaning} for place, (name, meaning) in enumerate(text.items(), 1)])


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def section(log, folder) -> Section:
    """The table, its definitions and what it rests on."""
    found, title = outcomes(log), "Six outcomes of a denture"
    if found.dentures.empty:
        return Section("about-six-outcomes", title, (Notice("There is no denture in the log yet whose outcome could be told."),))
    table = found.table
    total = int(table.loc["all dentures", "all"])
    people = int(found.dentures["patient_id"].nunique())
    meaning = definitions(log.plan["six_outcomes"])
    shown = table.astype(int).astype(str).assign(**{"share": [words.share(count / total, total, people) for count in table["all"]]}).reset_index()
    more = [f"If each part counted and not each visit, {words.count(found.by_part, 'denture')} more would be “{REPAIR}”."] if log.plan["six_outcomes"]["counted_by"] == "visit" else []
    more += [f"{words.count(found.from_before, 'denture')} {'was' if found.from_before == 1 else 'were'} delivered before the log began: what was done to {'it' if found.from_before == 1 else 'them'} earlier does not count here."] if found.from_before else []
    unknown = int(table.loc[UNKNOWN, "all"])
    each = [f"{name} {count}" for name, count in table["all"].items() if name in FIELDS]
    said = f"{words.people(people, total, 'denture')}, each in one outcome on {words.day(log.closing)}: {words.listing(each)}."
    late = f" Of {unknown} nobody knows how they fare: every share stands for those who were traced only in so far as the others fare alike." if unknown else ""
    return Section("about-six-outcomes", title, (
        Prose((said + late, " ".join([COUNTS, *more]))),
        folder.grid("six_outcomes", "Dentures by outcome, and by how long ago they were delivered", shown, table.assign(share=table["all"] / total).reset_index()),
        folder.grid("six_outcomes_meant", "What each outcome means, in the order in which it is decided", meaning, meaning),
        Prose((SOURCE,)),
    ))  # fmt: skip
