"""The page that both reports on wear share: answers, doubts, who is in it, methods."""

from __future__ import annotations

import math

import pandas as pd

from outcomes.analyses import answers, certainty, factors_sections, methods, sections, wear_alike, wear_estimands, wear_shapes, who
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.content import Answer, Box, Doubt, Facts, Notice, Prose, Report, Section
from outcomes.present.flow import Stage, flow


# ------------------------------------------------------------------ answers


def half_worn(life) -> Answer:
    """By when half were worn, or that this was not reached and what was."""
    counts = words.people(life.patients, life.parts, life.unit)
    where, name = "half-were-worn-by", "half were worn by"
    gone = wear_shapes.gone(life)
    if not life.speaks or life.headline is None:
        return Answer(name, "", f"The log cannot say by when half of the {life.units} were {gone}: {words.count(life.patients_with_events, 'patient')} had it.", "", counts, where)
    seen = life.headline.quantile(0.5)
    if math.isinf(seen):
        longest = life.median_follow_up()
        return Answer(name, "", f"By when half of the {life.units} were {gone} was not reached: half were watched for {words.years(longest)} or longer.", "", counts, where)
    low, high = life.headline.quantile_interval(0.5)
    likely = f"{words.years(low)} or later" if math.isinf(high) else f"{words.number(low / YEAR, 1)} to {words.number(high / YEAR, 1)} years"
    return Answer(name, words.years(seen), f"after {saying(life).since} half of the {life.units} were {gone}{wear_shapes.if_alike(life)}.", f"{likely} ({words.percent(life.level)})", counts, where, None, seen / YEAR)


def factors_answer(life, found) -> Answer:
    """What goes with a longer or shorter life, in one sentence."""
    compared = {ratio.factor for ratio in found.alone}
    counts = f"{words.count(life.patients_with_events, 'patient')} {saying(life).happened}"
    if not compared:
        return Answer("what goes with it", "", f"The log cannot say yet what goes with a longer life: {_lower(found.notes[0]) if found.notes else 'no factor has two groups.'}".rstrip("."), "", counts, "what-goes-with-it")
    clear = {ratio.factor for ratio in found.clear}
    titles = {ratio.factor: ratio.title.lower() for ratio in found.alone}
    which = f" ({words.listing([titles[name] for name in titles if name in clear])})" if clear else f" ({words.listing(list(titles.values()))})"
    number = f"{len(clear)} of {len(compared)}"
    return Answer("what goes with it", number, f"factors that could be compared {'stands' if len(clear) == 1 else 'stand'} out from chance{which}.", "", counts, "what-goes-with-it")


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def alike_answer(life, found) -> Answer:
    """How alike parts in one mouth are."""
    counts, where = f"{words.count(found.mouths, 'patient')} with two {life.units} or more", "how-alike"
    if found.fit is None:
        return Answer("alike", f"{found.both} of {found.one + found.both}", f"patients in whom one of several {life.units} went had a second one go too.", "", counts, where)
    low, high = found.limits
    if low < 1.005:
        reach = "" if math.isinf(high) else f": at most {words.number(high, 1)} times as fast"
        return Answer("alike", "", f"The log cannot say whether a part goes sooner once its neighbour in the same mouth has gone{reach}.", "", counts, where)
    likely = f"{words.number(low, 1)} or more" if math.isinf(high) else f"{words.number(low, 1)} to {words.number(high, 1)}"
    return Answer("alike", f"{words.number(found.times, 1)}×", f"as fast a part goes once its neighbour in the same mouth has gone{', at the most' if life.examined else ''}.", f"{likely} ({words.percent(life.level)})", counts, where)


# ------------------------------------------------------------------ sections


