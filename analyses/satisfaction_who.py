"""Who answered: from everybody in the log to those with an answer before and after."""

from __future__ import annotations

from outcomes.analyses.satisfaction_scores import MOUTH, YEAR_ONE, Asked, deliveries
from outcomes.present import words
from outcomes.present.content import Box, Section
from outcomes.present.flow import Stage, flow

TASKS = ("unanswered", "never-answered", "not-asked", "snap-off")


def stages(log, every: list[Asked]) -> list[Stage]:
    """The log, those who may be audited, those whose denture was delivered in it, those who answered before and a year after."""
    start = deliveries(log, MOUTH)
    without = log.everybody - log.no_consent - len(start)
    out = [Stage(f"{words.count(log.everybody, 'patient')} in the log", ((("did not agree to audit", words.count(log.no_consent, "patient")),) if log.no_consent else ())),
           Stage(f"{words.count(log.everybody - log.no_consent, 'patient')} who may be audited", ((("denture in use before the log, or none", words.count(without, "patient")),) if without else ())),
           Stage(f"{words.count(len(start), 'patient')} with a denture delivered while the log ran")]  # fmt: skip
    if not every:
        return out
    one = every[0]
    people = int(one.pairs.loc[(one.pairs["window"] == YEAR_ONE) & one.pairs["after"].notna(), "patient"].nunique())
    return [*out, Stage(f"{words.count(one.started, 'patient')} with a score before ({one.title[:1].lower()}{one.title[1:]})"), Stage(f"{words.count(people, 'patient')} with one a year after as well")]


def boxes(log, every: list[Asked]) -> tuple[Box, ...]:
    """The same in small."""
    shown = []
    for stage in stages(log, every):
        number, _, text = stage.text.partition(" ")
        out = ", ".join(f"{amount} {reason}" for reason, amount in stage.left_out)
        shown.append(Box(number, text, f"left out: {out}" if out else ""))
    return tuple(shown)


def section(log, every: list[Asked], folder) -> Section:
    """The flow diagram."""
    steps = stages(log, every)
    return Section("about-who", "Who is in it", (folder.picture("who_is_in_it", lambda shape: flow(steps, shape), f"{steps[0].text}; {steps[-1].text}.", "Beside the arrows: who was left out, and why."),))
