"""The talk: what the log says, a slide for each question, with nothing that may not leave the clinic."""

from __future__ import annotations

import math

from outcomes.analyses import certainty, strategy_words, talk_audit, talk_figures, who
from outcomes.analyses.answers import of_lifetime
from outcomes.analyses.levels_paths import paths
from outcomes.analyses.methods import CAUTIONS
from outcomes.analyses.sentences import saying
from outcomes.analyses.strategy_patients import LEVEL, started
from outcomes.analyses.strategy_trial import compare
from outcomes.analyses.talk_report import RULE, too_few
from outcomes.analyses.talk_words import lower, split
from outcomes.present import words
from outcomes.present.curves import CannotDraw
from outcomes.present.hiding import few, hidden
from outcomes.present.talk import FIGURE, Figure, Slide, Talk

MOST_LIVES = 4
RECALLS = "Write down every recall, also those at which all was well."
# What to do by the key of a task: (said in a title, what is counted).
CHANGES = {
    "recalls": ("call in overdue recalls", "recalls overdue"),
    "reviews": ("see everybody after delivery", "dentures without a visit since delivery"),
    "snap-off": ("ask again where the snap was not right", "patients whose last word was not “just right”"),
    "not-asked": ("ask about the snap at every visit", "visits of the last year without asking for the snap"),
    "not-checked": ("look at every insert at every recall", "recalls and reviews without a look at every insert"),
    "unchecked": ("look at the parts passed over", "patients seen while parts went without a look"),
    "unanswered": ("hand out the questionnaires that are due", "patients due for a questionnaire"),
    "never-answered": ("ask those who never answered", "patients who never answered a questionnaire"),
    "unknown-level": ("write down every insert's level", "inserts in the mouth of unknown level"),
}


def light_or_firm(log, connection, plan):
    """Light against firmer starts, as the report on ways to start compares them."""
    return compare(LEVEL, log, connection, started(log, connection), paths(log), plan)


def talk(log, lives, said, settled, felt, scored, todo, compared, methods) -> Talk:
    """The deck. ``said``: the answers, lifetimes first, then starting level, upkeep, snap and satisfaction. ``methods``: that section."""
    plan, fewest = log.plan, log.plan["sharing"]["minimum_patients"]
    title = plan["audit"]["title"]
    people = int(log.dentures["patient_id"].nunique())
    made = "\n".join(methods.blocks[0].paragraphs[:1])
    enough = people >= max(fewest, 1)
    slides = [Slide("", title, points=_opening(log, fewest, enough), notes=(made, RULE.format(fewest)), first=True)]
    if not enough:
        slides.append(too_few(fewest, (made,)))
    else:
        slides.append(_who(log, fewest, made))
        lives = [talk_figures.stricter(life, fewest) for life in lives]
        if log.guard:
            slides.append(_withheld(log, methods))
        else:
            slides += [_life(log, life, of_lifetime(life, log.guard_of(life)), fewest, methods) for life in lives[:MOST_LIVES]]
        slides += [_light(log, settled, said[-4], said[-2], felt, compared, fewest, methods), _happy(log, said[-1], said[-2], scored, felt, fewest, methods), *talk_audit.slides(log, fewest, methods), _changes(todo, fewest)]
    slides.append(Slide("Before you quote this", "This is one clinic's log: it shows what happened, not what causes it.", points=CAUTIONS, notes=(RULE.format(fewest),)))
    if enough:
        slides.append(_questions(log, lives, scored, felt, compared, fewest, methods))
    return Talk(title, log.closing, tuple(slides))


def _opening(log, fewest: int, enough: bool) -> tuple[str, ...]:
    about = f"How long parts last, where people settle in retention, and whether they are content. {f'Log up to {who.closing(log)}.' if log.everybody else 'The log is empty.'}"
    return (about, hidden(who.line(log), fewest) if enough else "", RULE.format(fewest))


def _noted(methods, *starts: str) -> tuple[str, ...]:
    """The paragraphs on method that begin so."""
    return tuple(text for text in methods.blocks[0].paragraphs if text.startswith(starts))


