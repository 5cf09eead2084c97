"""How many more patients, and months at the log's own pace, each open question takes; or why the log gives no basis to say."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from outcomes import longevity
from outcomes.analyses import standards
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.people import satisfied, snap
from outcomes.analyses.plan_size_arms import comparison
from outcomes.analyses.sentences import saying
from outcomes.analyses.upkeep import upkeep
from outcomes.present import words

MONTHS = 12 / YEAR
LATELY = 730  # days without a new patient after which the log has no pace any more
MOST = 20_000  # patients; a larger number says that no clinic will settle it
ENOUGH = "enough"


@dataclass(frozen=True)
class Need:
    """One question. ``needed``: patients like those in the log it takes in all; None where none can be said, and ``why`` says why.

    ``followed_years``: for how long each must be followed once delivered. ``now`` and ``asked``: what the log says and what would settle it.
    """

    question: str
    now: str
    asked: str
    patients: int
    needed: int | None
    why: str = ""
    followed_years: float = 0.0
    basis: str = ""

    @property
    def more(self) -> int | None:
        return None if self.needed is None else max(0, self.needed - self.patients)


@dataclass(frozen=True)
class Pace:
    """New patients a month in the log: those whose first denture was delivered while it ran. ``per_month`` is nan where too few were, or none in the last two years (``stopped``)."""

    patients: int
    months: float
    per_month: float
    stopped: bool = False

    def months_for(self, more: int | None) -> float:
        return float("nan") if more is None else more / self.per_month if more else 0.0


def pace(log) -> Pace:
    """New patients a month, from the first visit to the closing day."""
    if not len(log.visits):
        return Pace(0, 0.0, float("nan"))
    first = log.dentures.sort_values("delivered_on", na_position="first").drop_duplicates("patient_id")
    came = first.loc[first["delivered_on"] > log.visits["day"].min(), "delivered_on"]
    new, closing = len(came), pd.Timestamp(log.closing)
    months = (closing - log.visits["day"].min()).days * MONTHS
    stopped = new >= log.plan["planning"]["patients_for_pace"] and came.max() <= closing - pd.Timedelta(days=LATELY)
    return Pace(new, months, new / months if new >= log.plan["planning"]["patients_for_pace"] and months >= 6 and not stopped else float("nan"), stopped)


def needs(log, connection) -> list[Need]:
    """Every open question: standards that cannot be told, the front page's answers, light against firmer, satisfaction."""
    found = [_of_standard(log, one, rule) for one, rule in zip(standards.measured(log), log.plan["standards"]) if one.verdict == standards.CANNOT_TELL]
    found += [_of_share(log, name) for name in log.plan["report"]["endpoints"]]
    found += [_of_visits(log), _of_snap(log)]
    found += comparison(log, connection, _worn(log), Need)
    form = next(iter(log.plan["instruments"]), "")
    return [*found, _of_satisfaction(log, form)] if form else found


# ---------------------------------------------------------------- standards

def _of_standard(log, one, rule: dict) -> Need:
    asked = f"at least {words.percent(one.standard)}" + (f" at {words.span(one.years)}" if one.years else "")
    now = "not known" if math.isnan(one.share) else f"{words.estimated(one.share, one.patients)}" + ("" if math.isnan(one.low) else f" ({words.percent_range(one.low, one.high)})")
    make = lambda needed, why="", basis="": Need(f"standard: {one.name}", now, asked, one.patients, needed, why, one.years or 0.0, basis)  # noqa: E731
    if one.why == "it depends on who came back":
        return make(None, "it hangs on patients who did not come back: see more of those you have, more patients would not settle it")
    if math.isnan(one.share):
        return make(None, one.why or "the log gives no share")
    level = log.plan["report"]["level"]
    if one.share >= 1:
        return make(standards.needed_without_failure(one.standard, level), basis="if nobody fails: the exact limit")
    if one.need is None or one.need > MOST:
        return make(None, "the share lies too close to the standard for any clinic of ordinary size")
    effect = _effect_of_standard(log, one, rule)
    return make(one.need, basis="at the present share, by exact limits on what the patients are worth" + (f"; the design effect in this log is {words.number(effect, 2)}" if effect else ""))


