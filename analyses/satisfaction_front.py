"""Satisfaction on the front page: how much it changed, in how many, whether it lasts, who answered, what could move it."""

from __future__ import annotations

import math

from outcomes import longevity
from outcomes.analyses.answers import of_snap, range_words
from outcomes.analyses.satisfaction_scores import OCCASIONS, YEAR_ONE, Asked
from outcomes.present import words
from outcomes.present.content import Answer, Doubt


def said(every: list[Asked], felt) -> list[Answer]:
    """At most seven answers: the first instrument's in full, one line for each further denture or instrument, the snap."""
    if not every:
        return [Answer("satisfaction", "", "The log cannot say whether patients are satisfied: no questionnaire was answered by anybody with a denture delivered while it ran.", "", "", "about-snap"), snap(felt)]
    main = every[0]
    found = [change(main, YEAR_ONE), improved(main, YEAR_ONE), lasts(main), response(main)]
    found += [change(one, YEAR_ONE) for one in every[1:3]]
    return found + [snap(felt)]


def anchor(one: Asked) -> str:
    return f"about-{one.form.name.replace('_', '-')}-{one.about}"


def snap(felt) -> Answer:
    """The share with a snap just right, pointing at this report's own section."""
    from dataclasses import replace

    return replace(of_snap(felt), anchor="about-snap")


def points(value: float) -> str:
    """An improvement with its sign."""
    digits = 0 if abs(value) >= 9.5 else 1
    return ("+" if value > 0 else "") + words.number(value, digits)


def pair_words(low: float, high: float, level: float) -> str:
    return "" if math.isnan(low) else f"{points(low)} to {points(high)} points ({words.percent(level)})"


def change(one: Asked, window: str) -> Answer:
    """How many points better, from before to an occasion."""
    found, when, people = one.changed(window), OCCASIONS[window], int(one.pairs.loc[one.pairs["window"] == window, "after"].notna().sum())
    counts = f"{words.count(people, 'patient')} answered both times, of {one.started} who answered before"
    if found is None:
        return Answer(f"{one.title}, change", f"{people} of {one.started}", f"patients answered both before and {when} after, on the {_name(one)}: too few to say how it changed.", "", words.count(one.patients, "patient"), anchor(one))
    value, low, high, _ = found
    width = one.form.highest - one.form.lowest
    text = f"points of {width:g} {'better' if value >= 0 else 'that is worse,'} {when} after delivery than before it, on the {_name(one)}{_matters(one, low, high)}."
    return Answer(f"{one.title}, change", points(value), text, pair_words(low, high, one.level), counts, anchor(one), None, value, low, high)


def _name(one: Asked) -> str:
    title = one.form.title if one.form.title[:2].isupper() else one.form.title[:1].lower() + one.form.title[1:]
    about = one.title.removeprefix(one.form.title).removeprefix(", ")
    return f"{title} ({about})" if about else title


def _matters(one: Asked, low: float, high: float) -> str:
    """Whether the whole likely range lies beyond the difference that matters."""
    if not one.minimal or math.isnan(low):
        return ""
    if low >= one.minimal:
        return f"; all of the range is more than the {one.minimal:g} that matter"
    if high < one.minimal:
        return f"; all of the range is less than the {one.minimal:g} that matter"
    return f"; whether that is the {one.minimal:g} that matter cannot be told"


def improved(one: Asked, window: str) -> Answer:
    """Share improved by at least the plan's difference, with both extremes for those who did not answer."""
    table, name = one.improved(window), "improved"
    where = anchor(one)
    if table.empty or not one.minimal:
        return Answer(name, "", "The log cannot say how many improved: too few answered both times, or the plan names no difference that matters.", "", words.count(one.started, "patient") + " answered before", where)
    rows = table[(table["threshold"] == one.minimal) & (table["meaning"] == "")].set_index("counted")
    seen, worst, best = (rows.loc[name] for name in ("answered only", "no answer as not improved", "no answer as improved"))
    text = f"of patients improved by {one.minimal:g} points or more within {'a year' if window == YEAR_ONE else OCCASIONS[window]}."
    counts = f"{int(seen['improved'])} of {int(seen['patients'])} who answered; counting the silent, {words.percent_range(worst['share'], best['share'])}"
    return Answer(name, words.share(seen["share"], int(seen["patients"])), text, range_words(seen["low"], seen["high"], one.level), counts, where, (seen["low"], seen["share"], seen["high"]), seen["share"], seen["low"], seen["high"])


