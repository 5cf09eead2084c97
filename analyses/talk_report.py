"""The talk of any report: a slide for each answer that may leave the clinic, with its section's figure; what the log cannot say; the cautions."""

from __future__ import annotations

import math
import re
from dataclasses import replace

from outcomes.analyses import who
from outcomes.analyses.methods import CAUTIONS
from outcomes.analyses.talk_words import split
from outcomes.present import words
from outcomes.present.content import Answer, Picture
from outcomes.present.curves import CannotDraw
from outcomes.present.hiding import hidden
from outcomes.present.talk import FIGURE, Figure, Slide, Talk
from outcomes.present.talk_figures import ranged

RULE = "Counts of fewer than {} patients are hidden, and no pseudonym leaves the clinic."
MOST_SILENT = 4
LEAST_ROOM = 60.0  # points: a lower curve cannot be read from the back of a room
UNSHARED = "too few patients to share a number."


def talk(log, title: str, about: str, said, sections, folder, own: dict[str, Slide] | None = None) -> Talk:
    """The deck of a report. ``about``: what it answers, in a sentence; ``sections``: its page's, whose figures are drawn again for the
    room; ``own``: slides that a report makes itself, by the name of the answer they stand for."""
    fewest = log.plan["sharing"]["minimum_patients"]
    people = int(log.dentures["patient_id"].nunique())
    made = next((one.blocks[0].paragraphs for one in sections if one.anchor == "methods" and one.blocks), ())
    closing = f"Log up to {who.closing(log)}." if log.everybody else "The log is empty."
    enough = people >= max(fewest, 1)
    alone: tuple[str, ...] = ()
    slides = [Slide("", title, points=(f"{about} {closing}", hidden(who.line(log), fewest) if enough else "", RULE.format(fewest)), notes=(*made[:1], RULE.format(fewest)), first=True)]
    if not enough:
        slides.append(too_few(fewest, made[:1]))
    else:
        shown = _shown(said, sections, folder, fewest, own or {}, made)
        silent = [one.sentence for one in said if not one.number and one.name not in (own or {})]
        silent += [_unshared(one, fewest) for one in said if one.number and one.name not in (own or {}) and not may_leave(one, fewest)]
        slides += [*shown, *([_silent(silent, fewest)] if len(silent) > 1 else [])]
        alone = tuple(_sentence(one, fewest) for one in silent) if len(silent) == 1 else ()  # one sentence is no slide
    slides.append(Slide("Before you quote this", "This is one clinic's log: it shows what happened, not what causes it.", points=(*alone, *CAUTIONS), notes=(RULE.format(fewest),)))
    return Talk(title, log.closing, tuple(slides))


def too_few(fewest: int, notes=()) -> Slide:
    """What a deck says of a log from which anybody could be recognised."""
    return Slide("Who is in it", f"This log cannot be shared yet: it takes {words.count(fewest, 'patient')} with an overdenture.", points=("With fewer people anybody could be recognised, so no number is shown.", "The page in the clinic shows what there is."), notes=tuple(notes))


def _shown(said, sections, folder, fewest: int, own: dict[str, Slide], made) -> list[Slide]:
    """A slide for each answer that says something; the first of a section has its figure, the others their number on a line."""
    slides, seen = [], set()
    for answer in said:
        if answer.name in own:
            slides.append(own[answer.name])
            seen.add(answer.anchor)
        elif answer.number and may_leave(answer, fewest):
            section = next((one for one in sections if one.anchor == answer.anchor), None)
            figure, caption = _figure(section, folder, fewest) if answer.anchor not in seen else (None, "")
            seen.add(answer.anchor)
            slides.append(_slide(answer, section.title if section else words.sentence(answer.name), figure, caption, fewest, made))
    return slides


def _slide(answer: Answer, kicker: str, figure: Figure | None, caption: str, fewest: int, made) -> Slide:
    title, rest = split(hidden(words.sentence(answer.whole), fewest))
    likely = f"Likely range {answer.likely}. " if answer.likely else ""
    if figure is None and (line := _line(answer)) is not None:
        figure, likely = line, ""
    caution = words.sentence(answer.caution) + "." if answer.caution else ""
    return Slide(kicker, title, figure, f"{likely}{hidden(f'{answer.counts}.', fewest) if answer.counts else ''}".strip(), f"{rest} {caution}".strip() or caption, notes=(hidden(answer.whole, fewest), *made))


