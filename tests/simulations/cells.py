"""The cells: what is simulated, how often, what is asked of it, and what is known to miss, as data."""

from __future__ import annotations

import math

from . import cautions, sets, shares, visits
from .clinic import scale_for, survival
from .engine import NAIVE, OURS, Cell, Line
from .shares import THREE_YEARS, TWO_YEARS

NINETY_FIVE = math.sqrt(0.95 * 0.05)  # spread of one repetition: a limit that holds or not, a test at 5 %
NARROW = math.sqrt(0.025 * 0.975)


def holding(key, method, low, high=1.0, role=OURS, measure="95 % limits hold", **more) -> Line:
    return Line(key, measure, method, role, 0.95, low, high, spread=NINETY_FIVE, **more)


def shown(key, measure, method, target, role=NAIVE) -> Line:
    return Line(key, measure, method, role, target)


def around(key, measure, method, truth, within, planned=math.inf, role=OURS, caution="") -> Line:
    """A share whose mean must lie within (naive: must not lie within) so much of the truth."""
    return Line(key, measure, method, role, truth, truth - within, truth + within, planned, caution=caution)


# ------------------------------------------------------------------ shares, all failures seen on their day

def _band(patients: int) -> tuple[float, float]:
    return (0.935, 0.985) if patients <= 20 else (0.935, 0.975) if patients == 30 else (0.935, 0.970)


def _limits(patients, share, frailty) -> Cell:
    caution = cautions.FEW_FAILURES if (patients, share, frailty) == (30, 0.94, 0.0) else ""
    lines = (
        holding("log–log limits by patient", "ours", *_band(patients), caution=caution),
        holding("effective sample", "effective sample, for verdicts (cautious by design)", 0.935, measure="95 % limits for verdicts hold"),
        shown("ignoring clusters", "95 % limits hold", "ignoring clusters", 0.95),
        shown("by patient, z and no exact limits", "95 % limits hold", "as R prints it", 0.95),
    )
    seed = 250_000 + 2000 * int(frailty) + 10 * patients + (share > 0.9)
    setting = f"{patients} patients, true share {share}, frailty variance {frailty:g}"
    settings = {"patients": patients, "share": share, "frailty": frailty}
    return Cell("share at 3 years", setting, shares.share_at_three_years, settings, seed, 2000, 300 if frailty and patients in (10, 30, 120) else 0, lines)


def _nobody(patients, standard) -> Cell:
    enough = float(patients >= math.ceil(math.log(0.025) / math.log(standard)))
    must = {"role": OURS, "target": enough, "low": enough, "high": enough, "spread": 0.0}
    lines = (
        Line("log–log limits by patient", "called met", "log–log limits", **must),
        Line("effective sample", "called met", "effective sample", **must),
        shown("ignoring clusters", "called met", "[1, 1] before the first failure", enough),
    )
    setting = f"{patients} patients, standard {standard:.2f}"
    return Cell("nobody failed", setting, shares.nobody_failed, {"patients": patients, "standard": standard}, 261_000 + patients + round(100 * (standard - 0.90)) * 100, 3, 3, lines)


def _verdict(standard) -> Cell:
    lines = (
        Line("effective sample: met", "called met at the standard itself", "effective sample", OURS, 0.025, 0.0, 0.036, spread=NARROW),
        shown("ignoring clusters: met", "called met at the standard itself", "ignoring clusters", 0.025),
        shown("effective sample: not met", "called not met at the standard itself", "effective sample", 0.025, OURS),
        shown("ignoring clusters: not met", "called not met at the standard itself", "ignoring clusters", 0.025),
    )
    settings = {"patients": 60, "standard": standard, "frailty": 1.0}
    return Cell("verdict", f"60 patients, true share = standard = {standard:.2f}", shares.verdict, settings, 262_000 + round(100 * standard), 2000, 300, lines)


def _tests(patients, factor) -> Cell:
    low, high = (0.0, 0.085) if patients < 20 else (0.025, 0.080) if patients == 20 else (0.030, 0.070)
    lines = tuple(
        Line(f"{test} {how}", f"{test} calls no effect one", how, role, 0.05, *limits, spread=NINETY_FIVE)
        for test in ("log-rank", "restricted mean")
        for how, role, limits in (("by patient", OURS, (low, high)), ("ignoring clusters", NAIVE, ()))
    )
    settings = {"patients": patients, "factor": factor, "frailty": 1.0}
    where = "a factor of the patient" if factor == "patient" else "a factor within patients"
    seed = 263_000 + 10 * patients + (factor == "within")
    return Cell("two groups", f"{patients} patients, {where}", shares.two_groups, settings, seed, 2000, 300 if patients in (12, 60) else 0, lines)


