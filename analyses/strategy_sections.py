"""The comparison from page 2 on: each question with its rules, its groups and its figure; one way by itself; conversions; methods."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from outcomes.analyses import strategy_conversions, strategy_words
from outcomes.analyses.methods import made_with
from outcomes.present import words
from outcomes.present.alike import alike
from outcomes.present.content import Facts, Grid, Notice, Prose, Section
from outcomes.present.curves import Frame

ALWAYS = "The groups are what was put in on the day of delivery. Whoever was stepped later stays in the group they started in: the step is part of that way of starting, and what it costs is counted there."


def of_question(found, plan, folder) -> Section:
    """One question: whether it may be compared, the groups, and the outcomes as far as they may be printed."""
    question, stem = found.question, found.question.name.replace(" ", "_").replace("-", "_")
    why = strategy_words.reason(found)
    blocks: list = [Notice(f"This is {strategy_words.UNFAIR}. {why}") if why else Prose(("Every rule for a fair comparison holds, as far as the log can tell.",)), Prose((ALWAYS,))]
    if found.trial is not None and min(found.patients) < plan["report"]["minimum_patients"]:
        blocks.append(Prose((f"With {words.count(min(found.patients), 'patient')} in one of the groups there is nothing to set side by side.",)))
    elif found.trial is not None:
        finding = _balance_finding(found, plan)
        limit = plan["strategy"]["most_difference"]
        first, second = found.patients
        frame = Frame("How alike the groups are on the day of delivery", f"{words.count(first, 'patient')} {question.arms[0]}, {second} {question.arms[1]}", "difference between the groups, in standard deviations")
        blocks.append(folder.picture(f"alike_{stem}", lambda shape: alike(found.trial.balance, limit, frame, shape), finding, f"Each line is something known on the day of delivery. At 0 the groups are the same in it; 1 SD (standard deviation) is as far apart as patients usually are from one another; up to {words.number(limit, 2)} counts as alike."))
        blocks.append(_outcomes(found, folder, stem))
        if found.missing:
            blocks.append(Prose((" ".join(found.missing),)))
        if found.fair and found.main is not None and math.isfinite(found.main.difference.low):
            blocks.append(Prose((_reading(found), strategy_words.strength(found.main))))
        elif found.fair is False and len(found.trial.contrasts):
            blocks.append(Prose(("The columns above must not be subtracted from each other: the patients were different to begin with, and the log cannot make them alike.",)))
        if not found.recalled_alike:
            blocks.append(Notice(f"Recall habits differ: {words.days(found.recall_gaps[0])} between looks against {words.days(found.recall_gaps[1])}. Failures found by looking come later where people look less often."))
        blocks += _groups(found, folder, stem)
    blocks.append(Facts(_facts(found)))
    return Section(strategy_words.anchor(question), question.title, tuple(blocks))


def _balance_finding(found, plan) -> str:
    balance = found.trial.balance
    if balance.empty:
        return "Nothing is known on the day of delivery by which the groups could differ."
    worst = balance.loc[balance["crude"].abs().idxmax()]
    said = f"Before weighting the groups differed most in “{worst['covariate']}” ({_apart(worst['crude'])})"
    if balance["weighted"].notna().any():
        left = balance.loc[balance["weighted"].abs().idxmax()]
        return f"{said}; after it in “{left['covariate']}” ({_apart(left['weighted'])})."
    return f"{said}; too few patients to weight them."


def _apart(value: float) -> str:
    return "one group wholly, the other not at all" if np.isinf(value) else f"{words.number(abs(value), 2)} SD"


def _outcomes(found, folder, stem: str) -> Grid | Notice:
    """Crude and weighted side by side where that is fair; else each group by itself."""
    exact, (one, other) = found.trial.table(), found.question.short
    if not exact.empty:  # the limits of each group by itself stand on the page too
        exact = exact.assign(**{f"{which}_crude_{end}": [_clipped(contrast.crude_limits[place][side], contrast.name) for contrast in found.trial.contrasts] for place, which in enumerate(("first", "second")) for side, end in enumerate(("low", "high"))})
    if exact.empty:
        return Notice("Nobody was followed long enough, in both groups, for any outcome.")
    rows = []
    for contrast in found.trial.contrasts:
        show = words.percent if contrast.name.startswith("share") else words.rate
        limits = words.percent_range if contrast.name.startswith("share") else words.rate_range
        row = {"outcome": contrast.name}
        if found.fair:
            row[f"as it was, {one} and {other}"] = f"{show(contrast.crude[0])} and {show(contrast.crude[1])}"
            row["difference as it was"] = _gap(contrast.crude_difference, contrast.name)
            row["made alike"] = f"{show(contrast.weighted[0])} and {show(contrast.weighted[1])}"
            row["difference, made alike"] = _gap(contrast.difference, contrast.name)
        else:
            for label, value, (low, high) in zip((one, other), contrast.crude, contrast.crude_limits):
                row[f"{label}, as it was"] = f"{show(value)} ({limits(_clipped(low, contrast.name), _clipped(high, contrast.name))})" if math.isfinite(low) else show(value)
        rows.append(row)
    caption = "Per patient: as it was, and with the groups made alike" if found.fair else f"Each group as it was, per patient: {strategy_words.UNFAIR}"
    return folder.grid(f"{stem}_outcomes", caption, pd.DataFrame(rows), exact)


def _clipped(limit: float, name: str) -> float:
    """A limit no lower than nought and, of a share, no higher than all; nan stays nan."""
    return float(np.clip(limit, 0.0, 1.0 if name.startswith("share") else np.inf))


def _gap(gap, name: str) -> str:
    if not math.isfinite(gap.value):
        return "not known"
    if name.startswith("share"):
        return f"{words.number(100 * gap.value)} points ({words.number(100 * gap.low)} to {words.number(100 * gap.high)})"
    return f"{strategy_words.signed(gap.value)} ({strategy_words.signed(gap.low)} to {strategy_words.signed(gap.high)})"


def _reading(found) -> str:
    gap, (one, other) = found.main.difference, found.question.arms
    if gap.low < 0 < gap.high:
        return f"The likely range holds no difference: patients who {other} may need more or fewer visits than patients who {one}."
    return f"Alike in what the log knows, patients who {other} needed {'more' if gap.value > 0 else 'fewer'} visits than patients who {one}; the whole likely range says so."


def _groups(found, folder, stem: str) -> list:
    """What each group brought along, as it was and weighted."""
    balance, (one, other) = found.trial.balance, found.question.short
    if balance.empty:
        return []
    value = lambda name, mean, people: words.number(mean, 1) if name == "year of delivery" else words.share(float(np.clip(mean, 0, 1)), people)  # noqa: E731
    first, second = found.patients
    shown = pd.DataFrame([{"on the day of delivery": row.covariate, one: value(row.covariate, row.first, first), other: value(row.covariate, row.second, second), "difference, SD": "whole" if np.isinf(row.crude) else words.number(abs(row.crude), 2),
                           "after weighting": "–" if math.isnan(row.weighted) else "whole" if np.isinf(row.weighted) else words.number(abs(row.weighted), 2)} for row in balance.itertuples()])  # fmt: skip
    counted = {f"{which}_with_it": ["" if row.covariate == "year of delivery" else int(words.rounded(getattr(row, which) * people)) for row in balance.itertuples()] for which, people in (("first", first), ("second", second))}
    return [folder.grid(f"{stem}_groups", "The two groups", shown, balance.assign(first_patients=first, second_patients=second, **counted))]


def _facts(found) -> tuple[tuple[str, str], ...]:
    first, second = found.patients
    pairs = [(words.sentence(found.question.arms[0]), words.count(first, "patient")), (words.sentence(found.question.arms[1]), words.count(second, "patient"))]
    if found.trial is not None and math.isfinite(found.trial.effective):
        pairs.append(("Left after weighting, of the group that loses more", words.percent(found.trial.effective)))
    if found.same:
        pairs.append(("The same for everybody", words.listing(list(found.same))))
    pairs += [(f"Left out: {reason}", words.count(number, "patient")) for reason, number in found.left_out.items()]
    if found.needed_for_arms:
        pairs.append(("First dentures it would take for enough each way", str(found.needed_for_arms)))
    if found.needed_for_difference:
        pairs.append(("Patients each way it would take to see the smallest difference worth knowing", str(found.needed_for_difference)))
    return tuple(pairs)


def of_one_way(one, arm: str, said, plan, folder) -> Section:
    """What one way of starting says without any comparison."""
    blocks: list = [Prose(tuple(words.sentence(answer.whole) for answer in said) or ("The log cannot say yet how one way of starting works out.",))]
    rows, exact = [], []
    for years in plan["report"]["horizons_years"]:
        people = one.steps.followed(years)
        if people < plan["report"]["minimum_patients"]:
            continue
        row = {"by": words.span(years)}
        for cause, label in (("step up", "stepped up first"), ("step down", "stepped down first")):
            value, low, high = one.stepped(cause, years) or (0.0, float("nan"), float("nan"))
            row[label] = words.estimated(value, one.patients) + (f" ({words.percent_range(low, high)})" if math.isfinite(low) else "")
            exact.append({"years": years, "first_change": cause, "share": value, "low": low, "high": high, "patients_followed": people})
        rows.append({**row, "patients followed": str(people)})
    if rows:
        blocks.append(folder.grid("one_way_steps", f"Of patients who {arm}, over all who did", pd.DataFrame(rows), pd.DataFrame(exact)))
    pairs = [("Patients", str(one.patients)), ("Snap just right at the starting level, when last asked", f"{one.content_count} of {one.asked} asked")]
    for label, found in ((f"Visits for an insert within {words.span(one.years)}", one.visits), ("of these, with a change of level asked for", one.step_visits), ("Chair minutes of these", one.step_minutes)):
        pairs.append((label, f"{words.rate(found.value)} per patient" + (f" ({words.rate_range(found.low, found.high)})" if math.isfinite(found.low) else "")) if math.isfinite(found.value) else (label, "nobody followed so long"))
    blocks.append(Facts(tuple(pairs)))
    return Section("about-one-way", f"Patients who {arm}, by themselves", tuple(blocks))


def of_conversions(found, folder) -> Section:
    """Ball to stud in the same denture, before and after."""
    if not found.patients:
        return Section("about-conversions", "From ball to stud in the same denture", (Notice("No patient in the log was converted from balls to studs."),))
    grid = folder.grid("conversions", "The same patients before and after", strategy_conversions.shown(found), found.table())
    return Section("about-conversions", "From ball to stud in the same denture", (Notice(strategy_conversions.CAUTION), grid))


def methods(found: list, plan) -> Section:
    """How it was made."""
    rule, report = plan["strategy"], plan["report"]
    how = next((one.trial.method for one in found if one.trial is not None), "no comparison had two groups")
    texts = (
        "Design: a trial emulated in the clinic's log (Hernán and Robins 2016). Eligible: each patient's first denture in the log with two or more sites fitted on one day and no insert before; delivered on one day in both jaws, the lower one. "
        f"Arms: every insert at delivery at most {plan['levels']['low_n']:g} N, or every insert at least {plan['levels']['medium_n']:g} N; mixed and bridging starts are left out and counted. Time zero and assignment: the day of delivery. "
        "Follow-up: to death, the loss of the denture, leaving, or the closing day, whatever is worn later. Patients grouped by what was done later are refused by the program: nobody can be stepped who has not first been well or unwell long enough.",
        f"Weights: {how}. Covariates are a fixed list; nothing was chosen by the data. Estimand: the mean difference over all eligible patients.",
        f"Printed as a comparison only with at least {rule['patients_per_arm']} patients in each arm, every standardised difference at most {rule['most_difference']:g} after weighting, an effective sample of at least {100 * rule['least_effective']:g} % in each arm, "
        f"and at most {100 * rule['most_outside']:g} % of patients with a chance of their arm below 5 % or above 95 %.",
        "Visits: patient-days after delivery with work on an insert of either jaw (a housing, for pick-up), mean cumulative count per patient started (Ghosh and Lin 2000). First repair: restricted mean of the day found. Time at the starting level: days at the band of day 0 over days followed. E-value: VanderWeele and Ding 2017.",
        f"Patients needed: two means, {100 * report['level']:g} % level, {100 * rule['power']:g} % power, the spread of visits found here, divided by what weighting leaves of the sample.",
        "Content at the starting level: Wilson limits over patients asked. Steps: cumulative incidence of the first change with death, a new denture and the other direction as competing ends. Counts of one group: limits from whole patients drawn anew.",
    )
    return Section("methods", "Methods", (Prose(texts), Facts((("Plan, SHA-256", plan.digest[:16]), ("Seed", str(report["seed"])), ("Made with", made_with())))), methods=True)
