"""Where people settle in retention, and what they say after their level was changed."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from outcomes.analyses import answers, methods, talk, talk_report, who
from outcomes.analyses import retention_sections as parts
from outcomes.analyses.cohort import read_log
from outcomes.analyses.levels_paths import paths
from outcomes.analyses.retention import settling
from outcomes.analyses.retention_steps import DOWN, UP, felt, steps
from outcomes.present.content import Report
from outcomes.present.folder import Folder

SHOWN = {"no next": "Every patient whose level was changed lately has been asked how the snap feels."}


def report(store, plan, out, progress=None) -> Path:
    """Write the report on changes of level into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Deriving part histories"):
        log = read_log(store.connection, plan)
    with step("Following levels"):
        moved, settled, changed = paths(log), settling(log), steps(log)
        scored = felt(log, changed)
        said = [answers.of_settling(settled, plan), parts.of_stepping(settled, UP, plan), parts.of_stepping(settled, DOWN, plan), parts.of_levels(moved, plan), *parts.of_words(changed, plan), parts.of_felt(scored)]
    with step("Drawing figures"):
        folder = Folder(out)
        detail = (parts.levels(moved, plan, folder), parts.staying(settled, said[0], moved, plan, folder), parts.snap(changed, plan, folder), parts.satisfied(scored, plan, folder), parts.methods(scored, plan), methods.plan(log))
    with step("Writing the talk"):
        folder.talk(talk_report.talk(log, "Changes of retention level", "Where people settle in retention, and what they say after their level was changed.", said, detail, folder, {said[0].name: talk.of_settling(settled, said[0], plan)}))
    with step("Writing the page"):
        page = Report("Changes of retention level", who.closing(log), who.stamp(log), who.line(log), tuple(said), parts.todo(log, changed), parts.doubts(log, moved, changed, scored), (), parts.boxes(log, moved), detail,
                      who.notices(log), methods.CAUTIONS, made_with=methods.made_with(), front=("next", "sure", "who"), shown=SHOWN)  # fmt: skip
        folder.grid("answers", "Answers", *who.answer_table(said))
        return folder.finish(page, name="retention_changes", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"])