def _drawn(draw, finding: str) -> Figure | None:
    """The figure, or None where it would show too few."""
    try:
        return None if draw(FIGURE) is None else Figure(draw, finding)
    except CannotDraw:
        return None


def _who(log, fewest: int, made: str) -> Slide:
    stages = who.stages(log)
    line = hidden(who.line(log), fewest)
    message, _, between = line.rstrip(".").partition(", visits from ")
    finding = hidden(f"{stages[0].text}; followed: {stages[-1].text}.", fewest)
    right = " ".join(hidden(text, fewest) for text in who.notices(log))
    return Slide("Who is in it", f"{message} are in this audit.", _drawn(lambda shape: talk_figures.who(stages, fewest, shape), finding),
                 f"Visits from {between}." if between else "", right or RULE.format(fewest), notes=(finding, made))  # fmt: skip


def _withheld(log, methods) -> Slide:
    """One slide for all kinds of part where the log lists failures only."""
    points = (RECALLS, "Until then no curve and no share is shown: they would make every part look short-lived.")
    return Slide("How long parts last", f"How long parts last this log cannot say: {lower(log.guard).replace('the log', 'it')}", points=points, notes=_noted(methods, "Failures that are found by looking"))


def _life(log, life, answer, fewest: int, methods) -> Slide:
    """How long one kind of part lasts, or why that is not said."""
    say, guard = saying(life), log.guard_of(life)
    doubt = hidden(certainty.of_lifetime(life, log, 9), fewest)
    method = _noted(methods, "Failures that are found by looking" if life.examined else "Failures that the patient notices", "Fewer than", *(("What became of", "Inserts counted") if life.unit == "insert" else ()))
    notes = (life.endpoint["definition"], doubt, *method)
    if life.patients == 0 or guard or (not answer.number and life.patients >= fewest and not any(life.followed(years) for years in log.plan["report"]["horizons_years"])):
        return Slide(say.name, answer.sentence, points=(RECALLS,) if guard else (), notes=notes)
    if life.patients < fewest or not answer.number:
        return Slide(say.name, f"How long {life.units} last cannot be shared: fewer than {fewest} patients were followed{' long enough' if life.patients >= fewest else ''}.", notes=notes)
    followed = words.people(life.patients, life.parts, life.unit)
    if life.patients_with_events < max(fewest, 1):
        number = "Nobody" if life.patients_with_events == 0 else f"Fewer than {fewest}"
        rest = "nothing has failed yet" if life.patients_with_events == 0 else f"too few to share how long {life.units} last"
        watched = answer.counts.partition(", watched for ")[2]
        return Slide(say.name, f"{number} of {words.count(life.patients, 'patient')} {say.happened}: {rest}.", points=(hidden(f"{followed}{', watched for ' + watched if watched else ''}.", fewest), *_sentences(doubt)[:2]), notes=notes)
    apart = life.patients - life.patients_with_events
    counts = answer.counts if not 0 < apart < fewest else followed
    title, rest = split(words.sentence(answer.whole))
    likely = f"Likely range {answer.likely}. " if answer.likely else ""
    bracket = "" if answer.value is not None else "At the dashed line the lower end is what was still in place, the upper end all but what was seen worn."
    figure = _drawn(lambda shape: talk_figures.of_lifetime(life, answer, fewest, shape), f"{title}{' ' + rest if rest else ''}{' ' + likely if likely else ''}".strip())
    return Slide(say.name, title, figure, f"{likely}{hidden(counts, fewest)}.", f"{rest} {doubt}".strip() or "The likely range says how far chance alone could move this.", notes=(answer.whole, bracket, *notes))


