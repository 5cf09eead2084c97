"""A small report made by hand: invented numbers, every kind of block, for looking at and for the tests of the page."""

from __future__ import annotations

from functools import cache

import numpy as np
import pandas as pd

from outcomes.present import content
from outcomes.present.areas import Endings, answers_over_time, endings
from outcomes.present.canvas import PAGE, PHONE
from outcomes.present.counts import Counts
from outcomes.present.curves import Frame, Line, survival
from outcomes.present.flow import Stage, flow
from outcomes.present.people import Scores, scores

SNAP = {"far too loose": "signal", "a bit loose": "sand", "just right": "accent", "a bit firm": "plum", "far too firm": "ink"}


def counts(unit: str = "housings") -> Counts:
    return Counts(unit, 168, (0.0, 1.0, 2.0, 3.0, 4.0, 5.0), {"patients": (84, 80, 60, 41, 22, 9), "at risk": (168, 150, 120, 80, 42, 18),
                  "failed": (0, 6, 10, 14, 18, 20), "censored": (0, 12, 38, 74, 108, 130)}, ("patients",))  # fmt: skip


def line(label: str = "housings", power: float = 1.0) -> Line:
    times = np.linspace(0, 5, 41)
    share = np.exp(-0.11 * times) ** power
    steps = pd.DataFrame({"years": times, "share": share, "low": np.clip(share - 0.03 - 0.02 * times, 0, 1), "high": np.clip(share + 0.02 + 0.015 * times, 0, 1)})
    return Line(label, steps, counts(), {5: 5.0, 10: 4.6})


def boxes() -> Line:
    found = pd.DataFrame({"start": [0.1, 0.8, 1.5, 2.2, 3.4], "end": [0.5, 1.1, 2.1, 2.9, 4.4], "above": [1, 0.95, 0.9, 0.8, 0.7], "below": [0.95, 0.9, 0.8, 0.7, 0.6]})
    steps = pd.DataFrame({"years": [0.0, *found["end"], 5.0], "share": [1.0, *found["below"], 0.6]})
    flats = pd.DataFrame({"start": [0.0, *found["end"]], "end": [*found["start"], 5.0], "share": [1.0, *found["below"]]})
    band = pd.concat([pd.DataFrame({"years": [row.start, row.end], "low": row.share - 0.1, "high": min(row.share + 0.08, 1), "piece": row.Index}) for row in flats.itertuples()])
    table = Counts("inserts", 168, (0.0, 1.0, 2.0, 3.0, 4.0, 5.0), {"known sound": (168, 150, 120, 80, 42, 18), "failed": (0, 6, 10, 14, 18, 20),
                   "not known": (0, 6, 20, 44, 38, 30), "no longer checked": (0, 6, 18, 30, 70, 100)})  # fmt: skip
    return Line("inserts", steps, table, {5: 4.8, 10: 4.2}, found, band)


HOUSINGS = Frame("Housings still firmly in the denture", "84 patients, 168 housings. Shaded: likely range (95 %).", marks=((3, float(np.exp(-0.33)), "72 % at 3 years"),))
INSERTS = Frame("First inserts not seen worn", "84 patients, 168 first inserts. Boxes: worn at some time between two looks.", marks=((3, 0.7, "70 % at 3 years"),))
BECAME = Frame("What became of the first inserts", "84 patients, 168 first inserts")
FELT = Frame("How the snap felt", "In the patient's words, at visits since delivery")
SCORED = Frame("Satisfaction with the denture", "0 to 100, higher is better. Bars: likely range (95 %).")


def became() -> Endings:
    years = np.linspace(0, 5, 40)
    shares = pd.DataFrame({"years": years, "worn or lost": 0.3 * (1 - np.exp(-years / 3)), "changed on wish": 0.12 * (1 - np.exp(-years)), "changed with its pair": 0.1 * (1 - np.exp(-years / 3)),
                           "routine or other work": 0.004 * years, "denture or patient gone": 0.02 * years})  # fmt: skip
    colours = {"worn or lost": "signal", "changed on wish": "sand", "changed with its pair": "plum", "routine or other work": "slate", "denture or patient gone": "moss"}
    return Endings(shares, colours, counts("inserts"), {5: 4.9, 10: 4.0})


def said() -> pd.DataFrame:
    return pd.DataFrame({"occasion": ["first 3 months", "to 1 year", "to 2 years", "to 3 years"], "people": [80, 70, 50, 12], "far too loose": [2, 3, 5, 1], "a bit loose": [10, 12, 10, 2],
                         "just right": [50, 45, 30, 9], "a bit firm": [15, 8, 4, 0], "far too firm": [3, 2, 1, 0]})  # fmt: skip


def answered() -> Scores:
    chance = np.random.default_rng(2)
    own = pd.DataFrame({"before": chance.normal(45, 15, 70), "3 months": chance.normal(72, 12, 70), "12 months": chance.normal(76, 12, 70)}).clip(0, 100)
    own.loc[::5, "12 months"] = np.nan
    mean = own.mean().to_numpy()
    return Scores(own, pd.DataFrame({"occasion": list(own), "people": own.notna().sum().to_numpy(), "mean": mean, "low": mean - 4, "high": mean + 4}))


