"""The numbers by which the simulation knows the log's words, in the order of the codebook, and the entries of the day sheet's cells."""

from __future__ import annotations

from outcomes import schemas


def codes(name: str) -> list[str]:
    """The codes of one list of the codebook, in order."""
    return list(schemas.codebook()[name]["codes"])


REASONS = codes("reason")
CHECKED = codes("parts_checked")
SNAPS = codes("snap")
HISTORIES = codes("snap_history")
WHYS = codes("why_changed")
OCCASIONS = codes("occasion")
SEEN_BY = codes("seen_by")
BLANK = -1

DELIVERY, CONVERSION, REVIEW, RECALL, PROBLEM, HYGIENE, LABORATORY, CONTACT = (
    REASONS.index(word) for word in ("delivery", "conversion", "review", "recall", "problem", "hygiene", "laboratory", "contact only")
)
ALL, INSERTS_ONLY, LISTED_ONLY, NO_PART, SILENT = (CHECKED.index(word) for word in ("all", "inserts only", "listed only", "none", "notes silent"))
DELIVER, CONVERT, REMAKE, FIRST_REVIEW, SECOND_REVIEW, RETURN = range(6)  # visits booked for one jaw; RETURN: from the laboratory
FAR_LOOSE, BIT_LOOSE, RIGHT, BIT_FIRM, FAR_FIRM, NOT_ASKED = range(len(SNAPS))
WHY_WORN, WHY_TORN, WHY_LOST, WHY_FIRMER, WHY_LIGHTER, WHY_ROUTINE, WHY_OTHER = range(len(WHYS))

# What may be entered for a housing or an abutment: (finding, action, text forms). Finding alone: the set-up lines say the rest.
HOUSING_ENTRIES = (
    None,
    ("debonded", "picked up again", ("picked up again", "debonded, picked up again")),
    ("debonded", "replaced", ("debonded, replaced", "debonded, replaced")),
    ("lost", "replaced", ("lost, replaced", "lost, replaced")),
    ("loose in its seat", "picked up again", ("loose in its seat, picked up again",) * 2),
    ("loose in its seat", "replaced", ("loose in its seat, replaced",) * 2),
    ("debonded", "none", ("debonded",) * 2),
    ("loose in its seat", "none", ("loose in its seat",) * 2),
    ("lost", "none", ("lost",) * 2),
)
ABUTMENT_ENTRIES = (
    None,
    ("loose in its seat", "tightened", ("tightened", "loose in its seat, tightened")),
    ("worn", "none", ("worn", "worn")),
    ("worn", "tightened", ("worn, tightened",) * 2),
    ("loose in its seat", "none", ("loose in its seat",) * 2),
)
DENTURE_ENTRIES = (
    None,
    ("sore spot", "adjusted", ("sore spot, adjusted",) * 2),
    ("poor fit", "relined", ("poor fit, relined",) * 2),
    ("not recorded", "relined", ("relined",) * 2),
    ("base fractured", "repaired", ("base fractured, repaired",) * 2),
    ("base fractured at a housing", "repaired", ("base fractured at a housing, repaired",) * 2),
    ("base fractured", "to laboratory", ("base fractured, to laboratory",) * 2),
    ("base fractured at a housing", "to laboratory", ("base fractured at a housing, to laboratory",) * 2),
    ("not recorded", "back from laboratory", ("back from laboratory",) * 2),
    ("tooth fractured", "repaired", ("tooth fractured, repaired",) * 2),
    ("tooth lost", "repaired", ("tooth lost, repaired",) * 2),
)
