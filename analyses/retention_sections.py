"""Changes of level, in words and sections: where people settle, what they said before and after a step, and how satisfied they were."""

from __future__ import annotations

import math

import pandas as pd

from outcomes.analyses import retention_figures as figures
from outcomes.analyses import sections
from outcomes.analyses.answers import range_words
from outcomes.analyses.levels_paths import BETWEEN, DIED, LIGHT, RETIRED, STATES, UNKNOWN, WITHOUT, bands
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.methods import made_with
from outcomes.analyses.people import WORDS
from outcomes.analyses.retention_alive import HORIZONS, still_with_denture
from outcomes.analyses.retention_steps import DOWN, TOO_FIRM, UP, right_words
from outcomes.present import words
from outcomes.present.content import Answer, Box, Doubt, Facts, NextStep, Notice, Prose, Section

MEAN = "People ask for a change on a bad day, and the next day is usually better whatever is done"


def of_levels(paths, plan) -> Answer:
    """The share at a light level two years on (or at the last horizon reached)."""
    counts = words.people(paths.patients, len(paths.dentures), "denture")
    for years in (2, 1):
        if paths.occupancy is not None and figures.patients_on(paths, years * YEAR) >= plan["report"]["test_patients"] and LIGHT in list(paths.occupancy.states):
            value = float(paths.occupancy.probability_at(years * YEAR, LIGHT))
            low, high = (float(limit) for limit in paths.occupancy.interval_at(years * YEAR, LIGHT))
            return Answer("light", words.estimated(value, paths.patients), f"of dentures were at a light level {words.span(years)} after delivery, of all that started at any.", range_words(low, high, paths.confidence), counts, "about-levels", (low, value, high) if not math.isnan(low) else None, value, low, high)
    return Answer("light", "", "The log cannot say at which level people settle: too few were followed for a year.", "", counts, "about-levels")


def of_stepping(settling, way: str, plan) -> Answer:
    """Share stepped up (or down) first within a year."""
    cause, counts = f"step {way}", words.people(settling.patients, len(settling.rows), "denture")
    number = int((settling.rows["cause"] == cause).sum())
    patients = int(settling.rows.loc[settling.rows["cause"] == cause, "patient_id"].nunique())
    where = "about-starting-level"
    if patients < plan["report"]["minimum_patients"] or settling.followed(1) == 0:
        return Answer(cause, f"{patients} of {settling.patients}", f"patients have been stepped {way} first: too few to say how many will be.", "", counts, where)
    value = float(settling.incidence.incidence_at(YEAR, cause))
    low, high = (float(limit) for limit in settling.incidence.interval_at(YEAR, cause))
    return Answer(cause, words.estimated(value, settling.patients), f"of dentures had been stepped {way} within a year, as their first change.", range_words(low, high, settling.confidence), f"{counts}; {words.count(number, 'denture')} so far", where, (low, value, high), value, low, high)


def of_words(found, plan) -> list[Answer]:
    """What patients said of the snap after a step up."""
    asked, before, after = right_words(found, UP)
    where, level = "about-snap", found.confidence
    if asked < plan["report"]["minimum_patients"]:
        return [Answer("snap after", "", f"The log cannot say how the snap felt after a step up: {words.count(asked, 'patient')} {'was' if asked == 1 else 'were'} asked before and after.", "", words.count(len(found.first(UP)), "patient") + " stepped up", where)]
    rows = found.asked(UP)
    from outcomes import longevity

    share = longevity.wilson_interval(after, asked, level=level)
    firm = longevity.wilson_interval(int(rows["after"].isin(TOO_FIRM).sum()), asked, level=level)
    counts = f"{words.count(asked, 'patient')} asked both times, of {len(found.first(UP))} stepped up"
    return [
        Answer("snap after", words.share(share.value, asked), f"of patients called the snap just right when next asked after a step up; {before} of {asked} had on the day of the step.", range_words(share.low, share.high, level), counts, where, (share.low, share.value, share.high), share.value, share.low, share.high),
        Answer("too firm", words.share(firm.value, asked), "of patients called the snap too firm when next asked after a step up.", range_words(firm.low, firm.high, level), counts, where, (firm.low, firm.value, firm.high), firm.value, firm.low, firm.high),
    ]  # fmt: skip


