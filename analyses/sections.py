"""The report from page 2 on: each answer with its figure, its table and its reading; then lists, and how it was made."""

from __future__ import annotations

import math

import pandas as pd

from outcomes.analyses import certainty, changes, drawings
from outcomes.analyses.answers import anchor, range_words
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.people import improved_words_of
from outcomes.analyses.sentences import saying
from outcomes.analyses.who import REASONS
from outcomes.present import words
from outcomes.present.areas import answers_over_time
from outcomes.present.content import Facts, Grid, Notice, Prose, Section
from outcomes.present.curves import Frame
from outcomes.present.flow import Stage, flow
from outcomes.present.people import Scores, scores

SNAP_COLOURS = {"far too loose": "signal", "a bit loose": "sand", "just right": "accent", "a bit firm": "plum", "far too firm": "ink"}
NEIGHBOURS = "insert worn, neighbours with it"
WAYS = (("insert worn", "seen worn, torn or lost"), ("insert worn or reported loose", "and changes for a snap that had been right and became loose"), ("insert worn, reported or unclear", "and changes whose cause cannot be told"), (NEIGHBOURS, "seen worn, and neighbours changed soon after it"))


def of_lifetime(log, life, answer, folder) -> Section:
    """One endpoint: what it means, the curve, its numbers, what it rests on; of inserts also what became of them."""
    say, blocks = saying(life), [Prose((life.endpoint["definition"], reading(life, answer)))]
    stem = life.name.replace(" ", "_")
    if log.guard_of(life):
        blocks.append(Notice(log.guard_of(life)))
    elif life.patients:
        blocks += _became(life, folder) if life.unit == "insert" else []
        blocks.append(folder.picture(stem, lambda shape: drawings.curve(life, shape), _curve_finding(life, answer), caption(life), drawings.numbers_of(life, stem)))
        blocks += _table(folder, f"{stem}_shares", f"{say.title}: shares at the plan's horizons", certainty.horizons(life))
        blocks += _inserts(log, life, folder) if life.unit == "insert" else []
    if life.patients:
        blocks += [Facts(certainty.facts(life)), *_left_out(life)]
    return Section(anchor(life.name), say.name, tuple(block for block in blocks if block))


def _became(life, folder) -> list:
    """What became of the inserts, before anything is said of wear alone."""
    became = drawings.became_of(life)
    if became is None:
        return []
    numbers = {"what_became_of_inserts": became.shares, "what_became_of_inserts_counts": became.counts.table()}
    return [folder.picture("what_became_of_inserts", lambda shape: drawings.became(life, shape), ending_finding(became, life), "Each colour is a reason for which an insert went; wear counts from the visit that found it. Censored: no longer followed, and in place until then.", numbers)]


def _inserts(log, life, folder) -> list:
    """The three ways of counting wear, its bracket, and how long until any change."""
    blocks = [*_table(folder, "wear_three_ways", "Ways of counting wear: share not worn", three_ways(log))]
    blocks += _table(folder, "wear_bracket", "Whatever would have become of inserts that were changed for other reasons: share not worn, by the day found", certainty.bracket_rows(life))
    found = changes.changes(log)
    if found is not None:
        blocks += _table(folder, "any_change", "Share not yet changed, for whatever reason (likely range)", changes.table(found, log))
    return blocks


def three_ways(log) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): the share not worn by what counts as wear, at each horizon."""
    shown, exact = [], []
    for name, meaning in WAYS:
        life = log.lifetime("insert worn").neighbours_failed() if name == NEIGHBOURS else log.lifetime(name)
        row = {"counted as worn": meaning}
        for years in life.plan["report"]["horizons_years"]:
            followed, value = life.followed(years), float("nan")
            if life.speaks and life.headline is not None and followed >= life.plan["report"]["minimum_patients"]:
                value = float(life.headline.survival_at(years * YEAR))
            row[f"after {words.span(years)}"] = words.estimated(value, life.patients)
            exact.append({"endpoint": name, "years": years, "share": value, "patients_followed": followed})
        shown.append(row)
    if all(math.isnan(row["share"]) for row in exact):
        return pd.DataFrame(), pd.DataFrame()
    return pd.DataFrame(shown), pd.DataFrame(exact)


def reading(life, answer) -> str:
    """What the answer says, read from its likely range, not from its point."""
    if not answer.number or answer.low is None or math.isnan(answer.low):
        return words.sentence(answer.whole)
    if answer.value is None:
        return f"Counting chance as well, any share from {words.percent_range(answer.low, answer.high)} fits the log; plan for the lower end."
    return f"With {words.count(life.patients_with_events, 'patient')} who had the event, any share from {words.percent_range(answer.low, answer.high)} fits the log; plan for the lower end."


def finding(answer) -> str:
    """The finding in one sentence for a figure's caption and for screen readers."""
    return words.sentence(answer.whole) + (f" Likely range {answer.likely}." if answer.likely else "")