def half(life, found, folder) -> Section:
    """The smooth curve over what was seen, percentiles, and every shape's answer."""
    blocks: list = [Prose((wear_shapes.half_by(life) if life.speaks else f"{words.count(life.patients_with_events, 'patient')} {saying(life).happened}: too few to say by when half were gone.",))]
    if found is None:
        blocks.append(Notice(f"No smooth curve: it takes {life.plan['report']['test_patients']} patients with the event, and {life.patients_with_events} had it."))
        return Section("half-were-worn-by", "By when half were gone", tuple(blocks))
    matter = "The shape matters: where shapes lie more than five points apart, the answer comes from the shape and not from the log." if found.matters else "All shapes lie within five points of one another where the log reaches, so the shape hardly matters."
    text = f"A smooth curve over what was seen, drawn no further than {words.years(found.until)}, when the last failure was found. {matter}"
    blocks.append(folder.picture("smooth_curve", lambda shape: wear_shapes.drawn(found, shape), text, "Where the line leaves the steps, its shape does not fit."))
    blocks.append(folder.grid("percentiles", "By when they were gone", *wear_shapes.percentiles(found)))
    if found.horizons:
        blocks.append(folder.grid("shapes", "Share still working, by the shape assumed", *_plain_shapes(found)))
    return Section("half-were-worn-by", "By when half were gone", tuple(blocks))


def _plain_shapes(found) -> tuple[pd.DataFrame, pd.DataFrame]:
    """On the page shapes are numbered; their names stand in Methods."""
    shown, exact = wear_shapes.by_shape(found)
    names = ["as seen, no shape assumed"] + [f"shape {number}{', the plan’s' if name == found.chosen else ''}" for number, name in enumerate(found.fits, 1)]
    return shown.assign(shape=names), exact


def estimands(life, folder) -> list[Section]:
    """The part and the patient, where patients have different numbers of parts."""
    shown, exact, flagged = wear_estimands.table(life)
    if shown.empty:
        return []
    note = "The two lie more than five points apart somewhere: patients with many parts fare differently from those with few." if flagged else "The two lie within five points of one another."
    text = f"A patient with four {life.units} counts four times in the share of {life.units}, and once in the share of a patient's {life.units}. {note}"
    return [Section("part-and-patient", f"The {life.unit} and the patient", (Prose((text,)), folder.grid("part_and_patient", "Share still working (likely range)", shown, exact)))]


def alike_section(life, found) -> Section:
    return Section("how-alike", "How alike parts in one mouth are", (Prose(wear_alike.sentences(found, life)),))


# ------------------------------------------------------------------ who, how sure, methods


def stages(log, life) -> list[Stage]:
    """From everybody in the log to the units followed."""
    return who.stages(log) if life.unit == "insert" else [
        Stage(f"{words.count(log.everybody, 'patient')} in the log", ((("did not agree to audit", words.count(log.no_consent, "patient")),) if log.no_consent else ())),
        Stage(f"{words.count(len(log.patients), 'patient')} who may be audited", tuple((reason, words.count(number, life.unit, life.units)) for reason, number in life.left_out.items())),
        Stage(f"{words.people(life.patients, life.parts, life.unit)} followed"),
    ]  # fmt: skip


def who_section(log, life, folder) -> Section:
    steps = stages(log, life)
    return Section("about-who", "Who is in it", (folder.picture("who_is_in_it", lambda shape: flow(steps, shape), f"{steps[0].text}; followed: {steps[-1].text}.", "Beside the arrows: who was left out, and why."),))


def _boxes(steps: list[Stage]) -> tuple[Box, ...]:
    shown = []
    for stage in steps:
        number, _, text = stage.text.partition(" ")
        out = ", ".join(f"{amount} {reason}" for reason, amount in stage.left_out)
        shown.append(Box(number, text, f"left out: {out}" if out else ""))
    return tuple(shown)


def doubts(log, life, found_shapes, found_ratios) -> tuple[Doubt, ...]:
    """What could move the answers, the most serious first."""
    out = [Doubt(f"{saying(life).name}.", text, answers.anchor(life.name))] if (text := certainty.of_lifetime(life, log, 3)) else []
    out.append(Doubt("What goes with it.", "Patients and dentures differ in more than one way at once; what goes with a longer life need not be its cause.", "what-goes-with-it"))
    if found_shapes is not None and found_shapes.matters:
        out.append(Doubt("Smooth curve.", f"Shapes differ by up to {words.percent(found_shapes.spread)} of {life.units}: read the steps.", "half-were-worn-by"))
    if not found_ratios.together:
        out.append(Doubt("All factors at once.", f"Too few patients {saying(life).happened} to take factors together; each is compared as if the others did not matter.", "what-goes-with-it"))
    out += [Doubt("", warning) for warning in log.warnings]
    return tuple(out)


