"""What the plan and the declarations bring to the build: word lists, settings and the endpoints, as small temporary tables."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Mapping

from outcomes import schemas
from outcomes.errors import Misuse

CAUSES = ("", "worn, seen", "worn, by report", "wish", "cannot tell", "with its pair", "routine", "other work")
LEFT = ("died", "moved", "withdrew", "treated elsewhere", "changed to fixed", "changed to plain denture", "lost to follow-up")
ENDINGS = (
    "", "failed", "wanted firmer", "wanted lighter", "with its pair", "changed with a neighbour", "routine", "with other work", "with its carrier",
    "denture retired", "implant lost", *LEFT, "removed", "left out on purpose", "moved elsewhere", "cannot tell",
)  # fmt: skip
EXCLUDED = (
    "", "no consent", "spare denture", "outside the period", "unknown start", "attachment not recorded", "found failed on arrival",
    "failed before it entered", "never seen sound", "no time at risk", "after the first gap in care",
)  # fmt: skip
OUTCOMES = tuple(dict.fromkeys(("", "event", *ENDINGS, *CAUSES, "failed otherwise")))

# Kinds of unit are parts, the bonds of housings, dentures and implants.
LISTS = {"part_word": "part", "finding_word": "part_finding", "action_word": "part_action", "change_word": "change_reason", "visit_reason_word": "reason", "checked_word": "parts_checked", "arch_word": "arch",
         "snap_word": "snap", "history_word": "snap_history", "attachment_word": "attachment", "pick_up_word": "pick_up", "surface_word": "surface"}  # fmt: skip
OTHER_UNITS = ("bond", "denture", "implant")
UNITS = ("insert", "clip", "housing", "abutment", "bar", "denture", "implant")
TABLES = ("settings", "plan_endpoints", "members", "counting_findings", "counting_actions", "counting_causes", "closing_findings", "closing_actions", "closing_causes", "upkeep_kinds")


def words() -> dict[str, tuple[str, ...]]:
    """Name of each word list to its words, but for positions, which the log brings."""
    book = schemas.codebook()
    found = {name: tuple(book[codes]["codes"]) for name, codes in LISTS.items()}
    found["part_word"] += OTHER_UNITS
    found["finding_word"] += tuple(word for codes in ("denture_finding", "implant_state") for word in book[codes]["codes"] if word not in found["finding_word"])
    found["action_word"] += tuple(word for word in book["denture_action"]["codes"] if word not in found["action_word"])
    return found | {"cause_word": CAUSES, "ending_word": ENDINGS, "excluded_word": EXCLUDED, "outcome_word": OUTCOMES}


def make_words(connection) -> None:
    """Make the word lists as ENUM types: joins and comparisons on them are as quick as on whole numbers."""
    for name, codes in words().items():
        _make_type(connection, name, codes)
    positions = [row[0] for row in connection.execute("SELECT DISTINCT position FROM parts_log WHERE position IS NOT NULL ORDER BY position").fetchall()]
    _make_type(connection, "position_word", positions or ["33"])


def _make_type(connection, name: str, codes: Iterable[str]) -> None:
    listed = ", ".join(_quoted(code) for code in codes)
    connection.execute(f"CREATE TEMP TYPE {name} AS ENUM ({listed})")


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def make_settings(connection, plan: Mapping, *, bonds: bool, under_care: bool) -> None:
    """The plan's rules in one row; the closing day is the plan's or else the last visit of any patient."""
    rules, audit, recall = plan["rules"], plan["audit"], plan["recall"]
    closing = _day(audit["closing_day"], "closing_day")
    if closing is None:
        closing = connection.execute("SELECT max(visited_on) FROM visits").fetchone()[0]
    row = {
        "closing_day": ("DATE", closing),
        "period_from": ("DATE", _day(audit["period_from"], "period_from")),
        "period_to": ("DATE", _day(audit["period_to"], "period_to")),
        "unlisted": ("VARCHAR", rules["unlisted"]),
        "bonds": ("BOOLEAN", bonds),
        "under_care": ("BOOLEAN", under_care),
        "recall_days": ("INTEGER", recall["interval_days"] + recall["overdue_days"]),
    }
    row |= {name: ("INTEGER", rules[name]) for name in ("notice_days", "settling_days", "under_care_days", "pair_days", "silent_days")}
    if rules["unlisted"] not in ("ask", "not checked", "sound"):
        raise Misuse(f"unlisted in [rules] of the plan is {rules['unlisted']}; it should be ask, not checked or sound.")
    columns = ", ".join(f"?::{kind} AS {name}" for name, (kind, _) in row.items())
    connection.execute(f"CREATE OR REPLACE TEMP TABLE settings AS SELECT {columns}", [value for _, value in row.values()])


def _day(text: str, name: str) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text) if text else None
    except ValueError:
        raise Misuse(f"{name} in [audit] of the plan is {text}; it should be a day written YYYY-MM-DD, or empty.") from None


def chosen_endpoints(plan: Mapping, names: Iterable[str] | None = None) -> dict[str, dict]:
    """The declared endpoints and the plan's own, by name; with ``names`` only those and the ones they are made of."""
    every = dict(schemas.endpoints()) | {row["name"]: row for row in plan.get("endpoints", ()) if "name" in row}
    _check(every)
    if names is None:
        return every
    asked = list(names)
    for name in asked:
        if name not in every:
            raise Misuse(f"There is no endpoint {name}. Known are: {', '.join(every)}.")
        asked += [member for member in every[name].get("any_of", ()) if member not in asked]
    return {name: row for name, row in every.items() if name in asked}


