"""Two people's entry of the same notes: how far they agree, field by field, and where they differ."""

from __future__ import annotations

from pathlib import Path

from outcomes.commands import arguments
from outcomes.progress import Progress

SENTENCE = "compare two people's entry of the same notes: agreement for each field, and every cell that differs"
SHOWN = 10  # differing cells named on the screen
MOST_WORDS = 12  # different words up to which a text without a code list is taken for a code


def options(one) -> None:
    """The two entries, how to read them, and where the differences go."""
    one.add_argument("first", type=Path, metavar="FILE_A", help="one person's workbook or table (.xlsx, .csv), or a folder of them")
    one.add_argument("second", type=Path, metavar="FILE_B", help="the other person's entry of the same notes")
    one.add_argument("--out", type=Path, metavar="FILE.csv", help="write every difference, cell by cell, to this file")
    one.add_argument("--all", action="store_true", help="show every field, also those in which nothing differs")
    one.add_argument("--date-order", choices=["day first", "month first"], help="how dates such as 03/04/2024 are meant")
    one.add_argument("--decimal", choices=[",", "."], help="the decimal mark of the files")


def run(options) -> int:
    """Compare and print."""
    from outcomes.intake import Options
    from outcomes.intake.double_entry import compare

    progress = Progress(quiet=options.quiet)
    with progress.step("Reading both entries"):
        found = compare(arguments.paths([options.first]), arguments.paths([options.second]), options=Options(date_order=options.date_order, decimal=options.decimal))
    for sentence in found.decisions:
        progress.say(sentence)
    rows = [row for name, pairs in found.tables.items() for row in agreement(pairs)]
    differences = found.differences()
    shown = rows if options.all else [row for row in rows if row["same"] < row["pairs"]]
    for line in [overall(found, rows, differences), *_fields(shown, len(rows)), *_alone(found), *_first_differences(differences)]:
        print(line.replace("\u00a0", " ").replace("\u202f", " "))
    if options.out:
        write(found, differences, options.out)
        print(f"Every difference is in {options.out}.")
    return 0


def agreement(pairs) -> list[dict]:
    """For each field: pairs in which either wrote something, how many agree, and kappa where the field holds codes."""
    from outcomes.longevity import wilson_interval
    from outcomes.satisfaction import cohen_kappa

    out = []
    for name in pairs.fields:
        column, one, other = pairs.table.column(name), pairs.first[name], pairs.second[name]
        wrote = one.notna() | other.notna()
        same = int(((one == other) & wrote).sum())
        row = {"table": pairs.table, "field": name, "pairs": int(wrote.sum()), "same": same, "share": wilson_interval(same, int(wrote.sum())), "kappa": None, "weighted": None}
        words = sorted({*one.dropna(), *other.dropna()})
        if len(one) and name not in pairs.key and (column.code_list or column.type == "text" and len(words) <= MOST_WORDS):
            row["kappa"] = cohen_kappa(one.fillna(""), other.fillna(""), categories=["", *words], cluster=pairs.patients)
        scale = _scale(column)
        both = one.isin(scale) & other.isin(scale)
        if scale and both.any():
            row["weighted"] = cohen_kappa(one[both], other[both], categories=scale, weights="linear", cluster=[label for label, kept in zip(pairs.patients, both) if kept])
        out.append(row)
    return out


def _scale(column) -> list[str]:
    """The words of a code list that stand in an order, lowest first; empty where they do not."""
    from outcomes import schemas

    places = schemas.codebook().get(column.codes or "", {}).get("scale", {})
    return sorted(places, key=places.get)


def overall(found, rows: list[dict], differences) -> str:
    """The whole in a few sentences."""
    from outcomes.longevity import wilson_interval
    from outcomes.present import words

    cells, same, lines = sum(row["pairs"] for row in rows), sum(row["same"] for row in rows), sum(len(pairs.first) for pairs in found.tables.values())
    if not lines:
        return f"{found.names[0]} and {found.names[1]} have no line in common: no patient and day of one stands in the other."
    share = wilson_interval(same, cells)
    often = differences.groupby("column").size().sort_values(ascending=False, kind="stable")
    most = f" They differ most often in {words.listing([f'{column} ({count})' for column, count in often.head(3).items()])}." if len(often) else ""
    return (f"{found.names[0]} and {found.names[1]}: in {lines:,} {'line' if lines == 1 else 'lines'} that both have, {same:,} of the {cells:,} cells that either filled are the same "
            f"({words.percent(share.value)}, likely range {words.percent_range(share.low, share.high)}).{most}")


