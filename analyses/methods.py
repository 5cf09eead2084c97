"""How it was made: the methods by name, the cautions every report carries, and the plan it used."""

from __future__ import annotations

import platform

from outcomes import __version__
from outcomes.analyses import clinicians, drawer
from outcomes.present import words
from outcomes.present.content import Facts, Listing, Prose, Section

CAUTIONS = (
    "This report describes one clinic's patients and ranks no device.",
    "Associations are not effects unless the design says so.",
    "Decisions on a patient rest with the treating clinician.",
    "Local rules on audit, research ethics and patient data apply.",
    "Torque, force and material figures come from the maker's instructions for the part in hand.",
)


def methods(log, lives, settling, scored) -> Section:
    """Methods, in one place, with their sources."""
    report, rules = log.plan["report"], log.plan["rules"]
    level = f"{100 * report['level']:g} %"
    texts = [
        f"Design: audit of one clinic's log. {log.plan['audit']['cohort'].capitalize()}. The log closes on {words.day(log.closing)}; a year is 365.25 days. Size: everybody eligible, no calculation.",
        "Failures that are found by looking (" + words.listing([life.name for life in lives if life.examined]) + ") are interval-censored between the last look without and the first look with a counting finding; the curve is the "
        f"nonparametric maximum likelihood estimate (Turnbull 1976), read at the right ends of its support, with log–log limits from {report['draws']} bootstrap draws of whole patients (seed {report['seed']}). "
        "Without a failure, parts are followed to their last look. Parts already in place when the log began join only the curve by the day found.",
        "Failures that the patient notices or that are recorded (" + (words.listing([life.name for life in lives if not life.examined]) or "none") + f") are dated by the visit that found them; a problem visit places them within {rules['notice_days']} days before it. The curve is Kaplan–Meier "
        "with late entry and the cluster-robust infinitesimal jackknife by patient, log–log limits with G/(G − 1) and Student's t, exact limits before the first failure. Without a failure, parts are followed while the patient is under care (Lesko et al. 2018).",
        f"Fewer than {report['minimum_patients']} patients with the event: counts only. Fewer than {report['test_patients']}: limits from an effective sample (Clopper–Pearson; Korn and Graubard 1998). Bands are pointwise.",
        "What became of a part: Aalen–Johansen cumulative incidence of discovered failure and of all other endings on their own day. The bracket of wear (Peterson 1976): at least, free of every ending; at most, one minus the incidence of wear; "
        "between them the share if parts changed for other reasons would have lasted like the rest, which cannot be checked (Tsiatis 1975).",
        "Housings counted are the first at their site in a denture, until they first came loose; housings fixed again or fitted later stand in the upkeep only, and so do clips, bars and abutments that are not the first at their site. "
        "Inserts counted are the first at their site, fitted while the log ran; all inserts stand beside them with the weights of Wang and Chang (1999), for any change. Every patient once: each site weighs one over the patient's sites (Williamson, Datta and Satten 2003). A change of an insert counts as wear where wear, a tear or a loss was seen; by report where the snap had been right and became loose; "
        f"as a wish where it was never right or within {rules['settling_days']} days of fitting.",
        "Unplanned visits per patient-year: log-normal limits robust by patient with Student's t; exact Poisson limits where fewer than " + f"{report['test_patients']} patients were followed; where nothing happened, the exact upper limit −ln(α/2) ÷ years. Visits by kind of work count once per patient, day and kind; minutes are shared equally among the kinds of a day. "
        "Visits so far: mean cumulative function (Lawless and Nadeau 1995) per denture and per patient in service; per patient started, with death and the end of the last denture as ends (Ghosh and Lin 2000). Cost: prices × what was done, limits as for rates by patient. "
        "Half of the unplanned visits: beside the median over clinics drawn with the same years and the same number of visits, all patients alike.",
        "Time at the starting level: cumulative incidence of the first change of level over all dentures that started, with death and a new denture as competing ends.",
        "Share with a snap just right: Wilson interval over patients. Satisfaction: " + (f"{scored.method} " if scored is not None else "no instrument answered. ") + "Mean change within patients with a t interval.",
        f"Standards: limits from the effective sample ({level}); where the two censoring rules lead to different verdicts, cannot tell. "
        "Counts of what the clinic did: Clopper–Pearson, over patients where each counts once, else on the effective sample by patient. Each year apart, by year of fitting or delivery for how long parts last; no test between years. "
        "By chance alone from year to year: 1.96 √(2 p (1 − p) ÷ n) for the pooled share p and the effective size n of the middle year, one success and one failure added to each (Agresti and Caffo 2000).",
        drawer.method(log),
        clinicians.METHOD,
        "Minimum counts, day windows and thresholds are choices without a source; the plan below holds them all.",
    ]
    pairs = (("Level of likely ranges", level), ("Parts not listed where the log is silent", rules["unlisted"]), ("Plan, SHA-256", log.plan.digest[:16]), ("Made with", made_with()))
    return Section("methods", "Methods", (Prose(tuple(texts)), Facts(pairs)), methods=True)


def plan(log) -> Section:
    """The plan as it was used."""
    return Section("plan", "The plan", (Listing(log.plan.text, "The plan as it was used"),), methods=True)


def made_with() -> str:
    """The program and its Python, as they are named on the page."""
    return f"outcomes {__version__}, Python {platform.python_version()}"