def of_felt(felt) -> Answer:
    """Satisfaction after a change, beside what the next answer would have been anyway."""
    where = "about-satisfaction"
    if felt.change is None:
        return Answer("satisfaction", "", f"The log cannot say whether a change of level helped. {felt.missing}", "", "", where)
    change, count = felt.change, felt.change.counts
    seen = count["steps with a later score"]
    counts = f"{words.count(seen, 'patient')} with an answer before and after, of {count['patients stepped']} stepped"
    if math.isnan(change.effect.value):
        if math.isnan(change.observed_rise) or seen < 5:
            return Answer("satisfaction", "", f"The log cannot say whether a change of level helped: {words.count(seen, 'patient')} answered before and after one, and {words.count(count['matched sets'], 'patient')} could be set beside a like patient; it takes 10.", "", counts, where)
        text = f"points better after a change of level, as seen; {_points(change.expected_rise)} would be expected had nothing been done."
        return Answer("satisfaction", _points(change.observed_rise), text, "", counts + ": too few to compare", where, None, change.observed_rise)
    effect = change.effect
    text = f"points better after a change of level than like patients without one; as seen {_points(change.observed_rise)}, of which {_points(change.expected_rise)} would be expected had nothing been done."
    return Answer("satisfaction", _points(effect.value), text, f"{_points(effect.low)} to {_points(effect.high)} ({words.percent(effect.level)})", counts, where, None, effect.value, effect.low, effect.high, "may be no difference" if effect.low < 0 < effect.high else "")


def _points(value: float) -> str:
    return ("+" if value >= 0.05 else "") + words.number(value, 1)


def levels(paths, plan, folder) -> Section:
    """Where people settle."""
    blocks: list = [Prose((f"Each denture counts once, by the firmest of its inserts. {bands(plan['levels'])} A change is made at a visit, so its day is exact. Dentures already in use when the log began are not counted here.",))]
    said = levels_finding(paths, plan)
    if len(paths.rows):
        blocks.append(folder.picture("paths_of_level", lambda shape: figures.went(paths, plan, shape), said, "Streams show who moved between two columns, in the colour of where they went. Under each column: patients still followed with the denture.",
                                     {"paths_of_level": figures.flows_table(figures.columns(paths, plan["report"]["minimum_patients"]))}))  # fmt: skip
        blocks.append(folder.picture("levels_over_time", lambda shape: figures.over_time(paths, plan, shape), said, "Each colour is a level; the whole height is every denture that started. Gone: died, or the denture out of use; censored: no longer followed.",
                                     {"levels_over_time": figures.shares_over_time(paths), "levels_over_time_counts": figures.counts_over_time(paths).table()}))  # fmt: skip
        rows, exact = _table(paths, plan)
        if rows:
            blocks.append(folder.grid("levels", "Share of dentures at each level", pd.DataFrame(rows), pd.DataFrame(exact)))
    blocks.append(Facts((("Patients", str(paths.patients)), ("Dentures", str(len(paths.dentures))), ("Starting level not written down", words.count(paths.unknown, "denture")), ("In use before the log, or from an unknown day", words.count(paths.late, "denture")))))
    return Section("about-levels", "Where people settle in retention", tuple(blocks))


def levels_finding(paths, plan) -> str:
    """Start and later, in a sentence."""
    what = figures.columns(paths, plan["report"]["minimum_patients"])
    if len(what.columns) < 2:
        return "Too few dentures were followed to say where people settle."
    last = what.columns[-1]
    told = {BETWEEN: "between light and medium", UNKNOWN: "at a level nobody wrote down", WITHOUT: "without an insert", RETIRED: "out of use", DIED: "left by a patient who had died"}
    said = [f"{words.estimated(last.shares[state], paths.patients)} {told.get(state, state)}" for state in STATES if last.shares.get(state, 0) >= 0.005]
    start = words.estimated(what.columns[0].shares.get(LIGHT, 0.0), paths.patients)
    return f"{words.sentence(words.joined(start, 'of dentures started light'))}; after {last.title} {words.listing(said)}."


def _table(paths, plan) -> tuple[list, list]:
    found, rows, exact = paths.occupancy, [], []
    for years, label in HORIZONS:
        people = figures.patients_on(paths, years * YEAR)
        if people < plan["report"]["minimum_patients"]:
            continue
        row = {"after": label}
        for state in STATES:
            if state in list(found.states):
                value, (low, high) = float(found.probability_at(years * YEAR, state)), found.interval_at(years * YEAR, state)
                row[state] = words.estimated(value, paths.patients) + (f" ({words.percent_range(low, high)})" if math.isfinite(low) else "")
                exact.append({"years": years, "state": state, "share": value, "low": low, "high": high, "patients_followed": people})
        rows.append({**row, "patients followed": str(people)})
    return rows, exact


