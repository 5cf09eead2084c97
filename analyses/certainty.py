"""How sure we are: what the log lacks for each answer, and what that could do to it."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from outcomes.analyses.answers import anchor
from outcomes.analyses.lifetimes import DEPENDS, YEAR
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.content import Doubt

LOW_RESPONSE = 0.60
NOTICED = "the day the patient noticed counts"


def doubts(log, lives, settling, scores) -> tuple[Doubt, ...]:
    """One doubt per answer that has one, those that could change an answer first."""
    if log.guard:
        found = [(0, Doubt("How long parts last.", f"{log.guard} Write down every recall, also those at which all was well.", "certainty"))]
    else:
        found = [(_weight(life), Doubt(f"{saying(life).name}.", text, anchor(life.name))) for life in lives if (text := of_lifetime(life, log, 2))]
    if scores is not None and scores.started and scores.pairs / scores.started < LOW_RESPONSE:
        found.append((1, Doubt("Satisfaction.", f"Only {scores.pairs} of {words.count(scores.started, 'patient')} who answered before also answered a year after; those who did may differ.", "about-people")))
    if settling.unknown:
        found.append((3, Doubt("Starting level.", f"{words.count(settling.unknown, 'denture')} started at a level nobody wrote down and {'is' if settling.unknown == 1 else 'are'} not counted.", "about-starting-level")))
    found += [(4, Doubt("", warning)) for warning in log.warnings]
    if len(found) < 3 and log.everybody:
        found.append((9, Doubt("Chance.", "The likely ranges say how far chance alone could move each answer; they say nothing of what was not written down.")))
    return tuple(doubt for _, doubt in sorted(found, key=lambda pair: pair[0]))


def _weight(life) -> int:
    return 0 if life.depends_on_who_came_back else 2


def of_lifetime(life, log, most: int) -> str:
    """What is uncertain about one endpoint, most serious first, in so many sentences; "" where nothing is."""
    if life.patients == 0:
        return ""
    if log.guard_of(life):
        return f"{log.guard_of(life)} Write down every recall, also those at which all was well."
    said = [part for part in (_silence(life), _readings(life, log), _few(life), _late_finding(life), _unseen(life), _never_planned(life, log), _cannot_tell(life), _many_sites(life), _entered_late(life)) if part]
    return " ".join(said[:most])


def _silence(life) -> str:
    """Both censoring rules, where they lie apart."""
    years = life.horizon
    if not life.speaks or not years or not life.depends_on_who_came_back:
        return ""
    years = life.widest_silence
    sound, nothing = life.silence(years)
    return f"If silence means sound the answer at {words.span(years)} is {words.estimated(sound, life.patients)}, if silence means nothing {words.estimated(nothing, life.patients)}: it depends on who came back."


def _readings(life, log) -> str:
    """Another reading of the log that moves the answer by more than 0.05."""
    years = life.horizon
    share = life.share_at(years) if life.speaks and years else None
    if share is None:
        return ""
    moved = {name: share_under(log, life, name, years) for name in readings(log, life)}
    said = [f"if {name}, {words.estimated(other, life.patients)}" for name, other in moved.items() if abs(other - share.value) > DEPENDS]
    return f"Read as it stands the share after {words.span(years)} is {share.said(life.patients)}; {words.listing(said)}." if said else ""


def _never_planned(life, log) -> str:
    """Patients who come only with a problem can say nothing of wear that is found by looking."""
    if not life.examined or log.looked_for.empty:
        return ""
    number = int(log.looked_for.set_index("endpoint")["patients_without_recall"].get(life.name, 0))
    return f"{words.count(number, 'patient')} {'was' if number == 1 else 'were'} never looked at on a planned visit." if number else ""


def _late_finding(life) -> str:
    if not life.examined or len(life.gaps) < 5:
        return ""
    middle, nine = np.quantile(life.gaps, [0.5, 0.9])
    return f"Found by looking: between the last sound look and the finding lie {words.days(middle)} in half of the failures, more than {words.days(nine)} in one of ten."


def _unseen(life) -> str:
    share, whole = life.not_looked_at
    if math.isnan(share) or share < 0.1:
        return ""
    said = words.joined(words.share(share, whole, life.patients), f"of {life.units}")
    return f"{said} without a failure had not been looked at for {words.days(life.plan['rules']['under_care_days'])} when last followed."


def _cannot_tell(life) -> str:
    """Of inserts: that the causes of many changes are not certain."""
    if life.unit != "insert":
        return ""
    rest = life.rows[life.rows["cause"].isin(("cannot tell",))]
    return f"The cause of {words.count(len(rest), 'change')} cannot be told." if len(rest) >= 3 else ""


def _many_sites(life) -> str:
    """Whether patients with many sites pull the answer."""
    years = life.horizon
    share = life.share_at(years) if life.speaks and years else None
    alike = life.per_patient(years) if share is not None else float("nan")
    if math.isnan(alike) or abs(alike - share.value) <= DEPENDS:
        return ""
    return f"With every patient counted once, however many sites, the share after {words.span(years)} is {words.estimated(alike, life.patients)} instead of {share.said(life.patients)}."


def _entered_late(life) -> str:
    late = life.parts - len(life.fresh)
    if not late:
        return ""
    start = f" The curve starts {words.years(life.starts_late)} after {saying(life).since}." if life.starts_late else ""
    return f"{late} of {life.parts} {life.units} were in place before the log began and count from the first look at which they were sound.{start}"


def _few(life) -> str:
    if life.speaks and life.patients_telling < life.plan["report"]["test_patients"]:
        return f"Only {words.count(life.patients_telling, 'patient')} {saying(life).happened}; a few more could move the answer."
    return ""


def facts(life) -> tuple[tuple[str, str], ...]:
    """What every estimate rests on, as pairs for its section."""
    view = "between two looks: a failure lies after the last sound look and by the look that found it" if life.examined else "the day on which it was found"
    rule = "its last look" if life.examined else "the end of the patient's care"
    pairs = [
        ("Patients", str(life.patients)),
        (life.units.capitalize(), str(life.parts)),
        ("With the event", f"{words.count(life.patients_with_events, 'patient')}, {words.count(life.events, life.unit, life.units)}"),
        ("Watched, as a rule, for", words.years(life.median_follow_up()) if life.parts else "none"),
        ("Found at problem visits", words.share(life.found_at_problem_visits, life.events, life.patients) if life.events else "no failure"),
        (f"Not looked at for {words.days(life.plan['rules']['under_care_days'])}, of those without a failure", words.share(*life.not_looked_at, life.patients)),
        ("Counted by", view),
        ("Without a failure, followed to", rule),
    ]
    if life.examined and len(life.gaps):
        pairs.insert(5, ("From the last sound look to the finding", f"{words.days(float(np.median(life.gaps)))} in half, {words.days(float(np.quantile(life.gaps, 0.9)))} in nine of ten"))
    return tuple(pairs)


def table(log, lives) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): for every endpoint and horizon the share by both censoring rules, and under other readings of the log."""
    shown, exact = [], []
    every = tuple(dict.fromkeys(name for life in lives for name in readings(log, life)))
    for life in lives:
        for years in life.plan["report"]["horizons_years"]:
            if not life.speaks or life.followed(years) < life.plan["report"]["minimum_patients"]:
                continue
            sound, nothing = life.silence(years)
            if math.isnan(sound) and math.isnan(nothing):
                continue
            others = {name: share_under(log, life, name, years) for name in every}
            exact.append({"endpoint": life.name, "years": years, "if_silence_means_sound": sound, "if_silence_means_nothing": nothing, **{f"if_{name.replace(' ', '_')}": share for name, share in others.items()},
                          "patients_followed": life.followed(years)})  # fmt: skip
            shown.append({"answer": saying(life).title, "after": words.span(years), "if silence means sound": words.estimated(sound, life.patients), "if silence means nothing": words.estimated(nothing, life.patients),
                          **{f"if {name}": words.estimated(share, life.patients) for name, share in others.items()}, "patients followed": str(life.followed(years))})  # fmt: skip
    return pd.DataFrame(shown), pd.DataFrame(exact)


