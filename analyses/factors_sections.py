"""What goes with wear, on the page: each factor's curves and counts, then every ratio in one figure."""

from __future__ import annotations

import math

from outcomes.analyses import factors_groups, factors_models
from outcomes.analyses.drawings import lines_of
from outcomes.analyses.factors_declared import UNKNOWN, factor
from outcomes.analyses.factors_groups import Groups
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.content import Facts, Notice, Prose, Section
from outcomes.present.curves import CannotDraw, Frame, Line, survival
from outcomes.present.forest import Axis, Row, forest

CHOSEN = "The dentist chose the level for the patient, so this compares patients as much as levels; whether a light start is wise is a question for the comparison of strategies."
MANY = 0.05


def every(log, life, names) -> list[Groups]:
    """Each factor of the plan, split into its groups."""
    return [factors_groups.grouped(log, life, factor(name)) for name in names]


def of_factor(groups: Groups, folder) -> Section:
    """One factor: curves of the groups that have enough patients, counts of all, how far apart they lie."""
    name, life = groups.factor.name, groups.whole
    known = [group for group in groups.lives if group != UNKNOWN]
    blocks: list = []
    if not known:
        blocks.append(Notice(f"Nobody wrote down {_what(groups)}, so the log cannot say whether it matters."))
        return Section(anchor(groups), groups.factor.title, tuple(blocks))
    if len(groups.speaking) > 1:
        lines, told = lines_by(groups), " ".join(apart_words(one, life) for one in factors_groups.apart(groups))
        blocks.append(folder.picture(f"by_{name}", lambda shape: drawn(groups, lines, shape), told or f"Too few patients {saying(life).happened} to say whether the groups differ.", caption(groups)))
    else:
        blocks.append(Notice(f"No comparison: {_short(groups)}"))
    blocks.append(folder.grid(f"by_{name}", f"{saying(life).title} by {_title(groups)}", *factors_groups.table(groups)))
    blocks.append(Prose(tuple(text for text in (_recalls(groups), CHOSEN if name == "level" and len(groups.speaking) > 1 else "", _left_out(groups)) if text)))
    return Section(anchor(groups), groups.factor.title, tuple(block for block in blocks if not (block.kind == "prose" and not block.paragraphs)))


def anchor(groups: Groups) -> str:
    return f"by-{groups.factor.name.replace('_', '-')}"


def _title(groups: Groups) -> str:
    return {"pick_up": "where the housing was fixed"}.get(groups.factor.name, groups.factor.title.lower())


def _what(groups: Groups) -> str:
    return {"pick_up": "how the housings were fixed", "level": "the level", "arch": "the jaw", "attachment": "the attachment", "surface": "the surface of the abutments"}.get(groups.factor.name, groups.factor.title.lower())


def _short(groups: Groups) -> str:
    known = [group for group in groups.lives if group != UNKNOWN]
    if len(known) == 1:
        return f"all {groups.whole.units} whose {_title(groups)} is known are alike ({known[0]})."
    least = groups.whole.plan["report"]["minimum_patients"]
    parts = [f"{groups.lives[name].patients_with_events} of {words.count(groups.lives[name].patients, 'patient')} ({name})" for name in known]
    return f"{words.listing(parts)} had it; a curve for a group takes {least} patients with the event, and a comparison takes two such groups."


def lines_by(groups: Groups) -> list[Line]:
    """A curve for each group that speaks."""
    colour = factors_groups.colours(groups)
    lines = [(name, line) for name, life in groups.speaking.items() for line in lines_of(life, band=not groups.whole.examined)]
    return [Line(name, line.steps, line.counts, line.stops, line.boxes, None, colour[name], _reach(groups, name)) for name, line in lines]


def _reach(groups: Groups, name: str) -> tuple[tuple[float, float, float], ...]:
    """The likely range of a group's share at the whole's horizon, as its table has it."""
    share = factors_groups.share_of(groups, name)
    return () if share is None or math.isnan(share.low) else ((groups.whole.horizon, share.low, share.high),)


def drawn(groups: Groups, lines: list[Line], shape):
    """One curve for each group that speaks, its counts below."""
    if len(lines) < 2:
        raise CannotDraw(_short(groups))
    life, say = groups.whole, saying(groups.whole)
    people = words.listing([f"{name}: {words.people(one.patients, one.parts, one.unit)}" for name, one in groups.speaking.items()])
    return survival(lines, Frame(f"{say.title}, by {_title(groups)}", f"{words.sentence(people)}.{' Boxes: it happened between two looks.' if life.examined else ''}{f' Upright bars: likely range ({words.percent(life.level)}).' if any(line.reaches for line in lines) else ''}", f"years since {say.since}"), shape)


