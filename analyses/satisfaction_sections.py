"""What patients say, from page 2 on: the course of each score, its change, how many improved, who answered, the snap."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from outcomes.analyses import satisfaction_front
from outcomes.analyses.satisfaction_scores import BEFORE, OCCASIONS, YEAR_ONE, Asked
from outcomes.analyses.sections import SNAP_COLOURS
from outcomes.present import words
from outcomes.present.areas import answers_over_time
from outcomes.present.content import Facts, Notice, Prose, Section
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.forest import Axis, Row, forest
from outcomes.present.trajectories import Course, course

FIXED = ("Answers before delivery speak of the old denture.", "Answers before and after may rest on different inner yardsticks; whether the questions changed their meaning for a patient was not tested.",
         "A mean change of a group does not mean that each patient had one.", "All of this is among those alive with the denture: nothing is filled in for the dead and for those without it.")  # fmt: skip
FATES = {"improved": ("better by {0:g} or more", "accent"), "same": ("less than {0:g} either way", "sand"), "worse": ("worse by {0:g} or more", "signal"), "silent": ("no answer", "slate")}


def of_asked(one: Asked, folder) -> Section:
    """Everything on one instrument asked about one denture."""
    stem = f"{one.form.name}_{one.about}"
    blocks: list = [Notice(text) for text in one.warnings]
    blocks.append(Prose((_scale(one), _change_words(one))))
    blocks.append(folder.picture(f"{stem}_course", lambda shape: _course(one, shape), _change_words(one), "Mean of all who answered, their likely range, and each patient's own line. Below: answered, of those due and still with the denture."))
    if len(one.change):
        if any(one.changed(window) for window in one.windows):
            blocks.append(folder.picture(f"{stem}_change", lambda shape: _changes(one, shape), _change_words(one), _zone(one)))
        blocks.append(folder.grid(f"{stem}_change", f"{one.title}: change from before", *changes(one)))
    blocks += _improved(one, folder, stem)
    blocks += _answered(one, folder, stem)
    blocks += [Prose(tuple(text for text in (_ends(one), _alpha(one), _own_difference(one)) if text)), Prose(one.notes), Prose((" ".join(FIXED),))]
    return Section(satisfaction_front.anchor(one), one.title, tuple(block for block in blocks if not (block.kind == "prose" and not block.paragraphs)))


def _scale(one: Asked) -> str:
    counts = one.counts
    prorated = f" {words.count(counts['prorated'], 'score')} had a blank filled in with the mean of the other answers." if counts["prorated"] else ""
    lost = f" {words.count(counts['without a total'], 'questionnaire')} had too many blanks for a score." if counts["without a total"] else ""
    return f"{one.form.lowest:g} to {one.form.highest:g} points, {one.form.better} is better. {one.form.meaning}{prorated}{lost}"


def _change_words(one: Asked) -> str:
    found = one.changed(YEAR_ONE)
    if found is None:
        return f"Too few answered both before and a year after to say how the {one.form.title} changed."
    value, low, high, people = found
    if low > 0 or high < 0:
        least, most = sorted((abs(low), abs(high)))
        return f"A year after delivery {words.count(people, 'patient')} who answered both times were {words.number(least)} to {words.number(most)} points {'better' if low > 0 else 'worse'} off than before, on average."
    return f"A year after delivery no change can be told: from {words.number(-low)} points worse to {words.number(high)} better fits the answers of {words.count(people, 'patient')}."


# ------------------------------------------------------------------ course and change


def _course(one: Asked, shape):
    if one.course is None:
        raise CannotDraw("Nobody answered on an occasion that counts.")
    means = one.course.table().set_index("window")
    rows = []
    for window, name in OCCASIONS.items():
        if window not in means.index:
            continue
        asked = one.rates["asked"].get(window, math.nan) if window != BEFORE else math.nan
        row, few = means.loc[window], means.loc[window, "patients"] < one.plan["report"]["minimum_patients"]
        rows.append({"occasion": name, "mean": math.nan if few else row["mean"], "low": math.nan if few else row["mean_low"], "high": math.nan if few else row["mean_high"], "answered": int(row["patients"]), "asked": asked})
    table = pd.DataFrame(rows, columns=["occasion", "mean", "low", "high", "answered", "asked"])
    for name in ("low", "high"):
        table[name] = table[name].clip(one.form.lowest, one.form.highest)
    own = one.own.dropna(how="all")
    subtitle = f"{one.form.lowest:g} to {one.form.highest:g}, {one.form.better} is better. {words.count(one.patients, 'patient')}. Bars: likely range ({100 * one.level:g} %).{' Faint: each patient.' if shape.name != 'talk' else ''}"
    return course(Course(own, table, one.form.lowest, one.form.highest), Frame(one.title, subtitle), shape)


def _changes(one: Asked, shape):
    rows = []
    for window, name in OCCASIONS.items():
        if window == BEFORE or window not in one.change.index or not one.change.loc[window, "patients"]:
            continue
        people, found = int(one.change.loc[window, "patients"]), one.changed(window)
        if found is None:
            rows.append(Row(name, f"{people} of {one.started} patients", math.nan, math.nan, math.nan, "too few to say"))
            continue
        value, low, high, _ = found
        rows.append(Row(name, f"{people} of {one.started} patients", value, low, high, f"{satisfaction_front.points(value)} points"))
    subtitle = f"Within patients who answered both times. Bars: likely range ({100 * one.level:g} %)."
    return forest(rows, Axis(False, ("worse", "better"), small=one.minimal or 0.0), Frame(f"{one.title}: change from before delivery", subtitle), shape)


def _zone(one: Asked) -> str:
    if not one.minimal:
        return "The plan names no smallest difference that matters."
    return f"Shaded: less than {one.minimal:g} points, the smallest difference that the plan says matters ({one.plan['instruments'][one.form.name].get('source', 'no source named')})."


def changes(one: Asked) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): the paired change at every occasion."""
    shown = []
    for window, name in OCCASIONS.items():
        if window not in one.change.index:
            continue
        row, found = one.change.loc[window], one.changed(window)
        shown.append({"occasion": name, "answered both times": f"{int(row['patients'])} of {one.started}", "before": words.number(row["before"]) if found else "–", "after": words.number(row["after"]) if found else "–",
                      "better by": satisfaction_front.points(found[0]) if found else "too few to say", f"likely range ({words.percent(one.level)})": f"{satisfaction_front.points(found[1])} to {satisfaction_front.points(found[2])}" if found and not math.isnan(found[1]) else "–"})  # fmt: skip
    return pd.DataFrame(shown), one.change.reset_index()