def share_under(log, life, reading: str, years: float) -> float:
    """The share at a horizon, had the log been read another way; nan where nobody was followed so long."""
    other = life.noticed if reading == NOTICED else log.lifetime(life.name, reading)
    return float("nan") if other.headline is None else float(other.headline.survival_at(years * YEAR))


def readings(log, life) -> tuple[str, ...]:
    """The other readings that can change this endpoint's answer."""
    failed = life.rows[life.rows["observed"]]
    told = life.examined and "noticed_right" in failed and ((failed["noticed_right"] != failed["right_day"]) | (failed["noticed_left"] != failed["left_day"])).any()
    return (*log.readings, *((NOTICED,) if told else ()))


def horizons(life) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): the share at each horizon of the plan with its likely range."""
    report, shown, exact = life.plan["report"], [], []
    for years in sorted({*report["horizons_years"], report["headline_years"]}) if life.speaks or not life.events else ():
        share = life.share_at(years)
        if share is None or share.followed < report["minimum_patients"]:
            continue
        value = share.said(life.patients)
        likely = words.percent_range(share.low, share.high) if not math.isnan(share.low) else "one patient gives no range"
        alike = life.per_patient(years)
        shown.append({"after": words.span(years), "share": value, f"likely range ({words.percent(life.level)})": likely, **({} if math.isnan(alike) else {"every patient once": words.estimated(alike, life.patients)}),
                      "patients followed": str(share.followed)})  # fmt: skip
        exact.append({"endpoint": life.name, "share_every_patient_once": alike, "years": years, "share": share.value, "share_lower_edge": share.below, "low": share.low, "high": share.high, "patients_followed": share.followed, "shown": value})
    return pd.DataFrame(shown), pd.DataFrame(exact)


def bracket_rows(life) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): what holds whatever would have become of units that ended otherwise, at each horizon."""
    shown, exact = [], []
    if life.bracket is None or not life.speaks:
        return pd.DataFrame(shown), pd.DataFrame(exact)
    report = life.plan["report"]
    for years in sorted({*report["horizons_years"], report["headline_years"]}):
        if life.followed(years) < report["minimum_patients"]:
            continue
        low, high = (float(edge) for edge in life.bracket.bounds_at(years * YEAR))
        middle = float(life.bracket.if_independent.survival_at(years * YEAR))
        least, most = (float(edge) for edge in life.bracket.limits_at(years * YEAR))
        if math.isnan(low) or math.isnan(high):
            continue
        exact.append({"endpoint": life.name, "years": years, "at_least": low, "at_most": high, "if_like_the_rest": middle, "low": least, "high": most})
        shown.append({"after": words.span(years), "at least": words.estimated(low, life.patients), "at most": words.estimated(high, life.patients), "if the others had lasted like the rest": words.estimated(middle, life.patients),
                      f"likely range ({words.percent(life.level)})": words.percent_range(least, most)})  # fmt: skip
    return pd.DataFrame(shown), pd.DataFrame(exact)