def _upkeep(frailty) -> Cell:
    lines = (
        holding("robust by patient", "robust by patient", 0.935, 0.965),
        shown("exact on visits", "95 % limits hold", "exact, visits as if independent", 0.95),
        Line("exact on parts", "95 % limits hold", "exact, parts as if independent", NAIVE, 0.95, 0.75, 1.0, spread=NINETY_FIVE),
    )
    settings = {"patients": 40, "frailty": frailty}
    return Cell("event rate", f"40 patients, sets of 4, frailty variance {frailty:g}", shares.upkeep, settings, 264_000 + int(10 * frailty), 2000, 300, lines)


# ------------------------------------------------------------------ failures found at visits

CALLED = {None: "no recalls", 365: "yearly recalls", 730: "recalls every 2 years"}


def _between(patients, jitter, recall=365, repetitions=500) -> Cell:
    lines = []
    for years, day in ((2, TWO_YEARS), (3, THREE_YEARS)):
        truth = float(survival(day, frailty=1.0))
        share, limits = f"share at {years} y", f"limits at {years} y"
        caution = cautions.BETWEEN_ROUNDS if (recall, years) == (730, 3) else ""
        lines += [
            around(share, share, "ours", truth, 0.01, caution=caution),
            shown(f"{share}, on the day found", share, "on the day found", truth),
            holding(limits, "ours", 0.925, 0.98, measure=f"95 % {limits} hold", caution=caution),
            shown(f"{limits}, ignoring clusters", f"95 % {limits} hold", "ignoring clusters", 0.95),
            shown(f"{limits}, on the day found", f"95 % {limits} hold", "on the day found", 0.95),
        ]
    settings = {"patients": patients, "recall": recall, "jitter": jitter, "frailty": 1.0, "draws": 200}
    setting = f"{patients} patients, {CALLED[recall]} ± {jitter} days"
    short = 40 if (patients, jitter) == (40, 60) else 0
    return Cell("curve between looks", setting, visits.curve_between_looks, settings, 265_000 + 10 * patients + jitter + recall // 730, repetitions, short, tuple(lines))


MEASURE = "share at 3 y"
FLAG = "flagged, for the two rules differ by over 0.05"


def _rules(noticing, recall, frailty, sites, leaving=0.0) -> Cell:
    """Examined where nobody notices, else in care: the rule by the endpoint's kind. The other one must miss by more than 0.05."""
    truth = float(survival(THREE_YEARS, frailty=frailty))
    right, wrong = ("between looks", "in care") if noticing == 0 else ("in care", "between looks")

    def rule(key, method, within, role=OURS) -> Line:
        caution = cautions.of_rule(noticing, recall, method, single=sites == (1,), leaving=leaving)
        return around(key, MEASURE, method, truth, within, 500, role, caution)

    if noticing == 0:
        lines = [rule(right, right, 0.03), shown("between looks, lower edge", MEASURE, "between looks, lower edge", truth, OURS)]
    else:
        lines = [rule(right, right, 0.03), rule("in care, day found", "in care, day found", 0.03)]
    lines += [
        rule(wrong, f"the other rule: {wrong}", 0.05, NAIVE),
        shown("on the day found", MEASURE, "on the day found, censored at the last look", truth),
        shown("only the un-failed capped", MEASURE, "only the un-failed capped", truth),
        shown("in care until the first gap", MEASURE, "in care until the first gap", truth, OURS),
        Line("between looks, lower edge", "lower end of the bracket is not above the truth", "between looks, lower edge", OURS, truth, 0.0, truth + 0.03, 500),
        Line("in care", "upper end of the bracket is not below the truth", "in care", OURS, truth, truth - 0.03, 1.0, 500),
        shown("flagged between looks", FLAG, "between looks", float("nan"), OURS),
        shown("flagged on the day found", FLAG, "on the day found", float("nan"), OURS),
    ]
    parts = "2 or 4 parts a patient, frailty variance 1" if frailty else "1 part a patient, no frailty"
    setting = f"{noticing:.0%} notice, {CALLED[recall]}, {parts}".replace("%", " %") + (f", {leaving:.0%} a year stop coming unseen".replace("%", " %") if leaving else "")
    settings = {"patients": 200, "noticing": noticing, "recall": recall, "frailty": frailty, "sites": sites, "leaving": leaving}
    seed = 266_000 + 10 * (recall or 0) + 4 * int(2 * noticing) + int(frailty) + int(100_000 * leaving)
    short = 40 if (noticing, recall) in ((0.0, 365), (1.0, None), (1.0, 730)) else 0
    return Cell("censoring rules", setting, visits.censoring_rules, settings, seed, 500, short, tuple(lines))


def _habits(recalls, patients=120) -> Cell:
    called = " and ".join(f"{years:g}" for years in recalls)
    lines = (
        Line("between looks", "restricted mean calls no effect one", "between looks", OURS, 0.05, 0.030, 0.070, spread=NINETY_FIVE),
        shown("on the day found", "restricted mean calls no effect one", "on the day found", 0.05),
        shown("difference between looks", "difference of restricted means, days", "between looks", 0.0, OURS),
        shown("difference on the day found", "difference of restricted means, days", "on the day found", 0.0),
    )
    settings = {"patients": patients, "frailty": 1.0, "recalls": tuple(365 * years for years in recalls), "draws": 200}
    return Cell("recall habits", f"{patients} patients in two groups, recalls every {called} years", visits.recall_habits, settings, 267_000 + int(100 * recalls[1]), 200, 0, lines)


# ------------------------------------------------------------------ parts in series and in sets

def _serial() -> Cell:
    measure = "share at 3 y"
    lines = (
        around("weighted gaps", measure, "weighted gaps", 0.5, 0.01, 500),
        around("first parts", measure, "first parts", 0.5, 0.01, 500),
        around("all parts pooled", measure, "all parts pooled", 0.5, 0.08, 500, NAIVE),
        holding("limits, weighted gaps", "weighted gaps", 0.935, 0.970),
        holding("limits, first parts", "first parts", 0.935, 0.970),
        shown("limits, all parts pooled", "95 % limits hold", "all parts pooled", 0.95),
    )
    settings = {"sites": 400, "share": 0.5, "frailty": 1.0}
    return Cell("serial parts", "400 sites of 200 patients, frailty variance 1", sets.serial_parts, settings, 268_000, 2000, 150, lines)


def _together(sites) -> Cell:
    truth = float(survival(THREE_YEARS, frailty=1.0, scale=scale_for(0.5, THREE_YEARS, frailty=1.0), parts=sites))
    lines = (
        holding("first repair per denture", "first repair per denture", 0.935, measure="95 % limits hold, first repair"),
        shown("share without a first repair", "share without a first repair at 3 y", "first repair per denture", truth, OURS),
        Line("bracket with its limits", "bracket with its limits holds wear life", "bracket", OURS, 1.0, 0.935, 1.0, spread=NINETY_FIVE),
        shown("curve per part", "wear life: share at 3 y", "per part, neighbours censored", 0.5),
    )
    settings = {"patients": 60, "sites": sites, "share": 0.5, "frailty": 1.0}
    return Cell("changed together", f"60 patients, sets of {sites}", sets.changed_together, settings, 269_000 + sites, 2000, 300, lines)


def _bracket(name, study, settings, truth, seed) -> Cell:
    lines = (
        Line("bracket holds the truth", "bracket holds wear life", "bracket", OURS, 1.0, 1.0, 1.0, spread=0.0),
        Line("lower end", "wear life: share at 3 y", "bracket, lower end", OURS, truth, 0.0, truth, spread=0.0),
        Line("upper end", "wear life: share at 3 y", "bracket, upper end", OURS, truth, truth, 1.0, spread=0.0),
        around("curve per part", "wear life: share at 3 y", "per part, the others censored", truth, 0.05, 1, NAIVE),
    )
    return Cell("wear life in the long run", name, study, settings, seed, 1, 1, lines)


CELLS = (
    *(_limits(patients, share, frailty) for frailty in (0.0, 1.0) for share in (0.57, 0.94) for patients in (10, 20, 30, 60, 120)),
    *(_nobody(patients, standard) for standard in (0.90, 0.95) for patients in (3, 10, 36, 72)),
    *(_verdict(standard) for standard in (0.80, 0.90, 0.95)),
    *(_tests(patients, factor) for factor in ("patient", "within") for patients in (12, 20, 30, 60)),
    *(_upkeep(frailty) for frailty in (0.5, 1.0)),
    *(_rules(noticing, recall, 1.0, (2, 4)) for noticing in (0.0, 0.5, 1.0) for recall in (None, 365, 730)),
    *(_rules(noticing, recall, 0.0, (1,)) for noticing in (0.0, 0.5, 1.0) for recall in (None, 365, 730)),
    _rules(1.0, 365, 1.0, (2, 4), leaving=0.1),
    _serial(),
    *(_together(sites) for sites in (2, 4)),
    *(_bracket(f"100,000 patients, sets of {n}", sets.changed_together, {"patients": 100_000, "sites": n, "share": 0.5, "frailty": 1.0}, 0.5, 270_000 + n) for n in (2, 4)),
    _bracket("100,000 parts, a wish heralds wear in half", sets.heralded, {"patients": 100_000, "share": 0.368, "frailty": 0.0}, 0.368, 270_010),
    *(_between(patients, jitter) for patients in (40, 120) for jitter in (10, 60)),
    _between(120, 60, recall=730, repetitions=200),
    *(_habits(recalls) for recalls in ((0.5, 1), (0.5, 2))),
)
