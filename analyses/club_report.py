"""The study club's page: each clinic under a letter that only it knows, their mean, how much they differ, and nobody ranked."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace

import pandas as pd

from outcomes import satisfaction
from outcomes.analyses import club_words, methods
from outcomes.analyses.club_packet import EVERYBODY, GROUPS, NAMES
from outcomes.analyses.lifetimes import UNITS
from outcomes.analyses.sentences import saying
from outcomes.club import pooled
from outcomes.club.agree import letters, together
from outcomes.club.packet import HIDDEN_WORD, read
from outcomes.plan import Plan
from outcomes.present import words
from outcomes.present.clinics import Mean, Row, clinics
from outcomes.present.content import Answer, Grid, Listing, NextStep, Notice, Prose, Report, Section
from outcomes.present.curves import Frame
from outcomes.present.folder import Folder


def report(paths: list[Path], out: Path) -> Path:
    """Read the packets, refuse what cannot be taken together, and write the club's page into ``out``; returns its path."""
    given = [(path.name, read(path)) for path in paths]
    together(given)
    named = dict(sorted(zip(letters([one for _, one in given]), (one for _, one in given)), key=lambda pair: (len(pair[0]), pair[0])))
    asked = next(iter(named.values()))["questions"]
    level, horizons = asked["level"], [*asked["years"]["horizons"], asked["years"]["headline"]]
    folder, said, sections = Folder(out), [], []
    for name, declared in asked["endpoints"].items():
        life = SimpleNamespace(name=name, endpoint=declared, unit=declared["unit"], units=UNITS[declared["unit"]])
        times = pooled.times_told(named, name, horizons)
        found = {years: pooled.share_at(named, name, years, level) for years in times}
        said.append(_answer_of_share(saying(life), name, found, asked["years"]["headline"], named, level))
        sections.append(_section_of_share(saying(life), name, found, named, folder, level))
    visits, felt = pooled.rates(named, level), pooled.changes(named, level)
    form = next(iter(asked["instruments"]), "")
    said += [_answer_of_rate(visits, named, level), _answer_of_change(felt, form, named, level)]
    sections += [_section("upkeep", "Unplanned visits", "Unplanned visits per patient and year", visits, "rate", words.rate, "unplanned visits per patient and year", named, folder),
                 _section("satisfaction", "Satisfaction", f"{_title(form)}, points gained from before delivery to a year after", felt, "points", _points, "points gained, more is better", named, folder)]  # fmt: skip
    sections += [_mix(named, folder), _letters(named, folder), Section("methods", "Methods", (Prose(club_words.methods(level)), Listing(Plan(asked).text, "The questions that all packets share")), methods=True)]
    steps = (NextStep(str(len(named)), "letters: a clinic finds its own by the sign it was given when it shared.", "letters"),
             NextStep("0", "rows of patients were seen: the clinics sent totals only."))  # fmt: skip
    people, hidden = _people(named.values())
    page = Report("Study club", _closes(named), "For the members of the club. Totals only; no clinic is named and none is ranked.",
                  f"{words.count(len(named), 'clinic')}, about {words.count(people, 'patient')} with overdentures{hidden}; logs up to {_closes(named)}.", tuple(said[:7]), steps, (), (), (), tuple(sections),
                  notices=_notices(named), cautions=club_words.CAUTIONS, made_with=methods.made_with(), front=("next",), shown={"answers": "Answers of the club", "skip": "Skip to the answers", "next": "Who is in it"})  # fmt: skip
    inputs = [{"name": f"packet {letter}", "sha256": packet["checksum"]} for letter, packet in named.items()]
    return folder.finish(page, name="study_club", date=_closes(named), inputs=inputs, revision="totals only", plan=Plan(asked), seed=0, results=_results(said))


def _results(said) -> dict:
    return {one.name: {"shown": one.number, "value": one.value, "low": one.low, "high": one.high} for one in said}


