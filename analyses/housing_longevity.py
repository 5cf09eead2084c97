"""How long housings stay in the denture and what goes with it: curves by factor, one figure of ratios, half were loose by."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path

from outcomes.analyses import answers, factors_models, factors_sections, talk, talk_report, wear_alike, wear_page, wear_shapes, who
from outcomes.analyses.cohort import read_log
from outcomes.present.folder import Folder

ENDPOINT, LOSS = "housing bond failure", "housing loss"


def report(store, plan, out, progress=None) -> Path:
    """Write the report on housings of ``store`` by ``plan`` into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Deriving part histories"):
        log = read_log(store.connection, plan)
        life, loss = log.lifetime(ENDPOINT), log.lifetime(LOSS)
    with step("Estimating"):
        every = [] if log.guard else factors_sections.every(log, life, plan["wear"]["housing_factors"])
        smooth = None if log.guard else wear_shapes.shapes(life)
        ratios, alike = factors_models.ratios(life, every), wear_alike.alike(life)
        main, lost = answers.of_lifetime(life, log.guard), answers.of_lifetime(loss, log.guard)
        said = [main, lost] if log.guard else [main, lost, wear_page.half_worn(life), wear_page.factors_answer(life, ratios), wear_page.alike_answer(life, alike)]
    with step("Drawing figures"):
        folder = Folder(out)
        detail = [wear_page.main(log, life, main, folder), wear_page.main(log, loss, lost, folder)]
        if not log.guard:
            detail += [wear_page.half(life, smooth, folder), wear_page.together(life, ratios, folder)]
            detail += [factors_sections.of_factor(groups, folder) for groups in every]
            detail += [*wear_page.estimands(life, folder), wear_page.alike_section(life, alike)]
        detail += [wear_page.who_section(log, life, folder), *wear_page.method_sections(log, life, smooth, ratios, alike, wear_page.tested(every, plan["wear"]["housing_primary"]), folder)]
    with step("Writing the talk"):
        folder.talk(talk_report.talk(log, "How long housings stay in the denture", "How long housings stay in the denture and what goes with it.", said, detail, folder, {main.name: talk.of_life(log, life, detail), lost.name: talk.of_life(log, loss, detail)}))
    with step("Writing the page"):
        page = wear_page.page(log, life, "How long housings stay in the denture", said, wear_page.doubts(log, life, smooth, ratios), detail)
        folder.grid("answers", "Answers", *who.answer_table(said))
        return folder.finish(page, name="housing_longevity", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"])