# ------------------------------------------------------------------ how many improved


def _improved(one: Asked, folder, stem: str) -> list:
    """For whom it changed by enough to matter, on each occasion; at a year by every threshold and way of counting."""
    rows, blocks = one.improved(YEAR_ONE), []
    if one.minimal and one.windows:
        blocks.append(_fates_picture(one, rows, folder, stem))
    if len(rows):
        blocks.append(folder.grid(f"{stem}_improved", "Improved within a year, by what counts as improved and how the silent are counted", *shares(one, rows)))
        blocks.append(Prose(("Thresholds come from other patients than these, so more than one is shown where there are more. Whoever had less room than the threshold before is set apart in “answered, with room to gain”.",)))
    return blocks


def _fates_picture(one: Asked, rows: pd.DataFrame, folder, stem: str):
    """For how many it changed by at least the plan's difference, on each occasion."""
    table = fates(one)
    names = {FATES[key][0].format(one.minimal): FATES[key][1] for key in FATES}
    finding = "Too few answered both times to give a share."
    if len(rows):
        first = rows[(rows["threshold"] == one.minimal) & (rows["meaning"] == "") & (rows["counted"] == "answered only")].iloc[0]
        finding = f"{words.share(first['share'], int(first['patients']))} of those who answered a year after were better by {one.minimal:g} points or more (likely range {words.percent_range(first['low'], first['high'])})."
    return folder.picture(f"{stem}_improved", lambda shape: answers_over_time(table, names, Frame(f"{one.title}: for how many it changed", "Of patients with a score before who were due and still had the denture"), shape), finding, "Below 20 people the bars give people.")