# ---------------------------------------------------------------- answers

def _best(found: dict, headline: float):
    """The time with most clinics in the mean; of equal ones the nearest to the plan's headline, then the earlier."""
    known = [years for years in found if found[years].mean is not None]
    return min(known, key=lambda years: (-found[years].pooled.clinics, abs(years - headline), years), default=None)


def _answer_of_share(say, name: str, found: dict, headline: float, named: dict, level: float) -> Answer:
    years = _best(found, headline)
    if years is None:
        most, word = max((len(one.own) for one in found.values()), default=0), "clinic"
        return Answer(name, "", f"The packets cannot say how many {say.share.removeprefix('of ')}: it takes three clinics that tell it at the same time, and {'none does' if not most else f'{words.count(most, word)} did at best' if most < 3 else 'too few tell an error'}.", "", words.count(len(named), "clinic"), _anchor(name))
    one = found[years]
    value, low, high = one.mean
    text = f"{say.share} {words.span(years)} after {say.since}, in the mean of {words.count(one.pooled.clinics, 'clinic')}."
    return Answer(name, words.percent(value), text, f"{words.percent_range(low, high)} ({words.percent(level)})", _counts(one, named), _anchor(name), (low, value, high), value, low, high, _caution(one))


def _answer_of_rate(one, named: dict, level: float) -> Answer:
    if one.mean is None:
        return Answer("unplanned visits", "", "The packets cannot say how many unplanned visits to expect: it takes three clinics that tell it.", "", words.count(len(one.own), "clinic") + " told it", "about-upkeep")
    value, low, high = one.mean
    return Answer("unplanned visits", words.rate(value), f"unplanned visits per patient and year, in the mean of {words.count(one.pooled.clinics, 'clinic')}.", f"{words.rate_range(low, high)} ({words.percent(level)})", _counts(one, named), "about-upkeep", None, value, low, high)


def _answer_of_change(one, form: str, named: dict, level: float) -> Answer:
    if one.mean is None:
        return Answer("satisfaction", "", "The packets cannot say how satisfaction changed: it takes three clinics that tell it.", "", words.count(len(one.own), "clinic") + " told it", "about-satisfaction")
    value, low, high = one.mean
    text = f"points on the {_title(form).lower()}, from before delivery to a year after, in the mean of {words.count(one.pooled.clinics, 'clinic')}: patients were {'more' if value >= 0 else 'less'} satisfied."
    return Answer("satisfaction", _points(value), text, f"{words.number(low)} to {words.number(high)} points ({words.percent(level)})", _counts(one, named), "about-satisfaction", None, value, low, high)


def _counts(one, named: dict) -> str:
    people, hidden = _people(named[own.letter] for own in one.own if math.isfinite(own.low))
    home = f"; {words.count(len(one.home), 'clinic')} kept it at home" if one.home else ""
    return f"{words.count(one.pooled.clinics, 'clinic')} with about {words.count(people, 'patient')}{hidden}{home}"


def _caution(one) -> str:
    return f"leaves out {words.count(one.without, 'clinic')} where nobody had it, so it is too low" if one.without else ""


def _people(packets) -> tuple[int, str]:
    shown = [packet["people"].get(EVERYBODY, HIDDEN_WORD) for packet in packets]
    total = sum(count for count in shown if count != HIDDEN_WORD)
    hidden = sum(count == HIDDEN_WORD for count in shown)
    return total, f" and {words.count(hidden, 'clinic')} that do not say" if hidden else ""


def _anchor(name: str) -> str:
    return "about-" + "".join(letter if letter.isalnum() else "-" for letter in name.lower())


def _title(form: str) -> str:
    return satisfaction.instrument(form).title if form in satisfaction.instruments() else "Satisfaction"


def _points(value: float) -> str:
    return ("+" if value > 0 else "") + words.number(value)


def _closes(named: dict) -> str:
    first, last = min(packet["closes"] for packet in named.values()), max(packet["closes"] for packet in named.values())
    return last if first == last else f"{first} to {last}"


