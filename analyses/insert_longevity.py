"""How long inserts last and what goes with it: curves by factor, one figure of ratios, half were worn by, first against later."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from outcomes.analyses import answers, factors_models, factors_sections, talk, talk_report, wear_alike, wear_page, wear_sections, wear_serial, wear_shapes, who
from outcomes.analyses.cohort import read_log
from outcomes.present.folder import Folder

ENDPOINT = "insert worn"


def report(store, plan, out, progress=None) -> Path:
    """Write the report on inserts of ``store`` by ``plan`` into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Deriving part histories"):
        log = read_log(store.connection, plan)
        life = log.lifetime(ENDPOINT)
    with step("Estimating"):
        every = [] if log.guard else factors_sections.every(log, life, plan["wear"]["insert_factors"])
        smooth = None if log.guard else wear_shapes.shapes(life)
        ratios, alike, stays = factors_models.ratios(life, every), wear_alike.alike(life), wear_serial.stays(log)
        main = answers.of_lifetime(life, log.guard)
        said = [main] if log.guard else [main, wear_page.half_worn(life), wear_page.factors_answer(life, ratios), wear_sections.later_answer(stays), wear_page.alike_answer(life, alike)]
    with step("Drawing figures"):
        folder = Folder(out)
        detail = [wear_page.main(log, life, main, folder)]
        if not log.guard:
            detail += [wear_page.half(life, smooth, folder), wear_page.together(life, ratios, folder)]
            detail += [factors_sections.of_factor(groups, folder) for groups in every]
            detail += [wear_sections.three_ways(log, folder), wear_sections.first_and_later(stays, folder), *wear_page.estimands(life, folder), wear_page.alike_section(life, alike)]
        detail += [wear_page.who_section(log, life, folder), *wear_page.method_sections(log, life, smooth, ratios, alike, wear_page.tested(every, plan["wear"]["insert_primary"]), folder, wear_sections.METHODS)]
    with step("Writing the talk"):
        folder.talk(talk_report.talk(log, "How long inserts last", "How long inserts last and what goes with it.", said, detail, folder, {main.name: talk.of_life(log, life, detail)}))
    with step("Writing the page"):
        page = wear_page.page(log, life, "How long inserts last", said, wear_page.doubts(log, life, smooth, ratios), detail)
        folder.grid("answers", "Answers", *who.answer_table(said))
        return folder.finish(page, name="insert_longevity", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"])