def _curve_finding(life, answer) -> str:
    """The finding of the curve itself, which for a bracket is not the headline."""
    share = life.share_at(life.horizon) if life.horizon and life.speaks else None
    if answer.value is not None or share is None:
        return finding(answer)
    say = saying(life)
    likely = range_words(share.low, share.high, life.level)
    return f"{words.sentence(words.joined(share.said(life.patients), say.share))} {words.span(share.years)} after {say.since}, if inserts changed for other reasons had lasted like the rest." + (f" Likely range {likely}." if likely else "")


def caption(life) -> str:
    """What is drawn, and how to read the counts below it."""
    if life.examined:
        return ("Between two boxes the share is known; inside a box it fell at some time between two looks. Below: inserts known to be sound at that time, found failed, failed or not (not known), "
                "and no longer seen." if life.unit == "insert" else "Boxes: it happened at some time between two looks.")  # fmt: skip
    late = " Entered: already in place when the log began." if (life.rows["entry_day"].fillna(0) > 0).any() else ""
    return f"Counts before each time; censored: no longer followed, without a failure.{late} The curve stops where fewer than {life.plan['report']['stop_curves_at']} patients are followed."


def ending_finding(became, life) -> str:
    """What became of the inserts at the horizon, the largest endings first."""
    years = life.horizon or float(became.shares["years"].iloc[-1])
    row = became.shares[became.shares["years"] <= years].iloc[-1].drop("years")
    parts = [f"{words.estimated(share, life.patients)} {name}" for name, share in row.sort_values(ascending=False, kind="stable").items() if share >= 0.005][:3]
    rest = words.joined(words.estimated(1 - row.sum(), life.patients), f"of first {life.units}")
    return f"{words.span(years)[:1].upper()}{words.span(years)[1:]} after fitting {rest} were still in place" + (f"; {words.listing(parts)}." if parts else ".")


def _left_out(life) -> list:
    if not life.left_out:
        return []
    parts = [f"{words.count(number, life.unit, life.units)} ({REASONS.get(reason, reason)})" for reason, number in life.left_out.items()]
    return [Prose((f"Not followed: {words.listing(parts)}.",))]


def _table(folder, name: str, title: str, frames) -> list[Grid]:
    """The table, without columns in which nothing is known."""
    shown, exact = frames
    shown = shown[[column for column in shown if not len(shown) or not (shown[column] == "not known").all()]]
    return [folder.grid(name, title, shown, exact)] if len(shown) else []


def starting_level(settling, answer, plan, folder) -> Section:
    """Where people settle in retention."""
    blocks = [Prose((words.sentence(answer.whole), "A change of level is made at a visit, so its day is exact. The share is of all dentures that started: those of patients who died, and those replaced, count as never changed if they had not been until then."))]
    if len(settling.rows):
        what = drawings.settled_of(settling, plan)
        numbers = {} if what is None else {"starting_level": what.shares, "starting_level_counts": what.counts.table()}
        blocks.append(folder.picture("starting_level", lambda shape: drawings.settled(what, settling.patients, shape), finding(answer), "The light area: dentures still at the level they started at. Ended: changed level, or gone; censored: no longer followed.", numbers))
        rows = [(years, settling.still_at(years), settling.followed(years)) for years in (7 / 365.25, 91 / 365.25, 1, 2, 5)] if settling.patients_with_steps() >= plan["report"]["minimum_patients"] else []
        rows = [(years, found, people) for years, found, people in rows if found and people >= plan["report"]["minimum_patients"]]
        shown = pd.DataFrame([{"after": "1 week" if years < 0.1 else "3 months" if years < 1 else words.span(years), "still at the starting level": words.estimated(found[0], settling.patients),
                               "likely range": words.percent_range(found[1], found[2]), "patients followed": str(people)} for years, found, people in rows])  # fmt: skip
        exact = pd.DataFrame([{"years": years, "share": found[0], "low": found[1], "high": found[2], "patients_followed": people} for years, found, people in rows])
        blocks += _table(folder, "starting_level_shares", "Still at the starting level", (shown, exact))
        blocks.append(Facts((("Patients", str(settling.patients)), ("Dentures", str(len(settling.rows))), ("Changed level", words.count(settling.patients_with_steps(), "patient")),
                             ("Stepped up first", str(int((settling.rows["cause"] == "step up").sum()))), ("Stepped down first", str(int((settling.rows["cause"] == "step down").sum()))),
                             ("Starting level not known", words.count(settling.unknown, "denture")))))  # fmt: skip
    return Section("about-starting-level", "Staying at the starting level", tuple(blocks))


