"""Run the definitions over a log: part histories, endpoint times, and what the log cannot say."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from outcomes.episodes import declared
from outcomes.episodes.definitions import Definition, definitions
from outcomes.errors import DataProblem

SOURCES = ("patients", "dentures", "implants", "insert_levels", "visits", "parts_log", "denture_log")
GUARD = "The log lists failures but not the visits where nothing was wrong"
KEYS_CHECKED_UP_TO = 2_000_000  # rows; beyond, checking that keys are unique would cost as much as the build


@dataclass(frozen=True)
class Built:
    """What a build found. ``counts``: plain numbers by name. ``warnings``: sentences for the report. ``guard``: the sentence that withholds curves, or None."""

    counts: dict[str, int]
    warnings: tuple[str, ...]
    guard: str | None


def build(connection, plan: Mapping, *, endpoints: Iterable[str] | None = None, under_care: bool = False) -> Built:
    """Derive part histories and endpoint times from the log's tables into temporary tables of ``connection``.

    ``connection``: DuckDB, holding the tables or views patients, dentures, implants, insert_levels, visits, parts_log and denture_log; it may be read-only.
    ``plan``: as ``outcomes.plan.read_plan`` gives it. ``endpoints``: names to derive, all by default. ``under_care``: also fill
    ``endpoint_times_under_care``, else equal to ``endpoint_times``. Rows of the tables made have no order of their own.

    Raises Misuse where the plan names what does not exist, DataProblem where the log holds codes or doubled rows that a checked log cannot hold.
    """
    import duckdb

    chosen = declared.chosen_endpoints(plan, endpoints)
    bonds = any(declared.kind_of(row) == "bond" for row in chosen.values())
    in_order = connection.execute("SELECT current_setting('preserve_insertion_order')").fetchone()[0]
    connection.execute("SET preserve_insertion_order = false")  # nothing here depends on it, and it halves the time of large builds
    try:
        clear(connection)
        declared.make_words(connection)
        declared.make_settings(connection, plan, bonds=bonds, under_care=under_care)
        declared.make_endpoints(connection, chosen)
        declared.make_upkeep_kinds(connection)
        for definition in definitions().values():
            connection.execute(definition.statement)
            _check_key(connection, definition)
    except duckdb.ConversionException:
        raise DataProblem("The log holds a code that the codebook does not know, so part histories cannot be derived. Check the files again, and load them again.") from None
    finally:
        connection.execute(f"SET preserve_insertion_order = {str(in_order).lower()}")
    counts = _counts(connection)
    return Built(counts, tuple(_warnings(connection, counts, plan)), _guard(connection))


def clear(connection) -> None:
    """Drop what an earlier build left in the connection."""
    made = list(definitions().values())
    for definition in reversed(made):
        if definition.made_as != "macro":
            connection.execute(f"DROP {definition.made_as.upper()} IF EXISTS temp.{definition.name}")
    for table in declared.TABLES:
        connection.execute(f"DROP TABLE IF EXISTS temp.{table}")
    for name in (*declared.words(), "position_word"):
        connection.execute(f"DROP TYPE IF EXISTS temp.{name}")


def _check_key(connection, definition: Definition) -> None:
    if definition.made_as != "table":
        return
    if connection.execute(f"SELECT count(*) FROM {definition.name}").fetchone()[0] > KEYS_CHECKED_UP_TO:
        return
    doubled = doubled_keys(connection, definition)
    if doubled:
        raise DataProblem(f"{definition.title}: {doubled} keys ({', '.join(definition.key)}) stand for more than one row. "
                          "The log holds a row twice that may stand in it once; check the files again.")  # fmt: skip


def doubled_keys(connection, definition: Definition) -> int:
    """How many keys of a made table or view stand for more than one row."""
    keys = ", ".join(definition.key)
    return connection.execute(f"SELECT count(*) FROM (SELECT {keys} FROM {definition.name} GROUP BY ALL HAVING count(*) > 1)").fetchone()[0]


_COUNTS = """
SELECT
    (SELECT count(*) FROM patients) AS patients,
    (SELECT count(*) FROM people WHERE NOT consented) AS patients_without_consent,
    (SELECT count(*) FROM patients WHERE audit_consent IN ('unknown', 'died before asked')) AS patients_consent_not_known,
    (SELECT count(*) FROM denture_days) AS dentures,
    (SELECT count(*) FROM denture_days WHERE excluded = 'spare denture') AS spare_dentures,
    (SELECT count(*) FROM dentures) - (SELECT count(*) FROM denture_days) AS dentures_without_a_visit,
    (SELECT count(*) FROM visits) AS visits,
    (SELECT count(*) FROM visits WHERE visited_on IS NULL) AS visits_without_a_day,
    (SELECT count(*) FROM visits, settings WHERE visited_on > closing_day) AS visits_after_closing,
    (SELECT count(*) FROM visit_days WHERE may_overlap) AS visits_in_unknown_order,
    (SELECT count(*) FROM visits WHERE parts_checked = 'notes silent') AS visits_notes_silent,
    (SELECT count(*) FROM parts_log) AS parts_log_rows,
    (SELECT count(*) FROM part_rows) AS parts_log_rows_used,
    (SELECT count(*) FROM part_lives WHERE part <> 'bond') AS episodes,
    (SELECT count(*) FROM part_lives WHERE part <> 'bond' AND NOT start_known) AS episodes_start_unknown,
    (SELECT count(*) FROM neighbours) AS inserts_changed_with_a_neighbour,
    (SELECT count(*) FROM endpoint_days WHERE NOT until_gap AND noticed_outside) AS noticed_days_not_used
"""


def _counts(connection) -> dict[str, int]:
    cursor = connection.execute(_COUNTS)
    return dict(zip([column[0] for column in cursor.description], cursor.fetchone(), strict=True))


def _warnings(connection, counts: Mapping[str, int], plan: Mapping):
    if counts["visits_without_a_day"]:
        yield f"{counts['visits_without_a_day']} visits have no day at all and could not be used."
    if counts["dentures_without_a_visit"]:
        yield f"{counts['dentures_without_a_visit']} dentures belong to patients without any dated visit and could not be followed."
    if counts["visits_in_unknown_order"]:
        yield f"{counts['visits_in_unknown_order']} visits are dated so coarsely that they may lie after the next one; what they say of parts not listed was not used."
    lost = counts["parts_log_rows"] - counts["parts_log_rows_used"]
    if lost and not counts["visits_after_closing"]:
        yield f"{lost} rows of the parts log belong to no dated visit or known denture and could not be used."
    if counts["visits_notes_silent"] and plan["rules"]["unlisted"] == "ask":
        yield (f"At {counts['visits_notes_silent']} visits the notes do not say what was looked at; parts not listed there count as not checked. "
               "Set unlisted in the plan to not checked or sound to decide it.")  # fmt: skip
    if counts["noticed_days_not_used"]:
        yield f"{counts['noticed_days_not_used']} times the day a patient noticed a failure lies outside the looks before and after it and was not used."
    withheld = connection.execute("SELECT part FROM guard WHERE withheld ORDER BY part").fetchall()
    if withheld and _guard(connection) is None:
        parts = " and ".join(f"{row[0]}s" for row in withheld)
        yield f"Over half of the {parts} still serving were not recorded sound since the first review: curves of what shows at examination lean on few looks."


def _guard(connection) -> str | None:
    return GUARD if connection.execute("SELECT count(*) FROM guard WHERE judged AND withheld").fetchone()[0] else None
