"""Failures by who fitted the part: seen against expected, inside the limits of chance; a sentence where there are too few."""

from __future__ import annotations

import pandas as pd
from scipy import stats

from outcomes import longevity, schemas
from outcomes.analyses import practice
from outcomes.analyses.sentences import saying
from outcomes.longevity.funnel import FEWEST_EXPECTED, FEWEST_PATIENTS, FEWEST_UNITS
from outcomes.present import words
from outcomes.present.content import Prose, Section
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.funnel import Units, funnel

STRATA = ("first_insert", "arch", "sites", "attachment")
HOW = ("A part belongs to the clinician who fitted it. Expected is what would have failed if all parts of the same kind (first or later, jaw, number of implants, attachment) had lasted alike. Parts in one mouth fail together, "
       "and the limits allow for it. Beyond the outer limits means: look into it. What was recorded, whom a clinician treats and chance come before anything else, and nobody is ranked.")  # fmt: skip
METHOD = ("By clinician: observed and indirectly standardised expected failures by the day found (pooled Nelson–Aalen cumulative hazard by first or later part, jaw, number of implants and attachment); limits 1 ± z √(dispersion ÷ expected) at 95 % and "
          f"99.8 % (Spiegelhalter 2005), the dispersion from squared differences by patient, at least 1. Counted shares: exact binomial limits around the share of all, for as many visits as are left after dividing by the dispersion, cut at 0 and 1, each tail counted alike. Shown only with {FEWEST_PATIENTS} patients and {FEWEST_EXPECTED:g} expected failures each, and {FEWEST_UNITS} such clinicians.")  # fmt: skip


def compared(log, life):
    """Observed and expected failures of each clinician for one endpoint; None where nobody was followed."""
    rows = life.rows.reindex(columns=[*life.rows.columns, *(name for name in STRATA if name not in life.rows)])
    entry = rows["entry_day"].fillna(0).astype(float)
    kept = (rows["found_day"] > entry) & (rows["found_day"] > 0)
    rows, entry = rows[kept], entry[kept]
    if rows.empty:
        return None
    fitted = log.episodes.drop_duplicates("episode_id").set_index("episode_id")
    # a housing's first bond was made by whoever fitted it; of a bond made anew the log does not say by whom
    made = rows["unit_id"].str.replace(r"/bond/1$", "/housing/1", regex=True)
    names = made.map(fitted["clinician"]) if "clinician" in fitted else pd.Series(None, index=rows.index, dtype=object)
    strata = rows[list(STRATA)].astype(str).agg("/".join, axis=1)
    return longevity.expected_failures(rows["found_day"].to_numpy(float), rows["observed"].to_numpy(bool), names.where(names.notna(), "").to_numpy(object), cluster=rows["patient_id"].to_numpy(),
                            entry=entry.to_numpy() if entry.any() else None, strata=strata.to_numpy())  # fmt: skip


def points(found) -> pd.DataFrame:
    """The clinicians shown, in the order of their codes: unit, patients, observed, expected, ratio, outside."""
    table = found.table().assign(outside=found.outside())
    return table[table["shown"]].drop(columns="shown").reset_index(drop=True)


def too_few(found, life) -> str:
    """Why there is no funnel."""
    here = 0 if found is None else int(found.enough.sum())
    missing = f" Of {words.count(found.unnamed, life.unit, life.units)} the log does not say by whom they were fitted." if found is not None and found.unnamed else ""
    return (f"{saying(life).name}: no figure by clinician. It takes {FEWEST_UNITS} clinicians, each with at least {FEWEST_PATIENTS} patients and {FEWEST_EXPECTED:g} failures to be expected; "
            f"{'nobody has' if here == 0 else 'one has' if here == 1 else f'{here} have'} so many.{missing}")  # fmt: skip


def finding(shown: pd.DataFrame) -> str:
    """What the funnel shows, without a name."""
    outside = int(shown["outside"].sum())
    if outside == 0:
        return f"All {len(shown)} clinicians lie where chance alone would put them."
    return f"{'One' if outside == 1 else outside} of {len(shown)} clinicians {'lies' if outside == 1 else 'lie'} beyond the outer limits: look into it."


def section(log, lives, folder) -> Section:
    """One funnel for each kind of part among the plan's endpoints."""
    blocks: list = [Prose((HOW,))]
    for life in lives:
        if life.unit == "denture" or not life.patients:
            continue
        blocks += _figure(log, life, folder)
    return Section("about-clinicians", "By clinician", tuple([*blocks, *_counts(log, folder)]))


