"""The data dictionary, written from the declarations: ``python -m outcomes.schemas.dictionary`` writes DICTIONARY.md anew."""

from __future__ import annotations

from outcomes import schemas

TYPES = {
    "text": "text", "whole": "whole number", "number": "number", "date": "date", "code": "code", "position": "position",
    "positions": "positions", "levels": "levels", "phrases": "words",
}
HEAD = """# Data dictionary

Written from the declarations in this folder by `python -m outcomes.schemas.dictionary`; change them, not this page.

- **date**: `2024-03-14`, `2024-03`, `2024` or `not known`. Stored as its first possible day beside a column `NAME_precision` (day, month, year, not known).
- **position**: two digits of ISO 3950 (11–28 upper, 31–48 lower), `33-43` for a bar or clip between sites, or `midline`.
- **code**: one word of the list named; case and stray blanks do not matter.
- A blank cell means *not recorded*, never *fine*. A column marked **needed** may not be blank.
"""


def text() -> str:
    """The whole page as Markdown: tables, words of the day sheet, codes, endpoints, instruments, rules."""
    parts = [HEAD]
    for door, title in (("day sheet", "Sheets kept by hand"), ("long", "Stored tables")):
        parts.append(f"## {title}")
        parts += [_table(table) for table in schemas.tables().values() if table.door == door]
    parts += [_phrases(), _codes(), _endpoints(), _instruments(), _rules()]
    return "\n\n".join(part.strip("\n") for part in parts) + "\n"


def _table(table: schemas.Table) -> str:
    rows = [f"| {column.name} | {'**needed**' if column.required else ''} | {_kind(column)} | {_cell(_meaning(column))} | {_example(column)} |" for column in table.columns]
    return "\n".join([f"### {table.title} (`{table.name}`)", "", f"{table.meaning} {_sentence(table.grain)} Key: {', '.join(f'`{name}`' for name in table.key)}.", "",
                      "| column | | kind | meaning | example |", "| --- | --- | --- | --- | --- |", *rows])


def _kind(column: schemas.Column) -> str:
    kind = TYPES[column.type]
    if column.codes:
        kind += f" [{column.codes}](#{column.codes})"
    if column.words:
        kind += " or " + ", ".join(f"`{word}`" for word in column.words)
    if column.unit:
        kind += f", {column.unit}"
    if column.minimum is not None and column.maximum is not None:
        kind += f", {column.minimum:g} to {column.maximum:g}"
    if column.plausible:
        kind += f" (usual {column.plausible[0]:g} to {column.plausible[1]:g})"
    return kind


def _meaning(column: schemas.Column) -> str:
    meaning = column.meaning
    if column.references:
        meaning += f" (→ `{column.references}`)"
    if column.derived:
        meaning += f"; left out: {column.derived}"
    return meaning


def _example(column: schemas.Column) -> str:
    return f"`{column.example}`" if column.example else ""


def _phrases() -> str:
    lines = ["## Words of the day sheet", "", "In the cells housings, abutments and denture a thing done without a word on what was found means:", "",
             "| cell | done | found |", "| --- | --- | --- |"]
    for part in ("housing", "abutment", "denture"):
        lines += [f"| {part} | {action} | {finding} |" for action, finding in schemas.phrases()[part]["finding_for"].items()]
    return "\n".join(lines)


def _codes() -> str:
    lines = ["## Codes"]
    for name, body in schemas.codebook().items():
        lines += ["", f"### {name}", "", f"{_sentence(body['title'])}", "", "| code | meaning |", "| --- | --- |"]
        lines += [f"| {code} | {_cell(meaning)} |" for code, meaning in body["codes"].items()]
    return "\n".join(lines)


def _endpoints() -> str:
    lines = ["## Endpoints", "", "| endpoint | of each | noticed by | what counts |", "| --- | --- | --- | --- |"]
    lines += [f"| {name} | {row['unit']} | {row['noticed_by']} | {_cell(row['definition'])} |" for name, row in schemas.endpoints().items()]
    return "\n".join(lines)


def _instruments() -> str:
    lines = ["## Instruments", "", "| instrument | items | range | better | meaning |", "| --- | --- | --- | --- | --- |"]
    lines += [f"| {name} | {body['items']} | {body['minimum']:g} to {body['maximum']:g} | {body['better']} | {_cell(body['meaning'])} |" for name, body in schemas.instruments().items()]
    return "\n".join(lines)


def _rules() -> str:
    lines = ["## Rules across tables", "", "An error keeps the row out, a warning lets it in. Each rule is a file in `rules/`, with a failing and a passing example that the tests run.", "",
             "| rule | | what is wrong | what to do |", "| --- | --- | --- | --- |"]
    ordered = sorted(schemas.rules().values(), key=lambda rule: (rule["severity"], rule["name"]))
    lines += [f"| {rule['name']} | {rule['severity']} | {_cell(rule['sentence'])} | {_cell(rule['remedy'])} |" for rule in ordered]
    return "\n".join(lines)


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:] + ("" if words.endswith(".") else ".")


def _cell(words: str) -> str:
    return words.replace("|", "\\|").replace("\n", " ")


if __name__ == "__main__":
    (schemas.HERE / "DICTIONARY.md").write_text(text(), encoding="utf-8")