def _effect_of_standard(log, one, rule: dict) -> float | None:
    return None if "endpoint" not in rule else measured_effect(log.lifetime(rule["endpoint"]), one.years * YEAR)


def measured_effect(life, day: float) -> float | None:
    """How much wider parts of one mouth make a share than as many independent ones would: the ratio of the two variances in this log."""
    curve = life.day_found
    if curve is None or curve.clusters is None or curve.clusters < 2:
        return None
    plain = longevity.kaplan_meier(*life.by_day_found("found_day")[:2], entry=_late(life))
    own, naive = float(curve.standard_error_at(day)), float(plain.standard_error_at(day))
    if not (own > 0 and naive > 0):
        return None
    return own**2 * curve.clusters / (curve.clusters - 1) / naive**2


def _late(life):
    entry = life.by_day_found("found_day")[2]
    return entry if entry.any() else None


# ---------------------------------------------------------------- answers

def _of_share(log, name: str) -> Need:
    life, half = log.lifetime(name), log.plan["planning"]["half_width"]
    question, asked = f"how sure: {name}", f"within {words.number(100 * half)} points to either side"
    if log.guard_of(life):
        return Need(question, "not known", asked, life.patients, None, "the log lists failures but not the visits where nothing was wrong")
    if not life.speaks or life.horizon is None:
        few = log.plan["report"]["minimum_patients"]
        return Need(question, f"{life.patients_with_events} of {life.patients} patients {saying(life).happened}", asked, life.patients, None, f"fewer than {few} patients {saying(life).happened}, or were followed long enough: no share to widen or narrow yet")
    share = life.share_at(life.horizon)
    if share is None or math.isnan(share.low):
        return Need(question, "not known", asked, life.patients, None, "the log gives no likely range yet")
    now = f"{share.said(life.patients)} still without it at {words.span(share.years)} ({words.percent_range(share.low, share.high)})"
    reach = (share.high - share.low) / 2
    effect = measured_effect(life, share.years * YEAR)
    basis = f"the range narrows with the root of the patients{f'; design effect {words.number(effect, 2)} in this log' if effect else ''}"
    return Need(question, now, asked, life.patients, _capped(math.ceil(life.patients * (reach / half) ** 2 - 1e-9)), _never(life.patients * (reach / half) ** 2), share.years, basis)


def _capped(needed: float) -> int | None:
    return None if needed > MOST else int(needed)


def _never(needed: float) -> str:
    return "no clinic of ordinary size could make the range so narrow" if needed > MOST else ""


def _of_visits(log) -> Need:
    visits, within = upkeep(log), log.plan["planning"]["rate_within"]
    rate, low, high, note = visits.rate()
    question, asked, people = "how sure: unplanned visits", f"within {words.percent(within)} of the rate", len(visits.patients)
    if not (rate > 0 and low > 0) or note or int((visits.patients["unplanned"] > 0).sum()) < log.plan["report"]["minimum_patients"]:
        return Need(question, "not known" if math.isnan(rate) else words.rate(rate), asked, people, None, "too few patients came unplanned for a range to be narrowed")
    reach = math.log(high / low) / 2
    needed = people * (reach / math.log1p(within)) ** 2
    typical = visits.years / max(people, 1)
    return Need(question, f"{words.rate(rate)} a year ({words.rate_range(low, high)})", asked, people, _capped(math.ceil(needed - 1e-9)), _never(needed), round(typical, 1), "visits of one patient counted together; patients followed as long as those in the log")