def counted(log, name: str):
    """Shares of what the clinic did, by the clinician of the visit; None where the count has no clinician or there is nothing to count."""
    rows = practice.rows(log, name)
    if rows.empty or "clinician" not in rows or not rows["clinician"].notna().any():
        return None
    return longevity.counted_shares(rows["done"].to_numpy(bool), rows["clinician"].where(rows["clinician"].notna(), "").to_numpy(object), cluster=rows["patient_id"].to_numpy())


def _counts(log, folder) -> list:
    """A funnel for every count among the plan's standards that knows its clinician; one sentence for those that cannot be drawn."""
    blocks, silent = [], []
    for one in log.plan["standards"]:
        if "count" not in one:
            continue
        found, declared = counted(log, one["count"]), schemas.practice()[one["count"]]
        if found is None:
            continue
        if not found.speaks:
            silent.append(one["name"])
            continue
        stem, table = f"{one['count'].replace(' ', '_').replace('-', '_')}_by_clinician", found.table().assign(outside=found.outside())
        shown = table[table["shown"]].drop(columns="shown").reset_index(drop=True)
        what = Units(shown.rename(columns={"rows": "expected", "share": "ratio"})[["unit", "expected", "ratio", "outside"]], found.dispersion, sides=("done more often", "done less often"), target=found.target,
                     chance=lambda rows, z, found=found: found.limits(rows, float(2 * stats.norm.cdf(z) - 1)))  # fmt: skip
        frame = Frame(f"{one['name']}, by clinician", f"{len(shown)} clinicians with enough patients. Line: all together. Shaded: where chance alone puts a clinician.", f"{declared['unit']}s; up: for how many of them {declared['done']}")
        named = pd.DataFrame({"clinician": shown["unit"], "patients": shown["patients"].astype(str), f"{declared['unit']}s": shown["rows"].astype(str), "done": [words.percent(value) for value in shown["share"]],
                              "reading": ["look into" if outside else "as chance gives" for outside in shown["outside"]]})  # fmt: skip
        blocks += [folder.picture(stem, lambda shape, what=what, frame=frame: funnel(what, frame, shape), finding(shown), "Each dot is a clinician; dashed: 95 of 100 would lie inside by chance alone, full line: 998 of 1000."),
                   folder.grid(stem, f"{one['name']}: clinicians in the order of their codes", named, shown.rename(columns={"unit": "clinician"}))]  # fmt: skip
    if silent:
        blocks.append(Prose((f"No figure by clinician for {words.listing(silent)}: it takes {FEWEST_UNITS} clinicians with at least {FEWEST_PATIENTS} patients each, and a share that is neither none nor all.",)))
    return blocks


def _figure(log, life, folder) -> list:
    found = None if log.guard_of(life) else compared(log, life)
    stem, say = f"{life.name.replace(' ', '_')}_by_clinician", saying(life)
    if found is None or not found.speaks:
        why = log.guard_of(life) or too_few(found, life)
        return [folder.picture(stem, lambda shape: _none(why), why, "")]
    shown = points(found)
    frame = Frame(f"{say.name}, by who fitted the part", f"{len(shown)} clinicians with enough patients. Shaded: where chance alone puts a clinician.", "failures expected if all parts of a kind had lasted alike; up: seen ÷ expected")
    what = Units(shown[["unit", "expected", "ratio", "outside"]], found.dispersion)
    table = pd.DataFrame({"clinician": shown["unit"], "patients": shown["patients"].astype(str), "failures seen": shown["observed"].astype(str), "expected": [words.number(value, 1) for value in shown["expected"]],
                          "seen ÷ expected": [words.rate(value) for value in shown["ratio"]], "": ["look into" if outside else "as chance gives" for outside in shown["outside"]]})  # fmt: skip
    return [folder.picture(stem, lambda shape: funnel(what, frame, shape), finding(shown), "Each dot is a clinician; dashed: 95 of 100 would lie inside by chance alone, full line: 998 of 1000."),
            folder.grid(stem, f"{say.name}: clinicians in the order of their codes", table.rename(columns={"": "reading"}), shown.rename(columns={"unit": "clinician"}))]


def _none(why: str):
    raise CannotDraw(why)
