"""What patients say, over time: how satisfied they are before and after, in how many it changed, whether it lasts, who answered."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from outcomes.analyses import methods, next_steps, satisfaction_front, satisfaction_scores, satisfaction_sections, satisfaction_who, talk_report, who
from outcomes.analyses.cohort import read_log
from outcomes.analyses.people import snap
from outcomes.present.content import Report, Section
from outcomes.present.folder import Folder


def report(store, plan, out, progress=None) -> Path:
    """Write the report on what patients say from ``store`` by ``plan`` into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Reading answers"):
        log = read_log(store.connection, plan)
        every, felt, changed = satisfaction_scores.asked(log), snap(log), satisfaction_scores.changed_forms(log)
    with step("Estimating"):
        said = satisfaction_front.said(every, felt)
        doubts = satisfaction_front.doubts(log, every, changed)
        todo = [task for task in next_steps.tasks(log) if task.key in satisfaction_who.TASKS]
    with step("Drawing figures"):
        folder = Folder(out)
        detail = [satisfaction_sections.of_asked(one, folder) for one in every]
        detail += [satisfaction_sections.snap(felt, folder), satisfaction_who.section(log, every, folder)]
        detail += [Section("lists", "Lists for the clinic", next_steps.lists(todo)), satisfaction_sections.methods(log, every), methods.plan(log)]
    with step("Writing the talk"):
        folder.talk(talk_report.talk(log, "What patients say, over time", "How satisfied patients are before and after, in how many it changed, and whether it lasts.", said, detail, folder))
    with step("Writing the page"):
        page = Report("What patients say, over time", who.closing(log), who.stamp(log), who.line(log), tuple(said), next_steps.steps(todo), doubts, (), satisfaction_who.boxes(log, every), tuple(detail),
                      (), methods.CAUTIONS, made_with=methods.made_with(), front=("next", "sure", "who"))  # fmt: skip
        folder.grid("answers", "Answers", *who.answer_table(said))
        return folder.finish(page, name="satisfaction", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"])