def apart_words(one, life) -> str:
    """How much longer one group lasted than another within the time that both were seen, as its limits have it."""
    if math.isnan(one.value):
        return f"{words.sentence(one.group)} and {one.reference}: cannot be compared, since {one.note}."
    within = words.years(one.horizon)
    if math.isnan(one.low):
        return f"{words.sentence(one.group)} and {one.reference}: too few patients to say which lasted longer within {within}."
    if one.low > 0 or one.high < 0:
        least, most = sorted((abs(one.low), abs(one.high)))
        return f"Within {within}, {life.units} of the group “{one.group}” lasted {_months(least)} to {_months(most)} {'longer' if one.low > 0 else 'less long'} on average than “{one.reference}”."
    return f"Within {within} no difference can be told between “{one.group}” and “{one.reference}”: from {_months(-one.low)} shorter to {_months(one.high)} longer fits the log."


def _months(days: float) -> str:
    months = words.number(days / 30.4375, 1).removesuffix(".0")
    return f"{months} month" if months == "1" else f"{months} months"


def caption(groups: Groups) -> str:
    life = groups.whole
    rows = "known sound, failed, not known between two looks, and no longer seen" if life.examined else "patients, parts at risk, failed and no longer followed"
    return f"Below, for each group: {rows}. A curve stops where fewer than {life.plan['report']['stop_curves_at']} patients are followed."


def _recalls(groups: Groups) -> str:
    if not groups.recalls_differ:
        return ""
    gaps = words.listing([f"{words.days(gap)} ({name})" for name, gap in groups.gaps.items()])
    return f"Recall habits differ: between the last sound look and the one that found it lay {gaps} in half of the failures. Only the curves between looks allow for that."


def _left_out(groups: Groups) -> str:
    if not groups.left_out:
        return ""
    return f"{words.count(groups.left_out, groups.whole.unit, groups.whole.units)} without a known value {'is' if groups.left_out == 1 else 'are'} left out here."


def together(life, found, folder) -> Section:
    """Every ratio in one figure, then what could not be compared and why."""
    blocks: list = [Prose((f"How many times as long {life.units} of a group last as those of the group they are compared with. A range that includes 1 means that the log cannot tell.",))]
    if found.alone:
        blocks.append(folder.picture("what_goes_with_it", lambda shape: drawn_ratios(life, found, shape), ratios_finding(found), "A ring marks the group that the others are compared with. What goes with a longer life need not cause it."))
        blocks.append(folder.grid("what_goes_with_it", "How many times as long, with its likely range", *factors_models.table(found)))
    blocks += [Notice(" ".join(found.notes))] if found.notes and not found.alone else [Prose(found.notes)] if found.notes else []
    factors = len({ratio.factor for ratio in found.alone})
    if factors > 1:
        blocks.append(Prose((f"{factors} factors were compared. Where none of {factors} matters, at least one still stands out by chance in about {words.percent(1 - (1 - MANY) ** factors)} of clinics.",)))
    return Section("what-goes-with-it", "What goes with it, all factors", tuple(blocks))


def ratios_finding(found) -> str:
    """The factors whose likely range leaves out 1, or that none does."""
    clear = [f"“{ratio.group}” lasted {ratio.says().removesuffix(' times as long')} times as long as “{_reference(found, ratio)}”" for ratio in found.clear]
    if not clear:
        return "None of the factors can be told from no difference."
    return f"Told apart from no difference: {'; '.join(clear)}."


def _reference(found, ratio) -> str:
    return next(one.group for one in found.alone if one.factor == ratio.factor and one.reference)


def drawn_ratios(life, found, shape):
    """The forest of time ratios."""
    rows = []
    for ratio in found.alone:
        both = found.of(ratio)
        main, thin = (both, ratio) if both is not None else (ratio, None)
        rows.append(Row(ratio.group, f"{ratio.patients_with_events} of {words.count(ratio.patients, 'patient')}", main.value, main.low, main.high, main.says(), ratio.title, ratio.reference,
                        None if thin is None or ratio.reference else (thin.value, thin.low, thin.high)))  # fmt: skip
    say = saying(life)
    legend = ("all taken together", "each on its own") if found.together else None
    subtitle = f"{words.people(life.patients, life.parts, life.unit)}; {words.count(life.patients_with_events, 'patient')} {say.happened}. Bars: likely range ({100 * life.level:g} %)."
    return forest(rows, Axis(True, ("shorter life", "longer life"), legend=legend), Frame("How many times as long they last", subtitle), shape)


def tested(groups: Groups) -> Facts | None:
    """The plan's one tested comparison, for Methods."""
    test = groups.test
    if test is None:
        return None
    few = groups.whole.patients_with_events < 20
    p = "below 0.001" if test.p_value < 0.001 else words.number(test.p_value, 3)
    return Facts((("Comparison named in the plan", groups.factor.title), ("Log-rank over patients, by the day found", f"χ² = {words.number(test.statistic, 2)} on {test.df}, p = {p}"),
                  ("Its error rate", "may reach 8 % with fewer than 20 patients" if few else "5 %"), ("Recall habits of the groups", "differ: do not lean on it" if groups.recalls_differ else "alike")))  # fmt: skip
