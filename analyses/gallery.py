"""Every figure of every report on one page, each with the sentence it states and the function that draws it."""

from __future__ import annotations

from contextlib import nullcontext
from dataclasses import replace
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory

from outcomes.analyses import methods, who
from outcomes.analyses.cohort import read_log
from outcomes.present import words
from outcomes.present.content import Notice, Picture, Prose, Report, Section
from outcomes.present.folder import Asked, Folder, gathering

REPORTS = ("clinic_audit", "insert_longevity", "housing_longevity", "satisfaction", "strategy_comparison", "retention_changes")


def report(store, plan, out, progress=None) -> Path:
    """Write the gallery of ``store`` by ``plan`` into the folder ``out``; returns the path of its page."""
    step = progress.step if progress else nullcontext
    with step("Deriving part histories"):
        log = read_log(store.connection, plan)
    asked = {}
    for name in REPORTS:
        with step(f"Collecting the figures of {name}"):
            asked[name] = figures_of(name, store, plan)
    with step("Drawing figures"):
        folder = Folder(out)
        sections = [section(name, figures, folder) for name, figures in asked.items()]
    with step("Writing the page"):
        drawn = sum(isinstance(block, Picture) for one in sections for block in one.blocks)
        shown = {"answers": "Every figure", "skip": "Skip to the figures",
                 "no answers": f"{words.count(drawn, 'figure')} of {len(REPORTS)} reports, drawn from one log, each with the sentence it states and the function that draws it. Where the log holds too little for a figure, a sentence says so."}  # fmt: skip
        page = Report("Gallery of figures", who.closing(log), who.stamp(log), who.line(log), (), (), (), (), (), tuple([*sections, methods.plan(log)]),
                      who.notices(log), methods.CAUTIONS, made_with=methods.made_with(), front=(), shown=shown)  # fmt: skip
        return folder.finish(page, name="gallery", date=f"{log.closing:%Y-%m-%d}", inputs=who.inputs(store), revision=store.revision, plan=plan, seed=plan["report"]["seed"])


def figures_of(name: str, store, plan) -> list[Asked]:
    """What a report asks to be drawn, in its order; its page goes nowhere."""
    with gathering() as asked, TemporaryDirectory() as aside:
        import_module(f"outcomes.analyses.{name}").report(store, plan, Path(aside))
    return asked


def section(name: str, figures: list[Asked], folder: Folder) -> Section:
    """The figures of one report."""
    title = words.sentence(name.replace("_", " "))
    return Section(f"of-{name.replace('_', '-')}", title, (Prose((f"outcomes report {name}",)), *(_drawn(name, figure, folder) for figure in figures)))


def _drawn(name: str, figure: Asked, folder: Folder) -> Picture | Notice:
    drawers: set[str] = set()

    def draw(shape):
        sheet = figure.draw(shape)
        drawers.add(sheet.drawn_by)
        return sheet

    stem = f"{name}_{figure.stem}"
    picture = folder.picture(stem, draw, figure.finding, figure.caption, {f"{name}_{table}": frame for table, frame in figure.numbers.items()})
    if isinstance(picture, Notice):
        return Notice(f"{words.sentence(figure.stem.replace('_', ' '))}. {picture.text}")
    return replace(picture, caption=f"{figure.caption} Drawn by {words.listing(sorted(drawers))}.".strip())