STAGES = [
    Stage("96 patients in the log", (("did not agree to audit", "2 patients"), ("no overdenture recorded", "1 patient"))),
    Stage("93 patients, 101 dentures, 202 first inserts", (("already in place, day not known", "14 inserts"), ("found failed on arrival", "2 inserts"))),
    Stage("84 patients, 168 first inserts followed"),
]

DRAWINGS = {
    "housings": lambda shape: survival([line()], HOUSINGS, shape),
    "inserts": lambda shape: survival([boxes()], INSERTS, shape),
    "levels": lambda shape: survival([line("light, 6.7 N", 1.6), line("medium, 12 N", 1.5), line("firm, 20 N", 1.0)], HOUSINGS, shape),
    "became": lambda shape: endings(became(), BECAME, shape),
    "snap": lambda shape: answers_over_time(said(), SNAP, FELT, shape),
    "satisfaction": lambda shape: scores(answered(), SCORED, shape),
    "flow": lambda shape: flow(STAGES, shape),
}


@cache
def picture(stem: str) -> content.Picture:
    from markupsafe import Markup

    draw = DRAWINGS[stem]
    return content.Picture(stem, f"The finding of {stem} in one sentence.", "What is drawn and in whom.", Markup(draw(PAGE).inline(stem)), Markup(draw(PHONE).inline(f"{stem}-narrow")), (f"{stem}.png", f"{stem}.svg"))


def report(answers: int = 7, rows: int = 6, hostile: str = "") -> content.Report:
    answer = content.Answer("first repair", "71 %", f"of dentures had needed no repair after 3 years.{hostile}", "60 to 80 % (95 %)", "84 patients, 91 dentures; 23 patients had a repair", "first-repair", (0.6, 0.71, 0.8), 0.71, 0.6, 0.8)
    points = content.Answer("satisfaction", "+31", "points of 100: how much satisfaction rose from before delivery to a year after.", "25 to 37 points", "56 patients answered both times", "first-repair", None, 31, 25, 37)
    worn = content.Answer("inserts worn", "52 to 74 %", "of first inserts hold after 3 years; the log cannot say it more closely, since many were changed for other reasons.", "45 to 80 %", "84 patients, 168 inserts", "first-repair", (0.45, float("nan"), 0.8), caution="depends on who came back")
    silent = content.Answer("nothing", "", "The log cannot say how long housings last: nobody has been followed for a year.", "", "3 patients", "first-repair")
    return content.Report(
        title="Audit of implant overdentures",
        closing="14 June 2025",
        stamp="In-clinic page, log up to 14 June 2025. Holds pseudonyms: not for sharing.",
        who="84 patients with 91 overdentures, delivered from 3 March 2020 to 2 June 2025.",
        answers=tuple([answer, worn, answer, answer, silent, answer, points][:answers]),
        next_steps=tuple(content.NextStep(str(12 - i), "recalls overdue by more than 60 days", "list-recalls") for i in range(rows)),
        doubts=tuple(content.Doubt("Inserts worn.", "Wear is found at visits: half of the failures lie in a gap of more than 5 months. If silence means sound the answer is 71 %, if it means nothing 62 %.") for _ in range(rows)),
        verdicts=tuple(content.Verdict("Housings stay bonded", "at least 90 % at 2 years", "94 %", "likely range 86 to 98 %", verdict, "36 patients without a failure would settle it." if verdict == "cannot tell" else "") for verdict in ("met", "not met", "cannot tell", "cannot tell")[:rows]),
        flow=(content.Box("96", "patients in the log", "2 did not agree, 1 without overdenture"), content.Box("93", "patients, 101 dentures", "16 inserts not followed from a known day"), content.Box("84", "patients, 168 first inserts followed")),
        sections=(
            content.Section("first-repair", "First repair of a denture", (content.Prose(("A paragraph that says what was found.", "Another one.")), picture("housings"), content.Facts((("Patients", "84"), ("Typical follow-up", "2.9 years"))),
                            content.Grid("Share without a repair", pd.DataFrame({"after": ["1 year", "2 years"], "share": ["89 %", "80 %"], "likely range": ["80 to 94 %", "70 to 88 %"]}), "first_repair.csv"))),
            content.Section("inserts", "Inserts", (picture("inserts"), picture("became"), content.Notice("The log lists failures but not the visits where nothing was wrong."))),
            content.Section("people", "What patients say", (picture("snap"), picture("satisfaction"))),
            content.Section("in-it", "Who is in it", (picture("flow"), picture("levels"))),
            content.Section("certainty", "How sure, in detail", (content.Prose(("What silence could do.",)),)),
            content.Section("lists", "Lists for the clinic", (content.Pseudonyms("Recalls overdue", "list-recalls", tuple((f"P{i:04d}", "last seen 3 March 2024") for i in range(14))),)),
            content.Section("methods", "Methods", (content.Prose(("Kaplan–Meier on the day found.",)), content.Listing('{\n  "audit": {}\n}', "The plan")), methods=True),
        ),
        cautions=("It describes one clinic's patients and ranks no device.",),
        made_with="outcomes 0.1.0",
    )  # fmt: skip