def _check(endpoints: dict[str, dict]) -> None:
    known = words()
    for name, row in endpoints.items():
        where = f"The endpoint {name}"
        if row.get("unit") not in UNITS:
            raise Misuse(f"{where} has the unit {row.get('unit')}; it should be one of {', '.join(UNITS)}.")
        if row.get("noticed_by") not in ("examination", "patient", "record"):
            raise Misuse(f"{where} has noticed_by {row.get('noticed_by')}; it should be examination, patient or record.")
        for key, kind in (("findings", "finding_word"), ("actions", "action_word"), ("causes", "cause_word"), ("attachments", "attachment_word")):
            for code in row.get(key, ()):
                if code not in known[kind]:
                    raise Misuse(f"{where} lists {code} among its {key}, which the codebook does not know.")
        for member in row.get("any_of", ()):
            if member not in endpoints or endpoints[member].get("any_of"):
                raise Misuse(f"{where} is made of {member}, which is no endpoint of its own.")
        if row.get("any_of") and row["unit"] != "denture":
            raise Misuse(f"{where} is made of others; its unit should be denture.")
    if len(endpoints) > 60:
        raise Misuse(f"The plan has {len(endpoints)} endpoints; at most 60 can be followed in one build.")


def kind_of(row: Mapping) -> str:
    """What carries the endpoint's clock. Where picking a housing up again counts, each bond has a clock of its own."""
    return "bond" if row["unit"] == "housing" and "picked up again" in row.get("actions", ()) else row["unit"]


def make_endpoints(connection, endpoints: dict[str, dict]) -> None:
    """The endpoints and what counts for each as small tables, one bit per endpoint for what ends a part."""
    number = {name: i for i, name in enumerate(endpoints)}
    rows, members, counting = [], [], {"finding": [], "action": [], "cause": []}
    for name, row in endpoints.items():
        kind = kind_of(row)
        rows.append((number[name], name, row["unit"], kind, row["noticed_by"], row.get("attachments"), 1 << number[name]))
        members += [(number[name], number[member]) for member in row.get("any_of", ())]
        findings = list(row.get("findings", ()))
        if "lost" in findings and kind not in ("denture", "implant"):
            findings.append("not present")  # nothing where a part was in place: it is lost
        for code_kind, codes in (("finding", findings), ("action", row.get("actions", ())), ("cause", row.get("causes", ()))):
            counting[code_kind] += [(number[name], kind, code) for code in codes]
    _fill(connection, "plan_endpoints", "endpoint UTINYINT, name VARCHAR, unit VARCHAR, kind part_word, noticed_by VARCHAR, attachments VARCHAR[], bit BIGINT", rows)
    _fill(connection, "members", "whole UTINYINT, endpoint UTINYINT", members)
    for code_kind, counted in counting.items():
        _fill(connection, f"counting_{code_kind}s", f"endpoint UTINYINT, kind part_word, {code_kind} {code_kind}_word", counted)
        connection.execute(f"CREATE OR REPLACE TEMP TABLE closing_{code_kind}s AS SELECT kind, {code_kind}, bit_or(bit)::BIGINT AS bits "
                           f"FROM counting_{code_kind}s JOIN plan_endpoints USING (endpoint, kind) GROUP BY ALL")  # fmt: skip


def make_upkeep_kinds(connection) -> None:
    """The declared kinds of upkeep: one row per part and action, or per reason of a visit."""
    rows = [(name, part, action, None) for name, row in schemas.upkeep().items() for part in row.get("parts", ()) for action in row.get("actions", ())]
    rows += [(name, None, None, reason) for name, row in schemas.upkeep().items() for reason in row.get("reasons", ())]
    _fill(connection, "upkeep_kinds", "kind VARCHAR, part VARCHAR, action VARCHAR, reason VARCHAR", rows)


def _fill(connection, name: str, columns: str, rows: list[tuple]) -> None:
    connection.execute(f"CREATE OR REPLACE TEMP TABLE {name} ({columns})")
    if rows:
        places = ", ".join(f"({', '.join('?' * len(row))})" for row in rows)
        connection.execute(f"INSERT INTO {name} VALUES {places}", [value for row in rows for value in row])
