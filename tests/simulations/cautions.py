"""Why a line is known to miss, and what a reader should make of it. A caution stands only while the line does miss."""

FEW_FAILURES = (
    "Limits wider than need be: at a share of 0.94 thirty patients show few failures, and the exact limit before the first of them is wide. It errs on the safe side."
)
UNHEARD = (
    "Half of the failures are silent and nobody ever looks for them: no rule can find them. The bracket holds the truth, and every such clinic is flagged."
)
LATE = (
    "Half of the failures are silent and are looked for every two years only: those not yet found count as sound. The curve in care between looks is a little too high, "
    "the one on the day found far more so. The bracket between looks holds the truth and flags nearly every such clinic; the two rules on the day found lie closer "
    "together than either lies to the truth, and seldom flag it where patients have several parts."
)
FOUND_LATE = (
    "Half of the failures are silent and are dated on the recall that found them: the day-found curve in care is too high, unflagged, while the curve in care between looks is right."
)
GONE = "Patients who stop coming without a word count as sound to the close. The bracket holds the truth, nearly every such clinic is flagged, and ending care at the first gap mends half of the error."
BETWEEN_ROUNDS = (
    "Three years lies halfway between two rounds of recalls. There the interval-censored curve rests on the few looks that happen to fall between (visits for a wish), "
    "stays near its value of the round before, and its limits hold too seldom. Read it at the rounds, where it is right; the edges it prints do not show this."
)
EVERYBODY_COMES = "Where everybody who still comes is looked at every year, the other rule is right to 0.03 as well: the choice matters where people do not come."

_RULES = {
    (0.5, None, "in care"): UNHEARD,
    (0.5, None, "in care, day found"): UNHEARD,
    (0.5, 730, "in care"): LATE,
    (0.5, 730, "in care, day found"): LATE,
    (0.0, 365, "the other rule: in care"): EVERYBODY_COMES,
    (0.5, 365, "the other rule: between looks"): EVERYBODY_COMES,
    (1.0, 365, "the other rule: between looks"): EVERYBODY_COMES,
}


def of_rule(noticing: float, recall: float | None, method: str, *, single: bool, leaving: float) -> str:
    """The caution for a censoring rule in a clinic; "" where there is none. single: one part a patient."""
    if leaving and method in ("in care", "in care, day found"):
        return GONE
    if single and (noticing, recall, method) == (0.5, 365, "in care, day found"):
        return FOUND_LATE
    if single and (noticing, recall, method) == (0.0, 730, "between looks"):
        return BETWEEN_ROUNDS
    return _RULES.get((noticing, recall, method), "")