def of_settling(settled, answer, plan) -> Slide:
    """The slide on staying at the starting level, for a report of its own."""
    fewest = plan["sharing"]["minimum_patients"]
    stays = _stays(settled, answer, fewest) or "How many stay at the level they started at cannot be shared: too few patients."
    shown = _may_show(settled, answer, fewest)
    figure = _drawn(lambda shape: talk_figures.settled(settled, plan, fewest, shape), f"{stays} Likely range {answer.likely}.") if shown else None
    counts = f"{_counts(answer.counts, settled.patients, settled.patients_with_steps(), fewest)}." if settled.patients >= fewest else ""
    return Slide("Staying at the starting level", stays, figure, f"Likely range {answer.likely}. {counts}" if shown else counts, "A change of level is made at a visit, so its day is exact." if shown else "")


def of_life(log, life, sections) -> Slide:
    """The slide on how long one kind of part lasts, for a report of its own."""
    fewest = log.plan["sharing"]["minimum_patients"]
    held = talk_figures.stricter(life, fewest)
    return _life(log, held, of_lifetime(held, log.guard_of(held)), fewest, next(one for one in sections if one.anchor == "methods"))


def _sentences(text: str) -> list[str]:
    return [part if part.endswith(".") else f"{part}." for part in text.split(". ") if part]


def _light(log, settled, answer, snapped, felt, compared, fewest: int, methods) -> Slide:
    """Is starting light wise: what may be compared, else why not; and how many stayed at the level they started at."""
    against = strategy_words.of_comparison(compared, log.plan["report"]["level"])
    why = hidden(against.whole, fewest)
    stays, shown = _stays(settled, answer, fewest), _may_show(settled, answer, fewest)
    if against.number:
        title = words.sentence(why)
    elif stays:
        title = f"Whether starting light is wise this log cannot say; {lower(stays)}"
    else:
        title = "Whether starting light is wise this log cannot say yet."
    figure = _drawn(lambda shape: talk_figures.settled(settled, log.plan, fewest, shape), f"{stays} Likely range {answer.likely}.") if shown else None
    likely = f"Likely range {answer.likely}." if shown and answer.likely else ""
    counts = f"{_counts(answer.counts, settled.patients, settled.patients_with_steps(), fewest)}." if settled.patients >= fewest else ""
    right = f"{stays} {against.likely}".strip() if against.number else words.sentence(why.removeprefix(f"{compared.question.title}: "))
    return Slide("Is starting light wise?", title, figure, f"{likely} {counts} {_snap(felt, snapped, fewest)}".strip(), right, notes=(why, *_noted(methods, "Time at the starting level", "Share with a snap")))


def _may_show(settled, answer, fewest: int) -> bool:
    """Whether the share at the starting level after a year rests on enough people, of those who changed and of those followed."""
    return answer.value is not None and min(settled.patients, settled.patients_with_steps(), settled.followed(1)) >= fewest


def _stays(settled, answer, fewest: int) -> str:
    """How many stayed at the level they started at, as far as that may be said."""
    changed = settled.patients_with_steps()
    if settled.patients < fewest:
        return ""
    if 0 < changed < fewest:
        return f"Fewer than {fewest} of {words.count(settled.patients, 'patient')} changed their level so far."
    return words.sentence(answer.whole) if _may_show(settled, answer, fewest) else ""


def _counts(counts: str, whole: int, part: int, fewest: int) -> str:
    """The counts of an answer, without those who did where the others would be few."""
    return hidden(counts.partition(";")[0] if 0 < whole - part < fewest else counts, fewest)


def _snap(felt, answer, fewest: int) -> str:
    """The snap in one sentence, as far as it may be said."""
    if felt.asked < max(fewest, 1):
        return "How the snap feels cannot be shared: too few were asked."
    if min(felt.right, felt.asked - felt.right) < fewest:
        return f"Snap just right when last asked: {lower(hidden(f'{felt.right} of {felt.asked}', fewest))} patients."
    return f"Snap just right when last asked: {answer.number} (likely {words.percent_range(answer.low, answer.high)})."