def _fields(shown: list[dict], every: int) -> list[str]:
    """The fields in which something differs, what the figures mean, and how many fields have no difference."""
    rest = every - len(shown)
    same = [f"{'In the other ' if shown else 'In all '}{rest:,} {'field' if rest == 1 else 'fields'} not one cell differs."] if rest else []
    return ["", *table(shown), "", *notes(shown), *same] if shown else same


def table(rows: list[dict]) -> list[str]:
    """The fields as aligned lines."""
    from outcomes.present import words

    cells = [("field", "same", "share", "likely range", "kappa", "likely range", "weighted", "likely range")]
    for row in rows:
        share = row["share"]
        cells.append((f"{row['table'].title}: {row['field']}", f"{row['same']:,} of {row['pairs']:,}", words.percent(share.value) if row["pairs"] else "", words.percent_range(share.low, share.high) if row["pairs"] else "",
                      *_kappa(row["kappa"]), *_kappa(row["weighted"])))
    widths = [max(len(line[place]) for line in cells) for place in range(len(cells[0]))]
    return ["  ".join(text.ljust(width) if place == 0 else text.rjust(width) for place, (text, width) in enumerate(zip(line, widths))).rstrip() for line in cells]


def _kappa(found) -> tuple[str, str]:
    from math import isnan

    from outcomes.present import words

    if found is None:
        return "", ""
    if isnan(found.kappa):
        return "–", ""
    return words.number(found.kappa, 2), "" if isnan(found.low) else f"{words.number(found.low, 2)} to {words.number(found.high, 2)}"


def notes(rows: list[dict]) -> list[str]:
    """What the figures mean, and where one says little."""
    out = ["Same: of the cells that at least one of the two filled. Kappa: agreement beyond chance, a blank counting as a word of its own; limits allow for lines of one patient."]
    if any(row["weighted"] is not None for row in rows):
        out.append("Weighted: for words that have an order, two steps apart counting twice one step, where both wrote such a word.")
    undefined = [row["field"] for row in rows if row["kappa"] is not None and row["kappa"].kappa != row["kappa"].kappa]
    if undefined:
        out.append(f"–: kappa is not defined for {', '.join(undefined)}: both used one word throughout, so that chance alone would agree in everything.")
    lopsided = [row["field"] for row in rows if row["kappa"] is not None and row["kappa"].kappa == row["kappa"].kappa and row["kappa"].expected > 0.9 and row["kappa"].observed < 1]
    if lopsided:
        out.append(f"In {', '.join(lopsided)} nearly every cell holds the same word; there kappa falls low over a few differences: look at the share.")
    return out


def _alone(found) -> list[str]:
    """How many lines only one of the two has, and the first of them."""
    out = []
    for name, pairs in found.tables.items():
        for who in (0, 1):
            lines = pairs.alone[pairs.alone["who"] == who]
            if len(lines):
                places = [f"{sheet}, line {line}" if sheet else f"line {line}" for sheet, line in zip(lines["_sheet"].head(SHOWN), lines["_line"])]
                out.append(f"{pairs.table.title}: {len(lines):,} {'line stands' if len(lines) == 1 else 'lines stand'} in {found.names[who]} only ({'; '.join(places)}{'; …' if len(lines) > SHOWN else ''}).")
    for who in (0, 1):
        if found.unread[who]:
            out.append(f"{found.unread[who]:,} {'cell' if found.unread[who] == 1 else 'cells'} of {found.names[who]} could not be read and {'was' if found.unread[who] == 1 else 'were'} compared as typed.")
    return out


def _first_differences(differences) -> list[str]:
    """The first cells that differ, by place; what stands in them is in the file that --out writes."""
    if not len(differences):
        return ["No cell differs."]
    out = [f"{one.column}: {one.first_cell} and {one.second_cell}" for one in differences.head(SHOWN).itertuples(index=False)]
    rest = len(differences) - len(out)
    return [f"{len(differences):,} {'cell differs' if len(differences) == 1 else 'cells differ'}:", *("  " + line for line in out),
            *([f"  and {rest:,} more; --out FILE.csv lists them all with what stands in them."] if rest else [])]


def write(found, differences, path: Path) -> None:
    """Every differing cell, and every line that only one has, as CSV for its owner alone."""
    from outcomes.neutral import write_rows
    from outcomes.store.private import owner_only

    rows = [["what", "table", "key", "column", "cell in A", "A", "cell in B", "B"], *(["differs", *one] for one in differences.itertuples(index=False))]
    for name, pairs in found.tables.items():
        for _, line in pairs.alone.iterrows():
            where, key = f"{line['_file']}, line {line['_line']}", ", ".join(str(line[column]) for column in pairs.key if line[column] is not None)
            rows.append(["only one has it", name, key, "", *((where, "", "", "") if line["who"] == 0 else ("", "", where, ""))])
    with owner_only():
        write_rows(path, rows)