def method_sections(log, life, found_shapes, found_ratios, found_alike, primary, folder, extra: tuple[str, ...] = ()) -> list[Section]:
    """Methods by name, the tested comparison, the plan."""
    report, rules = log.plan["report"], log.plan["wear"]
    view = ("Failures are interval-censored between the last look without and the first look with a counting finding: nonparametric maximum likelihood (Turnbull 1976), log–log limits from "
            f"{report['draws']} bootstrap draws of whole patients (seed {report['seed']})." if life.examined else
            "Failures are dated by the visit that found them: Kaplan–Meier with late entry, cluster-robust infinitesimal jackknife by patient, log–log limits with G/(G − 1) and Student's t.")  # fmt: skip
    texts = [
        view,
        f"Fewer than {report['minimum_patients']} patients with the event: counts only. From {report['test_patients']}: differences in mean life and models of one factor. From {rules['model_patients']}, with {rules['per_coefficient']} patients with the event for each coefficient: several factors together, in the plan's order, never chosen by their results.",
        "Time ratios: interval-censored accelerated failure time models with late entry, sandwich errors by patient with G/(G − 1) and Student's t on G − p degrees of freedom. The shape is the plan's; the information criterion is given for the record and chooses nothing. Nothing is read beyond the last failure found.",
        "Differences in mean life: restricted mean from the interval-censored curves, bootstrap by patient within group; from the curves by the day found where patients stand in both groups (Royston and Parmar 2013).",
        "Only the comparison that the plan names is tested (log-rank with the variance summed over patients, no centring).",
        "How alike parts in one mouth are: shared gamma frailty with a Weibull baseline on the day found, late entry conditioned on, profile-likelihood limits of the variance; said as the cross ratio, one plus the variance (Clayton 1978).",
        *extra,
        "Minimum counts are choices without a source; the plan below holds them.",
    ]
    blocks: list = [Prose(tuple(texts))]
    if primary is not None:
        blocks.append(primary)
    if found_shapes is not None:
        fits = [(name, fit.aic) for name, fit in found_shapes.fits.items()]
        blocks.append(folder.grid("information_criterion", "Shapes in the order in which the page numbers them", pd.DataFrame([{"shape": name, "AIC": words.number(aic, 1)} for name, aic in fits]), pd.DataFrame(fits, columns=["shape", "aic"])))
    shown, exact = wear_alike.table(found_alike)
    if len(shown):
        blocks.append(folder.grid("how_alike", "Frailty", shown, exact))
    if found_ratios.methods:
        blocks.append(Prose(tuple(f"Time ratios: {text}." for text in found_ratios.methods)))
    blocks.append(Facts((("Level of likely ranges", f"{100 * report['level']:g} %"), ("Plan, SHA-256", log.plan.digest[:16]), ("Made with", methods.made_with()))))
    return [Section("methods", "Methods", tuple(blocks), methods=True), methods.plan(log)]


def page(log, life, title: str, said, steps_doubts, detail) -> Report:
    """The whole page; no standards and no lists, which are the audit's."""
    return Report(title, who.closing(log), who.stamp(log), who.line(log), tuple(said), (), steps_doubts, (), _boxes(stages(log, life)), tuple(detail), who.notices(log), methods.CAUTIONS,
                  made_with=methods.made_with(), front=("sure", "who"))  # fmt: skip


def main(log, life, answer, folder) -> Section:
    """The endpoint's own section, as in the audit."""
    return sections.of_lifetime(log, life, answer, folder)


def tested(every, name: str) -> Facts | None:
    """The plan's one tested comparison, if it can be made."""
    return next((factors_sections.tested(groups) for groups in every if groups.factor.name == name), None)


def together(life, found, folder) -> Section:
    """Every factor's ratio in one figure."""
    return factors_sections.together(life, found, folder)
