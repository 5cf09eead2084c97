"""What is said of a comparison: the rules in words, the front page's answers, what it would take, and what stays in doubt."""

from __future__ import annotations

import math

from outcomes import longevity
from outcomes.analyses.answers import range_words
from outcomes.present import words
from outcomes.present.content import Answer, Box, Doubt, NextStep, Verdict

UNFAIR = "not a fair comparison"
RULES = {
    "patients": "Enough patients each way",
    "alike": "Alike on day 0, once weighted",
    "effective": "Enough left once weighted",
    "overlap": "Either start was possible",
}


def anchor(question) -> str:
    return "about-" + question.name.replace(" ", "-")


def reason(found) -> str:
    """Why a comparison is not made, in one sentence; "" where it is."""
    one, other = found.patients
    names = found.question.arms
    if found.fair:
        return ""
    if found.trial is None:
        return f"All {one + other} patients {names[0] if one else names[1]}: there is nobody to compare them with." if one + other else "No patient's first denture in the log could be sorted one way or the other."
    check = found.trial.failing[0]
    if check.rule == "patients":
        fewer = names[1] if other <= one else names[0]
        return f"Only {words.count(min(one, other), 'patient')} {fewer}; it takes {check.asked:g} each way."
    if check.rule == "alike":
        return f"The groups differ too much on the day of delivery even after weighting, most in “{check.worst}” ({f'{words.number(check.found, 2)} SD' if math.isfinite(check.found) else 'which one group has wholly'}; at most {words.number(check.asked, 2)})."
    if check.rule == "effective":
        return f"Making the groups alike leaves one of them worth only {words.percent(check.found)} of its patients; it takes {words.percent(check.asked)}."
    return f"For {words.percent(check.found)} of patients the start was all but certain from what they brought along, so they have nobody to be compared with; at most {words.percent(check.asked)} may be."


def verdicts(found) -> tuple[Verdict, ...]:
    """The rules and whether each holds."""
    if found.trial is None:
        return (Verdict(RULES["patients"], "asked of both groups", reason(found).rstrip("."), "", "not met", "", anchor(found.question)),)
    out = []
    for check in found.trial.checks:
        asked, shown = _said(check)
        out.append(Verdict(RULES[check.rule], asked, shown, "", "cannot tell" if check.holds is None else "met" if check.holds else "not met", "", anchor(found.question)))
    return tuple(out)


def _said(check) -> tuple[str, str]:
    if check.holds is None:
        shown = "not looked at"
    elif check.rule == "alike":
        shown = f"{words.number(check.found, 2)}"
    else:
        shown = f"{check.found:g}" if check.rule == "patients" else words.percent(check.found)
    asked = {"patients": f"(at least {check.asked:g})", "alike": f"(at most {words.number(check.asked, 2)} SD apart)",
             "effective": f"(at least {words.percent(check.asked)})", "overlap": f"(certain for at most {words.percent(check.asked)})"}[check.rule]  # fmt: skip
    return asked, shown


def of_comparison(found, level: float) -> Answer:
    """The comparison in one sentence, or why there is none."""
    one, other = found.patients
    question, counts = found.question, f"{words.count(one, 'patient')} with {found.question.start[0]}, {other} with {found.question.start[1]}"
    main = found.main
    if not found.fair or main is None or math.isnan(main.difference.value):
        nothing = main is not None and min(main.crude) == 0 and max(main.crude) > 0
        why = reason(found) or ("Nobody in one of the groups had such a visit, so the log cannot say how far chance reaches." if nothing else "Too few patients were followed long enough to count their visits.")
        return Answer(question.name, "", f"{question.title}: {UNFAIR if reason(found) or not nothing else 'no answer yet'}. {why}", "", counts, anchor(question))
    gap = main.difference
    size = words.rate(abs(gap.value))
    more = "more" if gap.value > 0 else "fewer"
    text = f"{more} {main.name.replace(', within', ' within')} per patient with {question.start[1]} than with {question.start[0]}, patients made alike."
    return Answer(question.name, size, text, f"{signed(gap.low)} to {signed(gap.high)} ({words.percent(level)})", counts, anchor(question), None, gap.value, gap.low, gap.high, undecided(gap))


def undecided(gap) -> str:
    return "either way could need fewer" if gap.low < 0 < gap.high else ""


def signed(value: float) -> str:
    """A difference with its sign.

    >>> signed(-0.24), signed(0.5)
    ('−0.24', '+0.50')
    """
    return "0" if value == 0 else ("+" if value > 0 else words.MINUS) + words.rate(abs(value)) if math.isfinite(value) else "not known"


def strength(contrast) -> str:
    """How strong an unseen difference between the groups would have to be, in a sentence anyone can read."""
    ratio = contrast.ratio
    if math.isnan(ratio.value) or math.isnan(ratio.low):
        return ""
    found = longevity.e_value(ratio.value, ratio.low, ratio.high)
    said = (f"Something nobody wrote down could explain the whole of this difference only if it made both the way of starting and such visits at least {words.number(found.value, 1)} times as likely, "
            "beyond everything that was weighted for")  # fmt: skip
    if found.low <= 1:
        return f"{said}; but chance alone can explain it as well."
    return f"{said}; to bring the likely range down to no difference, {words.number(found.low, 1)} times would do."