def _happy(log, answer, snapped, scored, felt, fewest: int, methods) -> Slide:
    """Are they happy: the change of the first instrument, and the snap."""
    kicker, snap = "Are they happy?", _snap(felt, snapped, fewest)
    notes = _noted(methods, "Share with a snap")
    if scored is None or scored.change is None or scored.pairs < fewest:
        silent = scored is None or scored.change is None
        title = answer.sentence if silent and (scored is None or scored.pairs >= fewest or scored.pairs == 0) else f"Whether they are happier cannot be shared: fewer than {fewest} patients answered both before and a year after."
        figure = _drawn(lambda shape: talk_figures.snap(felt, fewest, shape), snap) if felt.asked >= max(fewest, 1) else None
        return Slide(kicker, hidden(title, fewest), figure, snap, "One line from 0 to 100, before delivery and once a year, is enough to tell.", notes=notes)
    rise = scored.change.improvement
    form = scored.instrument
    title = f"Satisfaction {'rose' if rise >= 0 else 'fell'} by {words.number(abs(rise))} of {form.highest - form.lowest:g} points from before delivery to a year after."
    lost = scored.started - scored.pairs
    counts = f"{words.count(scored.pairs, 'patient')} answered both times" + (f", of {scored.started} who answered before" if not 0 < lost < fewest else "")
    caveat = f"{form.title}, {form.better} is better. Dots: all who answered then."
    means = scored.means[scored.means["people"] >= fewest]
    finding = f"{title} Mean by occasion: {words.listing([f'{row.occasion} {words.number(row.mean)}' for row in means.itertuples()])}."
    likely = f"Likely range {answer.likely}. " if answer.likely else ""
    return Slide(kicker, title, _drawn(lambda shape: talk_figures.satisfied(scored, fewest, shape), finding), f"{likely}{counts}.", f"{caveat} {snap}", notes=(answer.whole, "A mean change of a group does not mean that each patient had one.", "Those who did not answer may differ." if lost else "", *notes))


def _changes(todo, fewest: int) -> Slide:
    """What I will change: the tasks without whom they concern."""
    known = [(task, *CHANGES[task.key]) for task in todo if task.key in CHANGES]
    if not known:
        return Slide("What I will change", "Nothing is overdue: I will go on as before.", points=("Every recall is in time, every question was asked.",), notes=("The page in the clinic lists whom each count concerns.",))
    title = f"I will {words.listing([short for _, short, _ in known[:2]])}."
    counted = tuple((f"<{fewest}" if task.number < fewest else str(task.number), text) for task, _, text in known[:7])
    return Slide("What I will change", title, counted=counted, notes=("The page in the clinic lists whom each count concerns.", RULE.format(fewest)))


def _questions(log, lives, scored, felt, compared, fewest: int, methods) -> Slide:
    """What a room asks, with what the log can answer."""
    shared = [life for life in lives if life.patients >= fewest and life.patients_with_events >= fewest and not log.guard_of(life)]
    moved = [(life, life.silence(life.widest_silence)) for life in shared if life.widest_silence and not any(math.isnan(value) for value in life.silence(life.widest_silence))]
    if moved:
        life, (sound, nothing) = max(moved, key=lambda pair: abs(pair[1][0] - pair[1][1]))
        back = f"{saying(life).title}, at {words.span(life.widest_silence)}: {words.percent(sound)} if silence means sound, {words.percent(nothing)} if it means nothing."
    else:
        back = "The log holds too little to say how much silence could change."
    firm = strategy_words.of_comparison(compared, log.plan["report"]["level"])
    start = hidden(words.sentence(firm.whole), fewest)
    first = shared[0] if shared else None
    sure = (f"{saying(first).title}: {few(first.patients_with_events, fewest)} patients {saying(first).happened}. The likely ranges say how far chance alone could move an answer." if first and not 0 < first.patients - first.patients_with_events < fewest
            else "The likely ranges say how far chance alone could move an answer; they say nothing of what was not written down.")
    pairs = (("Which make of attachment is best?", "This log cannot tell. It describes one clinic's patients and ranks no device."), ("What of those who did not come back?", back),
             ("Should I start light?", start), ("How sure are you?", sure))  # fmt: skip
    return Slide("Spare slide", "Questions a room asks, and what this log answers", asked=pairs, notes=(*_noted(methods, "Minimum counts"), RULE.format(fewest)))