def _of_snap(log) -> Need:
    felt, half = snap(log), log.plan["planning"]["half_width"]
    question, asked = "how sure: snap just right", f"within {words.number(100 * half)} points to either side"
    if felt.asked < log.plan["report"]["minimum_patients"]:
        return Need(question, "not known", asked, felt.asked, None, f"only {words.count(felt.asked, 'patient')} {'was' if felt.asked == 1 else 'were'} asked")
    share = felt.share
    spread = math.sqrt(share.value * (1 - share.value))
    needed = longevity.patients_for_width(spread, half, level=felt.confidence) if spread else standards.needed_without_failure(1 - half, felt.confidence)
    return Need(question, f"{words.share(share.value, felt.asked)} ({words.percent_range(share.low, share.high)})", asked, felt.asked, needed, basis="each patient once")


# ---------------------------------------------------------------- wear, for the comparison, and satisfaction

def _worn(log) -> dict | None:
    """What the comparison needs of first inserts: failures a patient-year, how alike parts of one mouth are, parts, usual gap between looks."""
    life = log.lifetime("insert worn")
    rows = life.rows
    if log.guard_of(life) or life.patients_with_events < log.plan["report"]["minimum_patients"] or life.day_found is None:
        return None
    entry = rows["entry_day"].fillna(0).to_numpy(float)
    watched = (rows["found_day"].to_numpy(float) - entry).clip(min=0) / YEAR  # a part already in place counts from the day it came under observation
    hazard = np.append(0.0, np.cumsum(life.day_found.failed / life.day_found.at_risk))
    expected = hazard[np.searchsorted(life.day_found.time, rows["found_day"], side="right")] - hazard[np.searchsorted(life.day_found.time, entry, side="right")]
    excess = rows["observed"].to_numpy(float) - expected
    rho = longevity.within_patient_correlation(excess, rows["patient_id"].to_numpy())
    sizes = rows.groupby("patient_id").size().to_numpy(float)
    gap = float(np.median(life.gaps)) / YEAR if len(life.gaps) else 0.0
    return {"rate": life.events / float(watched.sum()), "rho": 0.0 if math.isnan(rho) else max(0.0, rho), "sizes": sizes, "gap": gap}


def _of_satisfaction(log, form: str) -> Need:
    scored = satisfied(log, form)
    minimal = log.plan["instruments"][form].get("minimal_difference")
    question = "satisfaction: more than the smallest difference that matters"
    asked = f"a range on one side of {minimal:g} points" if minimal else "no difference named in the plan"
    if scored is None or scored.change is None or not minimal:
        return Need(question, "not known", asked, 0 if scored is None else scored.pairs, None, "the plan names no minimal_difference" if not minimal else f"fewer than {log.plan['report']['minimum_patients']} patients answered before and a year after")
    rise, (low, high) = scored.change.improvement, scored.change.improvement_interval
    now = f"{words.number(rise)} points ({words.number(low)} to {words.number(high)})"
    sd = scored.change.se * math.sqrt(scored.change.patients)
    apart = abs(rise - minimal)
    if low > minimal or high < minimal:
        return Need(question, now, asked, scored.pairs, scored.pairs, basis=ENOUGH)
    if apart < 1e-9 or not sd > 0:
        return Need(question, now, asked, scored.pairs, None, "the change lies on the smallest difference that matters: no number of patients parts them")
    needed = pairs_needed(sd, apart, log.plan["report"]["level"])
    return Need(question, now, asked, scored.pairs, _capped(needed), _never(needed), 1.0, "patients who answer before and a year after; range by Student's t at the present change")


def pairs_needed(sd: float, apart: float, level: float = 0.95) -> int:
    """Patients until a t interval of mean changes reaches no further than ``apart``.

    >>> pairs_needed(10.0, 5.0), pairs_needed(10.0, 2.0)
    (18, 99)
    """
    n = max(2, math.ceil((stats.norm.ppf(0.5 + level / 2) * sd / apart) ** 2))
    while stats.t.ppf(0.5 + level / 2, n - 1) * sd / math.sqrt(n) > apart:
        n += 1
    return n