def staying(settling, answer, paths, plan, folder) -> Section:
    """Still at the starting level: of all who started, and of those who still have the denture."""
    section = sections.starting_level(settling, answer, plan, folder)
    second = still_with_denture(settling, paths, plan)
    if second.empty:
        return section
    shown = pd.DataFrame({"after": second["after"], "still at the starting level, of those with the denture": [words.estimated(value, settling.patients) for value in second["share"]],
                          "likely range": [words.percent_range(low, high) for low, high in zip(second["low"], second["high"])], "patients followed": second["patients"].astype(str)})  # fmt: skip
    grid = folder.grid("starting_level_with_denture", "The same, of those alive with the denture", shown, second)
    return Section(section.anchor, section.title, (*section.blocks, grid), section.methods)


def snap(found, plan, folder) -> Section:
    """The patient's own word before and after."""
    blocks: list = [Notice(f"{MEAN}. The words after a step are what these patients said; they do not show what the step did.")]
    for way in (UP, DOWN):
        asked, before, after = right_words(found, way)
        said = f"Of {words.count(asked, 'patient')} stepped {way} and asked both times, {before} called the snap just right on the day of the step, {after} when next asked." if asked else f"Nobody stepped {way} was asked about the snap both before and after."
        blocks.append(folder.picture(f"snap_step_{way}", lambda shape, way=way: figures.before_after(found, way, plan, shape), said, f"Left: the word on the day of the first step {way}. Right: the first word asked after it, within a year."))
        rows = found.asked(way)
        if len(rows):
            used = [[word for word in WORDS if (rows[side] == word).any()] for side in ("before", "after")]
            table = pd.crosstab(rows["before"], rows["after"]).reindex(index=used[0], columns=used[1]).reset_index().rename(columns={"before": "on the day of the step"})
            blocks.append(folder.grid(f"snap_step_{way}", f"Step {way}: patients by their word before (rows) and after (columns)", table.astype(str), table))
    firm = found.share(UP, TOO_FIRM)
    pairs = [("Patients stepped up", str(len(found.first(UP)))), ("Asked after it", str(int(found.first(UP)["after"].notna().sum()))), ("Too firm when next asked", words.share(firm.value, int(found.first(UP)["after"].notna().sum()))),
             ("Patients stepped down", str(len(found.first(DOWN)))), ("Steps in all", str(len(found.rows)))]  # fmt: skip
    return Section("about-snap", "The snap before and after a step", (*blocks, Facts(tuple(pairs))))


def satisfied(felt, plan, folder) -> Section:
    """Satisfaction around a change of level."""
    title = "Satisfaction after a change of level"
    if felt.change is None:
        return Section("about-satisfaction", title, (Notice(f"The log cannot say whether a change of level helped. {felt.missing} A card answered on the day of the step, before anything is changed, and again two months to a year later is enough."),))
    change, exact = felt.change, felt.change.table()
    labels = {"rise after a step": "as seen: rise after a change", "rise expected from regression to the mean": "expected had nothing been done", "stepped less like patients not stepped": "changed, beside like patients not changed"}
    shown = pd.DataFrame([{"points for the better": labels[row.quantity], "mean": _points(row.value) if math.isfinite(row.value) else "not compared", "likely range": f"{_points(row.low)} to {_points(row.high)}" if math.isfinite(row.low) else "–", "patients": str(int(row.count))} for row in exact.rename(columns={"count": "number"}).rename(columns={"number": "count"}).itertuples(index=False)])
    blocks: list = [Prose((f"{MEAN}. So the rise after a change is never what the change did. The second line says how much of it the next answer would have brought by itself; the third sets changed patients beside patients with the same level, a like score and a like time since delivery whose level was left as it was. What made people ask for a change beyond what their score shows stays in that difference.",)),
                    folder.grid("satisfaction_after_step", felt.instrument.title, shown, exact), Prose((reading(felt),))]  # fmt: skip
    blocks.append(Facts(tuple((words.sentence(name), str(number)) for name, number in change.counts.items())))
    if change.notes:
        blocks.append(Prose(tuple(words.sentence(note if note.endswith(".") else note + ".") for note in change.notes)))
    return Section("about-satisfaction", title, tuple(blocks))


def reading(felt) -> str:
    """What the numbers allow to be said."""
    change = felt.change
    if math.isnan(change.effect.value):
        return f"Only {words.count(change.counts['matched sets'], 'changed patient')} had a like patient beside them; it takes 10 for a comparison. So this describes what came after a change."
    low, high = change.effect.low, change.effect.high
    if low < 0 < high:
        return "The likely range of the comparison holds no difference: after a change patients may be as satisfied as like patients without one."
    return f"After a change patients were {'more' if low > 0 else 'less'} satisfied than like patients without one, and the whole likely range says so."