def _figure(section, folder, fewest: int) -> tuple[Figure | None, str]:
    """The section's first figure that can be drawn for a room, and its caption."""
    for block in section.blocks if section else ():
        asked = folder.asked.get(block.stem) if isinstance(block, Picture) else None
        if asked is None:
            continue
        draw = _for_room(asked.draw, fewest)
        try:
            sheet = draw(FIGURE)
        except CannotDraw:
            continue
        cramped = any(axes.get_position().height * sheet.height < LEAST_ROOM for axes in sheet.figure.axes[:1])
        if cramped or sheet.height > FIGURE.height * 72 + 0.1:
            continue
        return Figure(draw, hidden(asked.finding, fewest)), _caption(hidden(asked.caption, fewest))
    return None, ""


def _caption(text: str) -> str:
    """A figure's caption without what a slide does not show: marks and rows that only the page has."""
    return " ".join(part for part in re.split(r"(?<=[.?!]) ", text) if not re.search(r"own line|ring marks|Below|bars give people|Shaded", part))


def _line(answer: Answer) -> Figure | None:
    """The number on a line with its likely range; None where it has none."""
    low, value, high = answer.bar or (answer.low, answer.value, answer.high)
    if low is None or high is None or not math.isfinite(low) or not math.isfinite(high):
        return None
    share = answer.bar is not None
    if not share and re.match(r"\D*(\d+)\b", answer.number) and value and abs(value) < 1 and "per 100" in answer.sentence:
        low, value, high = (100 * part for part in (low, value, high))  # said of a hundred patients
    at = math.nan if value is None else value
    return Figure(lambda shape: ranged(low, at, high, answer.number, f"likely range {answer.likely}" if answer.likely else "", shape, share), words.sentence(answer.whole))


def _for_room(draw, fewest: int):
    return lambda shape: draw(replace(shape, stop_at=max(shape.stop_at, fewest)))


def may_leave(answer: Answer, fewest: int) -> bool:
    """Whether an answer rests on enough people: of those counted, of those it happened to, and of the rest.

    >>> from outcomes.present.content import Answer
    >>> of = lambda number, counts, value=None: may_leave(Answer("one", number, "of patients.", "", counts, "", (0, value, 1) if value else None, value), 10)
    >>> of("40 %", "59 patients who started light; 55 asked", 0.4), of("8 %", "25 patients asked both times, of 36 stepped up", 0.08), of("96 %", "84 patients, 231 housings; 9 patients had one come loose", 0.96)
    (True, False, False)
    """
    counts = answer.counts.replace(words.SPACE, "")
    patients = [int(found) for found in re.findall(r"(\d+) patients?", counts)]
    based = [int(found) for found in re.findall(r"(\d+) (?:patients )?(?:asked|answered)|of (\d+) who answered", counts) for found in found if found]
    pair = re.match(r"(\d+) of (\d+)", answer.number)
    if "too few" in answer.counts or any(0 < number < fewest for number in (*patients, *based)):
        return False
    if pair and "factors" not in answer.sentence:
        part, whole = int(pair[1]), int(pair[2])
        return whole >= fewest and not 0 < part < fewest and not 0 < whole - part < fewest
    people = min([*patients[:1], *based], default=0)
    if people < fewest:
        return False
    if answer.bar is not None and answer.value is not None:
        part = answer.value * people
        return not any(0 < number < fewest - 0.5 for number in (part, people - part))
    return not any(0 < people - number < fewest for number in patients[1:])


def _unshared(answer: Answer, fewest: int) -> str:
    """What is said instead of a number of few people."""
    if re.match(r"\d+ of \d+ ", f"{answer.number} ") and int(answer.number.split(" of ")[1]) >= fewest:
        return answer.whole
    return f"{ASKED.get(answer.name, words.sentence(answer.name))}: {UNSHARED}"


ASKED = {"alike": "How alike parts in one mouth are", "improved": "How many improved", "does it last": "Whether it lasts", "too firm": "Whether the new level is too firm", "step down": "Stepping down", "satisfaction": "Satisfaction after a change of level"}


def _silent(silent, fewest: int) -> Slide:
    """What the log cannot say yet, in one place."""
    said = [_sentence(one, fewest) for one in silent]
    return Slide("What this log cannot say", f"{words.sentence(NUMBERS.get(len(said), str(len(said))))} questions this log cannot answer yet.", points=tuple(said[:MOST_SILENT]))


def _sentence(silent: str, fewest: int) -> str:
    return hidden(words.sentence(silent.rstrip(".") + "."), fewest)


NUMBERS = {2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven"}