def fates(one: Asked) -> pd.DataFrame:
    """occasion, people, then how many were better, alike, worse and silent: a row for each occasion."""
    sign, rows = 1 if one.form.better == "higher" else -1, []
    for window in one.windows:
        both = one.both(window)
        gain = sign * (both["after"] - both["before"])
        counts = {"improved": gain >= one.minimal - 1e-9, "same": gain.abs() < one.minimal - 1e-9, "worse": gain <= -one.minimal + 1e-9, "silent": gain.isna()}
        rows.append({"occasion": OCCASIONS[window], "people": len(both), **{FATES[key][0].format(one.minimal): int(which.sum()) for key, which in counts.items()}})
    return pd.DataFrame(rows)


def shares(one: Asked, rows: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact) of the shares improved."""
    def named(row) -> str:
        if row["meaning"].startswith("beyond measurement error"):
            return f"{words.number(row['threshold'], 1).removesuffix('.0')} points: beyond what chance in answering gives"
        return f"{row['threshold']:g} points ({row['meaning'] or 'the plan'})"

    shown = pd.DataFrame([{"better by at least": named(row), "counted": row["counted"], "improved": f"{int(row['improved'])} of {int(row['patients'])}", f"likely range ({words.percent(one.level)})": words.percent_range(row["low"], row["high"]) if row["patients"] else "–"} for _, row in rows.iterrows()])
    return shown, rows


# ------------------------------------------------------------------ who answered, and what the silent could do


def _answered(one: Asked, folder, stem: str) -> list:
    if one.response is None or one.rates.empty:
        return []
    rates = one.rates[one.rates["asked"] > 0]
    if rates.empty:
        return []
    low = rates[rates["caution"]]
    blocks: list = []
    if len(low):
        said = words.listing([f"{int(row['answered'])} of {int(row['asked'])} after {OCCASIONS[window]}" for window, row in low.iterrows()])
        blocks.append(Notice(f"Fewer than six in ten answered: {said}. Those who did not may differ. {satisfaction_front.turning(one)}".strip()))
    shown = pd.DataFrame([{"occasion": OCCASIONS[window], "due, with the denture": str(int(row["asked"])), "answered": str(int(row["answered"])), "share": words.share(row["rate"], int(row["asked"])), "died": str(int(row["died"])),
                           "without the denture": str(int(row["without the denture"])), "not yet due": str(int(row["not yet due"])), "why not": row["why not"] or "–"} for window, row in rates.iterrows()])  # fmt: skip
    blocks.append(folder.grid(f"{stem}_answered", f"{one.title}: who answered", shown, rates.reset_index()))
    if one.departures is not None:
        table = one.departures.table()
        table = table[table["window"].isin([window for window in one.windows if one.changed(window)]) & np.isfinite(table["missing_share"].astype(float))]
        if len(table):
            wide = [{"occasion": OCCASIONS[window], **{_delta(row["delta"]): _points(row) for _, row in rows.iterrows()}} for window, rows in table.groupby("window", sort=False)]
            blocks.append(folder.grid(f"{stem}_silent", "Mean improvement if those who did not answer were worse than their other answers say (likely range)", pd.DataFrame(wide), table))
    said = [_silent_words(window, row) for window, row in one.silent.iterrows() if np.isfinite(row["low"]) and min(row["answered"], row["silent"]) >= one.plan["report"]["minimum_patients"]]
    if said:
        blocks.append(Prose((" ".join(said),)))
    return blocks


def _delta(delta: float) -> str:
    return "as the answers say" if delta == 0 else f"by {abs(delta):g} points"


def _points(row) -> str:
    return "–" if not np.isfinite(row["improvement"]) else f"{satisfaction_front.points(row['improvement'])} ({satisfaction_front.points(row['low'])} to {satisfaction_front.points(row['high'])})" if np.isfinite(row["low"]) else satisfaction_front.points(row["improvement"])


def _silent_words(window: str, row) -> str:
    where = f"Those silent after {OCCASIONS[window]} had "
    if row["low"] > 0 or row["high"] < 0:
        least, most = sorted((abs(row["low"]), abs(row["high"])))
        return f"{where}{words.number(least)} to {words.number(most)} points {'more' if row['low'] > 0 else 'less'} before than those who answered."
    return f"{where}a score before that cannot be told from that of those who answered."


# ------------------------------------------------------------------ the instrument itself


def _ends(one: Asked) -> str:
    said = []
    for window in (BEFORE, YEAR_ONE):
        ends = one.ends(window)
        if not len(ends) or ends["patients"].iloc[0] < one.plan["report"]["minimum_patients"]:
            continue
        low, high = ends.iloc[0], ends.iloc[1]
        flag = " The scale has no room left there." if ends["crowded"].any() else ""
        said.append(f"{words.sentence('before delivery' if window == BEFORE else 'a year after')} {int(low['count'])} of {int(low['patients'])} gave the lowest and {int(high['count'])} the highest possible score.{flag}")
    return " ".join(said)


def _alpha(one: Asked) -> str:
    if one.form.items < 2:
        return ""
    found = one.alpha
    if math.isnan(found.value):
        return f"How well the questions hang together is left out: {found.patients} complete questionnaires before delivery, 30 are needed."
    return f"How well the questions hang together before delivery: {words.number(found.value, 2)} ({words.number(found.low, 2)} to {words.number(found.high, 2)}), where 1 is perfect; {words.count(found.patients, 'patient')}."


def _own_difference(one: Asked) -> str:
    found = one.own_difference
    if found is None:
        return ""
    if not found.usable:
        return f"The clinic's own smallest difference cannot be derived yet. {' '.join(found.notes)}"
    return f"Patients who said “a little better” had risen by {words.number(found.value, 1)} points ({words.number(found.low, 1)} to {words.number(found.high, 1)}; {words.count(found.patients, 'patient')}): the clinic's own smallest difference that matters. The plan says {one.minimal:g}." if one.minimal else ""


# ------------------------------------------------------------------ the snap, methods


def snap(felt, folder) -> Section:
    """The snap in the patient's words, over time."""
    if not felt.asked:
        return Section("about-snap", "The snap", (Notice("The question on the snap was never asked, so the log cannot say how it feels. It is one column of the day sheet."),))
    finding = f"{words.joined(words.share(felt.share.value, felt.asked), 'of patients')} called the snap just right when last asked."
    blocks = (folder.picture("snap", lambda shape: answers_over_time(felt.table, SNAP_COLOURS, Frame("How the snap felt", "The patient's last word in each spell since delivery"), shape), finding, "Where fewer than 20 people were asked, the bars give people."),
              folder.grid("snap", "The snap in the patient's words: people", felt.table[felt.table["people"] > 0].astype(str), felt.table))  # fmt: skip
    return Section("about-snap", "The snap", blocks)