def doubts(log, paths, found, felt) -> tuple[Doubt, ...]:
    """What the log lacks."""
    first = found.first(UP)
    out = [Doubt("Asked on a bad day.", f"{MEAN}: nothing here shows by itself what a step did.", "about-snap")]
    if len(first):
        lacking = int((first["before"].isna() | first["after"].isna()).sum())
        out += [Doubt("Snap.", f"{lacking} of {words.count(len(first), 'patient')} stepped up were not asked both on the day of the step and after it.", "about-snap")] if lacking else []
    if felt.change is not None:
        lacking = felt.change.counts["patients stepped"] - felt.change.counts["steps with a later score"]
        out += [Doubt("Satisfaction.", f"{lacking} of {words.count(felt.change.counts['patients stepped'], 'patient')} whose level was changed did not answer both at the change and within a year after it.", "about-satisfaction")] if lacking else []
    if paths.late:
        out.append(Doubt("Older dentures.", f"{words.count(paths.late, 'denture')} in use before the log began {'is' if paths.late == 1 else 'are'} not in the shares: nobody knows where they started.", "about-levels"))
    if paths.unknown:
        out.append(Doubt("Level not written.", f"{words.count(paths.unknown, 'denture')} started at a level nobody wrote down.", "about-levels"))
    return tuple(out)


def todo(log, found) -> tuple[NextStep, ...]:
    """Answers that can still be had."""
    closing = pd.Timestamp(log.closing)
    last = found.rows.sort_values("day").drop_duplicates("patient_id", keep="last")
    here = set(log.patients.loc[log.patients["left_on"].isna() & log.patients["left_reason"].isna(), "patient_id"])
    since = (closing - pd.to_datetime(last["day"])).dt.days
    open_ = last[last["after"].isna() & (since <= log.plan["steps"]["follow_to_days"]) & last["patient_id"].isin(here)]
    unasked = int(found.rows["before"].isna().sum())
    steps = [NextStep(str(len(open_)), f"{'patients' if len(open_) != 1 else 'patient'} changed within the last year can still be asked how the snap feels", "about-snap")] if len(open_) else []
    return tuple(steps + ([NextStep(str(unasked), f"of {len(found.rows)} steps were made without writing down the patient's word on the snap: ask before changing", "about-snap")] if unasked else []))


def boxes(log, paths) -> tuple[Box, ...]:
    """Dentures in, and those left out."""
    left = [f"{number} {reason}" for number, reason in ((paths.late, "in use before the log or from an unknown day"), (paths.unknown, "starting level not written down")) if number]
    return (Box(str(len(log.dentures)), "overdentures in the log", f"left out: {', '.join(left)}" if left else ""), Box(str(len(paths.dentures)), f"followed from their first inserts, in {words.count(paths.patients, 'patient')}"))


def methods(felt, plan) -> Section:
    """How it was made."""
    texts = (
        "Levels over time: state occupancy by Aalen–Johansen (without the Markov assumption: Datta and Satten 2001) per denture from its first inserts, state the highest nominal force among its inserts in the plan's bands; limits from influences summed by patient. Moved and lost to follow-up are censored; death and a denture out of use are states. Dentures that entered late are left out, since where they are depends on where they were.",
        "Paths: the same shares in columns; the streams between them are products of the daily transition matrices, which takes the next move to depend on the present level only. Columns stop where fewer than "
        f"{plan['report']['minimum_patients']} patients (10 in talks) are followed.",
        "Still at the starting level: one minus the cumulative incidence of the first change with death and a new denture as competing ends, over all started; of those alive with the denture, divided by the share with it, limits from whole patients drawn anew. Time to the first step up: competing ends death, denture out of use, step down.",
        "Snap before and after: each patient's first step that way, the word on arrival that day and the first word asked within a year after it; Wilson limits over patients. Conversions and new dentures are no steps.",
        f"Satisfaction: sequential matched comparison, {felt.change.method if felt.change is not None else 'not made'}. Expected rise: (slope of the next score on this one − 1) × (mean at the step − usual score). Fewer than 10 matched sets: description only.",
        "No lifetime of an insert before a step is set beside one after it: sites are stepped because the first insert did badly, which alone makes the next look better.",
    )
    return Section("methods", "Methods", (Prose(texts), Facts((("Plan, SHA-256", plan.digest[:16]), ("Seed", str(plan["report"]["seed"])), ("Made with", made_with())))), methods=True)