def lasts(one: Asked) -> Answer:
    """Change between a year and the last later occasion that enough patients reached."""
    for window in reversed([name for name in OCCASIONS if name in one.windows and list(OCCASIONS).index(name) > list(OCCASIONS).index(YEAR_ONE)]):
        found = one.later(YEAR_ONE, window)
        if found is None:
            continue
        value, low, high, people = found
        if low > 0 or high < 0:
            text = f"points {'better' if low > 0 else 'change, a fall,'} from 1 year to {OCCASIONS[window]}: it {'rose further' if low > 0 else 'did not last in full'}."
        elif one.minimal and max(abs(low), abs(high)) < one.minimal:
            text = f"points from 1 year to {OCCASIONS[window]}: it lasts, as far as differences that matter go."
        else:
            text = f"points from 1 year to {OCCASIONS[window]}: whether it lasts cannot be told."
        return Answer("does it last", points(value), text, pair_words(low, high, one.level), f"{words.count(people, 'patient')} answered both times", anchor(one), None, value, low, high)
    return Answer("does it last", "", "The log cannot say whether it lasts: too few answered both a year after delivery and later.", "", words.count(one.patients, "patient"), anchor(one))


def response(one: Asked) -> Answer:
    """Share that answered a year after delivery, of those alive with the denture."""
    if YEAR_ONE not in one.rates.index or not one.rates.loc[YEAR_ONE, "asked"]:
        return Answer("who answered", "", "The log cannot say who answered: nobody has had the denture for a year.", "", "", anchor(one))
    row = one.rates.loc[YEAR_ONE]
    share = longevity.wilson_interval(int(row["answered"]), int(row["asked"]), level=one.level)
    low = "too few: those who did not answer may differ" if row["caution"] else ""
    return Answer("who answered", words.share(share.value, int(row["asked"])), "of those due and still with the denture answered a year after delivery.", range_words(share.low, share.high, one.level),
                  f"{int(row['answered'])} of {words.count(int(row['asked']), 'patient')}", anchor(one), (share.low, share.value, share.high), share.value, share.low, share.high, low)  # fmt: skip


def doubts(log, every: list[Asked], changed_forms: int) -> tuple[Doubt, ...]:
    """What could move the answers, the most serious first."""
    found = []
    for one in every[:3]:
        found += [(0, Doubt(f"{one.title}.", text, anchor(one))) for text in one.warnings]
        if one.response is not None and YEAR_ONE in one.rates.index and one.rates.loc[YEAR_ONE, "caution"]:
            row = one.rates.loc[YEAR_ONE]
            found.append((1, Doubt(f"{one.title}.", f"Only {int(row['answered'])} of {int(row['asked'])} who were due answered after a year. {turning(one)}".strip(), anchor(one))))
        best = one.at_best(YEAR_ONE)
        if best is not None and best["crowded"]:
            found.append((3, Doubt(f"{one.title}.", f"{words.sentence(words.share(best['share'], int(best['patients'])))} gave the best possible score after a year: the scale cannot show them any better.", anchor(one))))
        if one.after_steps:
            found.append((3, Doubt(f"{one.title}.", f"{words.count(one.after_steps, 'answer')} counted here {'was' if one.after_steps == 1 else 'were'} given because a level was about to be, or had been, changed: those patients were not content.", anchor(one))))
    if changed_forms:
        found.append((2, Doubt("Another form.", f"{words.count(changed_forms, 'patient')} answered one form before and only another later: no change of theirs can be worked out.", "about-snap")))
    if every:
        found.append((4, Doubt("What a before and after can say.", "Answers before speak of the old denture, and the inner yardstick may have moved since; nobody without attachments is compared.", anchor(every[0]))))
    return tuple(doubt for _, doubt in sorted(found, key=lambda pair: pair[0]))


def turning(one: Asked) -> str:
    """How much worse the silent would have to be for the conclusion to turn."""
    if one.departures is None:
        return ""
    rows = one.departures.table()
    rows = rows[(rows["window"] == YEAR_ONE) & rows["turns_at"].notna()]
    if rows.empty:
        return ""
    needed = float(-abs(rows["turns_at"].iloc[0]))
    width = one.form.highest - one.form.lowest
    if abs(needed) > width:
        return "Even the worst that they could have answered would not undo the improvement."
    return f"The improvement would be in doubt if the silent had answered {words.number(abs(needed))} points worse than their other answers say."
