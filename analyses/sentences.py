"""What is said of each endpoint: how a sentence goes on after its number, for the declared endpoints and any a plan adds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Saying:
    """``name``: the section's title; ``share``: "of dentures had needed no repair"; ``happened``: "needed a repair"; ``since``: day 0."""

    name: str
    share: str
    happened: str
    title: str
    since: str = "fitting"


_SAYINGS = {
    "first repair": Saying("First repair of a denture", "of dentures had needed no repair", "needed a repair", "Dentures without a repair", "delivery"),
    "insert worn": Saying("Inserts: wear", "of first inserts still held", "had a first insert worn or lost", "First inserts not worn"),
    "housing bond failure": Saying("Housings: bond", "of housings were still firmly in the denture", "had a housing come loose", "Housings firmly in the denture"),
    "housing loss": Saying("Housings: loss", "of housings had not been lost", "lost a housing", "Housings not lost"),
    "clip worn": Saying("Clips: wear", "of first clips still held", "had a first clip worn or lost", "First clips not worn"),
    "bar loosening": Saying("Bars: loosening", "of bars had stayed tight", "had a bar come loose", "Bars that stayed tight"),
    "any insert change": Saying("Inserts: any change", "of first inserts had not been changed", "had a first insert changed", "First inserts not changed"),
    "abutment loosening": Saying("Abutments: loosening", "of abutments had stayed tight", "had an abutment come loose", "Abutments that stayed tight"),
    "attachment wear": Saying("Balls: wear", "of ball abutments were not worn", "had a ball abutment worn", "Ball abutments not worn"),
    "denture fracture": Saying("Dentures: fracture", "of dentures had not broken", "had a denture break", "Dentures not broken", "delivery"),
    "reline or rebase": Saying("Dentures: reline", "of dentures had not been relined", "had a denture relined", "Dentures not relined", "delivery"),
    "implant loss": Saying("Implants: loss", "of implants were still in place", "lost an implant", "Implants in place", "their first abutment"),
}


def saying(life) -> Saying:
    """The words for an endpoint; of one that only a plan knows, made from its title and unit."""
    known = _SAYINGS.get(life.name)
    if known:
        return known
    title = life.endpoint.get("title", life.name)
    what = title[:1].lower() + title[1:]
    return Saying(title, f"of {life.units} were free of “{what}”", f"had “{what}”", f"{life.units.capitalize()} free of “{what}”", "delivery" if life.unit == "denture" else "fitting")
