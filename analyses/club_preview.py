"""Every number that a packet holds on one page, for the clinician to read before it leaves: what is told, what is hidden and why."""

from __future__ import annotations

import json

import pandas as pd

from outcomes.analyses import methods
from outcomes.analyses.club_packet import Made, hidden_by_reason
from outcomes.club.hiding import FEW, LATER, PROTECTS
from outcomes.club.packet import HIDDEN_WORD
from outcomes.present import page, words
from outcomes.present.content import Answer, Facts, Grid, Listing, NextStep, Prose, Report, Section

CAUTIONS = (
    "The packet holds totals only: no pseudonym, no day, no clinician's code, no file name, and nothing about a single patient.",
    "Numbers can still be put beside other knowledge: pass the packet to the organiser of the study club and to nobody else, as your local rules on patient data allow.",
    *methods.CAUTIONS,
)


def preview(made: Made, packet_name: str, before: int) -> str:
    """The page as HTML text; ``before``: how many packets were shared earlier."""
    packet, hidden = made.packet, hidden_by_reason(made)
    told = [label for label, count in packet["people"].items() if count != HIDDEN_WORD]
    points = sum(len(one["curve"]) for one in packet["endpoints"])
    more = sum(packet[part]["withheld"] == "" for part in ("upkeep", "satisfaction"))
    said = [Answer("counts", str(len(told)), "counts of people leave the clinic" + (f", each rounded to the nearest {made.rule.round_to}." if made.rule.round_to > 1 else ", as they are."), "", f"rule: {made.rule.words}", "counts"),
            Answer("hidden", str(len(made.reasons)), "counts stay hidden." if made.reasons else "counts needed hiding.", "", _why(hidden), "counts"),
            Answer("estimates", str(points + more), "estimates leave, each with its error.", "", _stay(packet), "estimates")]  # fmt: skip
    steps = [NextStep("1", "Read the tables below: nothing else of your patients is in the packet.", "counts"),
             NextStep("2", f"Send {packet_name} to the organiser of your club. This page stays here."),
             NextStep("3", f"Keep your sign, {packet['sign']}: in the club's report it stands beside the letter that is yours.")]  # fmt: skip
    if before:
        steps.append(NextStep(str(before), f"earlier {'packet was' if before == 1 else 'packets were'} taken into account, so that no difference between them gives few people away."))
    sections = (
        Section("estimates", "Estimates that leave", (Grid("Shares still working", _curves(packet)), Grid("Visits and satisfaction", _others(packet)), *_home(packet), Prose((
            "An error is the standard error by patient: of log(−log share) for shares, of the log rate for visits, in points for satisfaction. A share is told only at the end of a quarter year, only where at least "
            f"{made.rule.stop_at} patients are still followed, and only where nobody or at least {made.rule.minimum} patients had the event since the time told before.",)))),
        Section("counts", "Counts of people", (Grid("Every count, as it leaves", _people(made)),)),
        Section("settings", "Everything else that leaves", (Facts(_facts(packet)), Listing(json.dumps({key: packet[key] for key in ("questions", "codebook", "sharing")}, indent=1, sort_keys=True, ensure_ascii=False), "What the plan asks, the declarations, and the sharing rule")), methods=True),
    )  # fmt: skip
    report = Report(f"What leaves with {packet_name}", packet["closes"], "Preview for the clinic: read it before you send the packet.", f"Totals up to {packet['closes']}, by the rule that {made.rule.words}.", tuple(said), tuple(steps), (), (), (), sections,
                    cautions=CAUTIONS, made_with=methods.made_with(), front=("next",), shown={"answers": "What leaves", "skip": "Skip to what leaves", "next": "Before you send it"})  # fmt: skip
    return page.render(report)


def _why(hidden) -> str:
    said = {FEW: "of few people", LATER: "too close to an earlier packet", PROTECTS: "that would give one of those back"}
    return words.listing([f"{hidden[reason]} {text}" for reason, text in said.items() if hidden[reason]])


def _stay(packet: dict) -> str:
    home = [one["name"] for one in packet["endpoints"] if one["withheld"]] + [part for part in ("upkeep", "satisfaction") if packet[part]["withheld"]]
    return f"kept at home: {words.listing(home)}" if home else "nothing is kept at home"


def _home(packet: dict) -> tuple[Facts, ...]:
    """Estimates that stay at home, each with its reason."""
    kept = [(one["name"], f"stays at home: {one['withheld']}") for one in (*packet["endpoints"], {"name": "unplanned visits", **packet["upkeep"]}, {"name": "satisfaction", **packet["satisfaction"]}) if one["withheld"]]
    return (Facts(tuple(kept)),) if kept else ()


def _curves(packet: dict) -> pd.DataFrame:
    rows = []
    for one in packet["endpoints"]:
        for point in one["curve"]:
            rows.append({"what": one["name"], "unit": one["unit"], "years": f"{point['years']:g}", "share": f"{point['share']:g}", "error": "none: nobody had it" if point["error"] is None else f"{point['error']:g}"})
    return pd.DataFrame(rows, columns=["what", "unit", "years", "share", "error"])


def _others(packet: dict) -> pd.DataFrame:
    visits, scored = packet["upkeep"], packet["satisfaction"]
    shown = lambda value: "–" if value is None else f"{value:g}"  # noqa: E731
    return pd.DataFrame([
        {"what": "unplanned visits per patient and year", "value": shown(visits["rate"]), "error": shown(visits["error"]), "beside it": "" if visits["patient_years"] is None else f"{visits['patient_years']} years of patients together"},
        {"what": f"change of {scored['instrument'] or 'satisfaction'} to a year, better is more", "value": shown(scored["change"]), "error": shown(scored["error"]), "beside it": ""},
    ])  # fmt: skip


def _people(made: Made) -> pd.DataFrame:
    return pd.DataFrame([{"who": label, "leaves as": str(made.packet["people"][label]), "why hidden": made.reasons.get(label, "")} for label in made.counts])


def _facts(packet: dict) -> tuple[tuple[str, str], ...]:
    return (("Format", packet["format"]), ("Version of outcomes", packet["software"]), ("The log closes", packet["closes"]), ("Sign of this packet", packet["sign"]),
            ("Clinic, so that it is not counted twice", packet["clinic"]), ("Digest of the questions", packet["questions_digest"]), ("Checksum", packet["checksum"]))  # fmt: skip