def of_one_way(one, arm: str, plan) -> list[Answer]:
    """What the larger group can answer by itself."""
    level, where = plan["report"]["level"], "about-one-way"
    who = f"{words.count(one.patients, 'patient')} who {arm}"
    out = []
    if one.asked:
        share = one.content
        out.append(Answer("content", words.share(share.value, one.asked), f"of patients who {arm} and were asked called the snap just right when last asked, at the level they started at.", range_words(share.low, share.high, level),
                          f"{who}; {one.asked} asked", where, (share.low, share.value, share.high), share.value, share.low, share.high))  # fmt: skip
    for cause, word in (("step up", "up"), ("step down", "down")):
        found = one.stepped(cause, 1)
        if found and one.steps.patients >= plan["report"]["minimum_patients"]:
            value, low, high = found
            out.append(Answer(cause, words.estimated(value, one.patients), f"of patients who {arm} had been stepped {word} within a year.", range_words(low, high, level), who, where,
                              (low, value, high) if not math.isnan(low) else None, value, low, high))  # fmt: skip
    visits = one.step_visits
    if math.isfinite(visits.value):
        minutes = one.step_minutes
        likely = f"{words.rate_range(100 * visits.low, 100 * visits.high)} ({words.percent(level)})" if math.isfinite(visits.low) else ""
        out.append(Answer("cost of steps", words.number(100 * visits.value), f"visits with a change of level asked for, per 100 patients who {arm}, within {words.span(one.years)}: {words.number(100 * minutes.value)} minutes of chair time.", likely,
                          f"{who}; {words.count(one.step_count, 'such visit')}, {one.own_visits} of them made only for that", where, None, visits.value, visits.low, visits.high))  # fmt: skip
    return out


def steps(found: list, plan) -> tuple[NextStep, ...]:
    """How many dentures a comparison would take."""
    out = []
    for one in found:
        where, (first, second) = anchor(one.question), one.patients
        fewer = one.question.arms[1] if second <= first else one.question.arms[0]
        if one.needed_for_arms:
            out.append(NextStep(str(one.needed_for_arms), f"first dentures until {plan['strategy']['patients_per_arm']} {fewer}; so far {min(first, second)} of {first + second}", where))
        elif min(first, second) == 0:
            out.append(NextStep(str(plan["strategy"]["patients_per_arm"]), f"patients who {fewer} before anything can be compared; there is none so far", where))
        if one.needed_for_difference:
            what = "a housing" if one.question.name == "pick-up" else "an insert"
            out.append(NextStep(str(one.needed_for_difference), f"patients each way to see a difference of {plan['strategy']['worthwhile_visits']:g} visits for {what} in {words.span(plan['strategy']['years'][0])} ({one.question.short[0]} or {one.question.short[1]})", where))
    return tuple(out)


def doubts(found: list, one, plan) -> tuple[Doubt, ...]:
    """What the log lacks, and what that could do."""
    main = found[0]
    out = [Doubt("Chosen, not drawn.", "Nobody was given a level by lot. Weighting makes groups alike in what the log holds; why the dentist chose is not in it.", anchor(main.question))]
    if not main.recalled_alike:
        out.append(Doubt("Looked at unequally.", f"Between looks lie {words.days(main.recall_gaps[0])} and {words.days(main.recall_gaps[1])}: recall habits differ, so failures found by looking cannot be set beside each other.", anchor(main.question)))
    if main.left_out:
        out.append(Doubt("Left out.", f"{words.count(sum(main.left_out.values()), 'patient')}: {_reasons(main.left_out)}.", anchor(main.question)))
    if one is not None and one.unsaid:
        out.append(Doubt("Not asked.", f"{words.count(one.unsaid, 'patient')} of {one.patients} were never asked about the snap from 30 days after delivery on.", "about-one-way"))
    if main.care.unwritten:
        out.append(Doubt("Minutes.", f"{words.count(main.care.unwritten, 'visit')} without minutes count{'s' if main.care.unwritten == 1 else ''} as long as the others on average.", anchor(main.question)))
    return tuple(out)


def _reasons(left: dict[str, int]) -> str:
    return words.listing([f"{number} {reason}" for reason, number in left.items()])


def boxes(log, start, main) -> tuple[Box, ...]:
    """From the log to the two groups."""
    first, second = main.patients
    everybody = len(log.patients)
    with_denture = int(log.dentures["patient_id"].nunique())
    return (
        Box(str(everybody), "patients who may be audited", f"left out: {everybody - with_denture} without an overdenture" if everybody > with_denture else ""),
        Box(str(with_denture), "first dentures in the log", f"left out: {_reasons(main.left_out)}" if main.left_out else ""),
        Box(str(first + second), f"followed from delivery: {first} {main.question.arms[0]}, {second} {main.question.arms[1]}"),
    )