def people(snap, scored, plan, folder) -> Section:
    """What patients say: the snap, and satisfaction before and after."""
    blocks: list = []
    if snap.asked:
        blocks.append(folder.picture("snap", lambda shape: answers_over_time(snap.table, SNAP_COLOURS, Frame("How the snap felt", "The patient's last word in each spell since delivery"), shape),
                                     f"{words.joined(words.share(snap.share.value, snap.asked), 'of patients')} called the snap just right when last asked.", "Where fewer than 20 people were asked, the bars give people."))  # fmt: skip
        blocks += _table(folder, "snap", "The snap in the patient's words: people", (snap.table[snap.table["people"] > 0].astype(str), snap.table))
    else:
        blocks.append(Notice("The question on the snap was never asked, so the log cannot say how it feels. It is one column of the day sheet."))
    if scored is None:
        blocks.append(Notice("No questionnaire has been answered, so the log cannot say whether patients are satisfied. One line from 0 to 100, before delivery and once a year, is enough."))
        return Section("about-people", "What patients say", tuple(blocks))
    return Section("about-people", "What patients say", tuple([*blocks, *_satisfaction(scored, plan, folder)]))


def _satisfaction(scored, plan, folder) -> list:
    form = scored.instrument
    what = Scores(scored.own, scored.means, form.lowest, form.highest)
    subtitle = f"{form.lowest:g} to {form.highest:g}, {form.better} is better. Bars: likely range ({100 * plan['report']['level']:g} %)."
    change = "too few answered both before and a year after to say how it changed"
    if scored.change is not None:
        change = f"{words.number(scored.change.improvement)} points better a year after delivery than before it"
    blocks = [folder.picture("satisfaction", lambda shape: scores(what, Frame(form.title, subtitle), shape), f"{form.title}: {change}.", "The mean of everybody who answered on that occasion; not everybody answered on each.")]
    means = scored.means.assign(**{"likely range": [words.number(row.low) + " to " + words.number(row.high) if not math.isnan(row.low) else "too few" for row in scored.means.itertuples()]})
    shown = pd.DataFrame({"occasion": means["occasion"], "people": means["people"].astype(str), "mean": [words.number(value) for value in means["mean"]], "likely range": means["likely range"]})
    blocks += _table(folder, "satisfaction", form.title, (shown, scored.means))
    improved = improved_words_of(scored)
    notes = ("Answers before delivery speak of the old denture.", "Answers before and after may rest on different inner yardsticks.", "A mean change of a group does not mean that each patient had one.")
    blocks.append(Prose(tuple(part for part in (improved, " ".join(notes)) if part)))
    return blocks


def who(log, stages: list[Stage], described: pd.DataFrame, folder) -> Section:
    """Who is in it: the flow, and what is known of the patients."""
    blocks = [folder.picture("who_is_in_it", lambda shape: flow(stages, shape), f"{stages[0].text}; followed: {stages[-1].text}.", "Beside the arrows: who was left out, and why.")]
    blocks += _table(folder, "patients", "Patients and dentures", (described, described))
    if len(log.known_in_part):
        partly = log.known_in_part.rename(columns={"kind": "what"})
        blocks += _table(folder, "known_in_part", "What the log knows only in part", (partly.astype(str), partly))
    return Section("about-who", "Who is in it, in detail", tuple(blocks))


def certain(log, lives, found_standards, folder) -> Section:
    """How sure we are, in detail, and the standards."""
    blocks: list = [Prose(("A part that nobody looked at may be sound or worn. The table shows each answer as if silence meant sound, and as if silence meant nothing; where the two lie more than five points apart, the answer depends on who came back. It also shows what other readings of the log would give: everybody's care ended at the first long gap between contacts, or silent notes read the other way.",))]
    shown, exact = certainty.table(log, [life for life in lives if not log.guard_of(life)])
    blocks += _table(folder, "silence", "What silence could do", (shown, exact))
    if log.guard:
        blocks.append(Notice(f"{log.guard} Until every recall is in the log, also those at which all was well, nothing can be said of how long parts last."))
    else:
        blocks.append(Prose(tuple(f"{saying(life).name}. {text}" for life in lives if (text := certainty.of_lifetime(life, log, 9)))))
    blocks.append(Prose(log.warnings))
    return Section("certainty", "How sure, in detail", tuple(blocks))
