"""The clinic's audit: from the store to one page, and a talk, that answer how long parts last, what to do next, and how sure we are."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from outcomes.analyses import answers, certainty, clinicians, drawer, methods, next_steps, reporting, sections, six_outcomes, standards, standards_page, talk, upkeep_page, visits_calendar, who
from outcomes.analyses.cohort import read_log
from outcomes.analyses.people import satisfied, snap
from outcomes.analyses.retention import settling
from outcomes.analyses.upkeep import upkeep
from outcomes.present.content import Report, Section
from outcomes.present.folder import Folder


def report(store, plan, out, progress=None) -> Path:
    """Write the audit of ``store`` by ``plan`` into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Deriving part histories"):
        log = read_log(store.connection, plan)
    with step("Estimating"):
        lives = [log.lifetime(name) for name in plan["report"]["endpoints"]]
        settled, visits, felt, scored = settling(log), upkeep(log), snap(log), satisfied(log, next(iter(plan["instruments"])))
        level = plan["report"]["level"]
        said = [answers.of_lifetime(life, log.guard_of(life)) for life in lives]
        said += [answers.of_settling(settled, plan), answers.of_upkeep(visits, level), answers.of_snap(felt), answers.of_satisfied(scored, level)]
        found = standards.measured(log)
        verdicts = tuple(standards.said(one, level) for one in found)
        todo, made = next_steps.tasks(log), methods.methods(log, lives, settled, scored)
        compared = talk.light_or_firm(log, store.connection, plan)
    with step("Drawing figures"):
        folder = Folder(out)
        detail = [sections.of_lifetime(log, life, answer, folder) for life, answer in zip(lives, said)]
        detail += [sections.starting_level(settled, said[-4], plan, folder), upkeep_page.section(log, visits, said[-3], folder), sections.people(felt, scored, plan, folder)]
        detail += [sections.certain(log, lives, found, folder), standards_page.section(log, found, verdicts, folder), six_outcomes.section(log, folder), sections.who(log, who.stages(log), who.described(log), folder)]
        detail += [drawer.section(log, folder), visits_calendar.section(log, folder), clinicians.section(log, lives, folder)]
        detail += [Section("lists", "Lists for the clinic", next_steps.lists(todo)), made, reporting.section(log, lives, folder), methods.plan(log)]
    with step("Writing the talk"):
        folder.talk(talk.talk(log, lives, said, settled, felt, scored, todo, compared, made))
    with step("Writing the page"):
        page = Report(plan["audit"]["title"], who.closing(log), who.stamp(log), who.line(log), answers.front(said), next_steps.steps(todo), certainty.doubts(log, lives, settled, scored), verdicts,
                      who.boxes(log), tuple(detail), who.notices(log), methods.CAUTIONS, made_with=methods.made_with())  # fmt: skip
        folder.grid("answers", "Answers", *who.answer_table(said))
        return folder.finish(page, name="clinic_audit", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"], results=who.results(said))
