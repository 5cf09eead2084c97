"""Is starting light wise: two ways to start compared as a trial would, or a plain sentence why the log cannot."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from outcomes.analyses import methods, strategy_sections, strategy_words, talk_report, who
from outcomes.analyses.cohort import read_log
from outcomes.analyses.levels_paths import paths
from outcomes.analyses.retention import settling
from outcomes.analyses.strategy_conversions import conversions
from outcomes.analyses.strategy_one import one_way
from outcomes.analyses.strategy_patients import ATTACHMENT, LEVEL, PICK_UP, started
from outcomes.analyses.strategy_trial import compare
from outcomes.present.content import Report
from outcomes.present.folder import Folder

SHOWN = {"next": "What a comparison would take", "no next": "Nothing: there are enough patients each way.", "standards": "Is light against firmer a fair comparison?", "no standards": "There is nobody to compare."}


def report(store, plan, out, progress=None) -> Path:
    """Write the comparison of ways to start into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Deriving part histories"):
        log = read_log(store.connection, plan)
    with step("Comparing"):
        start, moved = started(log, store.connection), paths(log)
        found = [compare(question, log, store.connection, start, moved, plan) for question in (LEVEL, ATTACHMENT, PICK_UP)]
        level, arm = found[0], 0 if found[0].patients[0] >= found[0].patients[1] else 1
        alone = one_way(log, level.care, level.rows["other"].to_numpy(bool) == bool(arm), settling(log), plan)
        converted = conversions(log)
        own = strategy_words.of_one_way(alone, LEVEL.arms[arm], plan)
        said = [strategy_words.of_comparison(level, plan["report"]["level"]), *own, *(strategy_words.of_comparison(one, plan["report"]["level"]) for one in found[1:])]
    with step("Drawing figures"):
        folder = Folder(out)
        detail = [strategy_sections.of_question(level, plan, folder), strategy_sections.of_one_way(alone, LEVEL.arms[arm], own, plan, folder)]
        detail += [strategy_sections.of_question(one, plan, folder) for one in found[1:]]
        detail += [strategy_sections.of_conversions(converted, folder), strategy_sections.methods(found, plan), methods.plan(log)]
    with step("Writing the talk"):
        folder.talk(talk_report.talk(log, "Ways to start", "Whether one way to start is better than another, as far as this log can say.", said, detail, folder))
    with step("Writing the page"):
        page = Report("Ways to start", who.closing(log), who.stamp(log), who.line(log), tuple(said), strategy_words.steps(found, plan), strategy_words.doubts(found, alone, plan), strategy_words.verdicts(level),
                      strategy_words.boxes(log, start, level), tuple(detail), who.notices(log), methods.CAUTIONS, made_with=methods.made_with(), shown=SHOWN)  # fmt: skip
        folder.grid("answers", "Answers", *who.answer_table(said))
        return folder.finish(page, name="strategy_comparison", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"])