def methods(log, every: list[Asked]) -> Section:
    """How scores, changes and limits came about."""
    from outcomes.analyses.methods import made_with

    first = [f"{one.title}: {one.method}" for one in every]
    model = list(dict.fromkeys(one.course.method for one in every if one.course is not None))
    texts = (*first, "Occasions: before is the last answer in the 180 days up to delivery; 3 months, 1, 2 and 5 years are the nearest answers on days 60–179, 180–545, 546–1094 and 1095–2190. Choices without a source.",
             *(f"Means: {text}. Model: constrained longitudinal model (Liang and Zeger 2000); limits after Bell and McCaffrey 2002, Pustejovsky and Tipton 2018." for text in model),
             "Change: mean of after minus before within patients, t limits. Improved: share of patients with a score before, Wilson limits; the silent as missing, as not improved and as improved (Newcombe 1998). Beyond measurement error: Jacobson and Truax 1991.",
             "The dead and those without the denture are not imputed (Kurland and Heagerty 2005). Others missing: as if at random given their answers, then shifted by half and one whole smallest difference.",
             "Cronbach's alpha over complete questionnaires before delivery, one per patient, bootstrap limits. Highest or lowest score in more than 15 %: flagged. Snap: Wilson interval over patients.")  # fmt: skip
    notes = tuple(dict.fromkeys(note for one in every if one.course is not None for note in one.course.notes))
    return Section("methods", "Methods", (Prose(texts + notes), Facts((("Level of likely ranges", f"{100 * log.plan['report']['level']:g} %"), ("Plan, SHA-256", log.plan.digest[:16]), ("Made with", made_with())))), methods=True)
