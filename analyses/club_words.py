"""What the club's page says around its numbers."""

from __future__ import annotations

import math

from outcomes.present import words

CAUTIONS = (
    "The clinics are in an order drawn by lot: nothing here ranks a clinic or a device, and a difference between clinics is no difference in quality.",
    "A clinic with few patients, or with an unusual mix of them, may be recognised by those who know it: keep this page within the club.",
    "Associations are not effects unless the design says so.",
    "Decisions on a patient rest with the treating clinician.",
    "Local rules on audit, research ethics and patient data apply.",
)

MIX = (
    "A clinic can compare itself only with clinics whose patients are like its own: look at jaw, starting level, sites and age before reading anything into a difference. Clinics also differ in what they write down, how often they look, and whom they treat.",
    "A patient seen in two clinics cannot be detected and counts in both: the packets hold no pseudonyms. Hidden counts are of few people, or would give such a count back.",
)

CERTAIN = 0.10  # below this chance of a spread so large, clinics are said to differ by more than chance


def reach(low: float, high: float, said) -> str:
    """A likely range in words; nothing where there is none."""
    return "–" if not math.isfinite(low) else f"{said(low)} to {said(high)}"


def spread(one, said) -> str:
    """The finding of a figure in one sentence."""
    if one.mean is None:
        return f"{words.count(len(one.own), 'clinic')} tell it; a mean takes three."
    if one.pooled.q_p < CERTAIN:
        return f"{said(one.mean[0])} in the mean, and clinics differ by more than chance explains."
    return f"{said(one.mean[0])} in the mean; the clinics differ no more than chance explains."


def reading(one, said) -> tuple[str, ...]:
    """How much clinics differ, what the mean leaves out, and who kept the figure at home."""
    text = []
    if one.mean is not None:
        share = words.percent(one.pooled.i2)
        if one.pooled.q_p < CERTAIN:
            text.append(f"The clinics differ by more than chance explains: about {share} of the spread lies between them.")
        else:
            text.append(f"The clinics differ no more than chance explains; with {words.count(one.pooled.clinics, 'clinic')} a real difference may still have gone unseen.")
        if math.isfinite(one.other[0]):
            text.append(f"In another such clinic the figure would likely lie between {said(one.other[0])} and {said(one.other[1])}: that, not the range of the mean, is what a clinic may hold itself against.")
        else:
            text.append("With fewer than five clinics nothing is said about where another clinic would lie.")
    if one.without:
        text.append(f"In {words.count(one.without, 'clinic')} nobody had it by then; the mean cannot weigh {'them' if one.without > 1 else 'it'} and is a little too low.")
    if one.home:
        text.append(f"{words.count(len(one.home), 'clinic')} did not share this number: {words.listing(sorted(set(one.home.values())))}.")
    return tuple(text)


def methods(level: float) -> tuple[str, ...]:
    """How it was computed, with sources."""
    return (
        "Each clinic works out its own figures from its own log and sends totals with standard errors that are robust by patient; nothing is worked out from rows of patients. Clinics are the strata: patients of one are never mixed with those of another.",
        "Random effects: shares on log(−log S), rates of unplanned visits on the log, changes in satisfaction as they are. Variance between clinics by Paule and Mandel 1982; limits by Hartung and Knapp 2001 with Student's t at clinics − 1 degrees of freedom, their error never below the one without it (so that few clinics that agree by chance do not look certain), "
        f"level {100 * level:g} %. From three clinics a mean; from five on a prediction interval (Higgins, Thompson and Spiegelhalter 2009, with clinics − 1 degrees of freedom). Spread: Cochran's Q and I².",
        "A clinic in which nobody had the event has no standard error on this scale and is left out of the mean, which is said where it happens.",
        "A clinic's likely range is its estimate and 1.96 of its standard errors (at 95 %) on the same scale. Letters are drawn by lot from the packets' checksums.",
    )