def _notices(named: dict) -> tuple[str, ...]:
    return () if len(named) >= pooled.FEWEST else (f"{words.count(len(named), 'clinic')} only: a mean over clinics is given from three on, and with two each clinic knows the other's figure.",)


# ---------------------------------------------------------------- sections

def _section_of_share(say, name: str, found: dict, named: dict, folder: Folder, level: float) -> Section:
    blocks = []
    if not found:
        blocks.append(Notice("No clinic tells it at one of the plan's years: in each too few patients had it, or too few were followed."))
    for years, one in found.items():
        stem = f"club_{_anchor(name)[6:].replace('-', '_')}_{years:g}".replace(".", "_")
        blocks += _blocks(stem, f"{say.title}, {words.span(years)} after {say.since}", one, "share", words.percent, f"share still working {words.span(years)} after {say.since}", named, folder)
    return Section(_anchor(name), say.name, tuple(blocks))


def _section(anchor: str, title: str, what: str, one, kind: str, said, axis: str, named: dict, folder: Folder) -> Section:
    return Section(f"about-{anchor}", title, tuple(_blocks(f"club_{anchor}", what, one, kind, said, axis, named, folder)))


def _blocks(stem: str, title: str, one, kind: str, said, axis: str, named: dict, folder: Folder) -> list:
    if not one.own:
        return [Notice(f"{title}: no clinic tells it.")]
    rows = [Row(own.letter, own.value, own.low, own.high, said(own.value)) for own in one.own]
    mean = None if one.mean is None else Mean(*one.mean, said(one.mean[0]), *one.other)
    exact = pd.DataFrame([{"clinic": own.letter, "value": own.value, "low": own.low, "high": own.high} for own in one.own]
                         + ([{"clinic": "all clinics", "value": one.mean[0], "low": one.mean[1], "high": one.mean[2]}] if mean else [])
                         + ([{"clinic": "another clinic", "value": math.nan, "low": one.other[0], "high": one.other[1]}] if mean and math.isfinite(one.other[0]) else []))  # fmt: skip
    shown = pd.DataFrame([{"clinic": row.letter, "patients, about": str(named[row.letter]["people"].get(EVERYBODY, HIDDEN_WORD)), "value": row.said, "likely range": club_words.reach(row.low, row.high, said)} for row in rows])
    finding = f"{title}: {club_words.spread(one, said)}"
    frame = Frame(title, f"{words.count(len(rows), 'clinic')}, in an order drawn by lot", axis=axis)
    picture = folder.picture(stem, lambda shape: clinics(rows, mean, kind, frame, shape), finding, "Dots: clinics with their likely ranges. Below the line: the mean of all clinics, and where another such clinic would likely lie.", {stem: exact})
    return [picture, Grid("Each clinic", shown), Prose(club_words.reading(one, said))]


def _mix(named: dict, folder: Folder) -> Section:
    """Who fits whom: the clinics' patients side by side, in rounded counts."""
    blocks = [Prose(club_words.MIX)]
    for group in GROUPS:
        frame = pd.DataFrame([{"clinic": letter, **{name: str(packet["people"].get(name, HIDDEN_WORD)) for name in NAMES[group]}} for letter, packet in named.items()])
        blocks.append(folder.grid(f"patients_by_{group.replace(' ', '_')}", f"Patients by {group}, as the clinics show them", frame))
    return Section("mix", "Who fits whom", tuple(blocks))


def _letters(named: dict, folder: Folder) -> Section:
    frame = pd.DataFrame(sorted(({"sign": packet["sign"], "letter": letter} for letter, packet in named.items()), key=lambda row: row["sign"]))
    return Section("letters", "Which letter is mine?", (Prose(("Each clinic was told a sign when it made its packet. Nobody else has it but the organiser who received the packets.",)), folder.grid("letters", "Letters by sign", frame)))
