"""Every number in every table of every report's page is read back and found in the CSV beside it, and every share in its prose in one of them."""

from __future__ import annotations

import csv
import math
import re
from html.parser import HTMLParser

import pytest

from outcomes.commands.report import REPORTS
from outcomes.present import words

READ = sorted(set(REPORTS) - {"gallery"})  # the gallery shows the others' figures and no table of its own
NUMBER = re.compile(r"[+−]?\d+(?:\.\d+)?")
RECORD = {"plan", "methods", "record", "style"}


class Page(HTMLParser):
    """Tables by the file linked in their caption; words by section."""

    def __init__(self, html: str):
        super().__init__()
        self.grids, self.text, self._file, self._rows, self._in_cell, self._section, self._open = {}, [], "", None, False, "", []
        self.feed(html)

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self._open.append(tag)
        if tag == "h2" and "id" in found:
            self._section = found["id"]
        if tag == "a" and found.get("class") == "file":
            self._file = found["href"].rsplit("/", 1)[-1]
        if tag == "table":
            self._rows = []
        if tag == "tr":
            self._rows.append([])
        if tag in ("td", "th"):
            self._rows[-1].append("")
            self._in_cell = True

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._in_cell = False
        if tag == "table":
            self.grids[self._file], self._rows = self._rows, None
        while self._open and self._open.pop() != tag:
            pass

    def handle_data(self, data):
        if self._in_cell:
            self._rows[-1][-1] += data
        elif not {"style", "title", "svg"} & set(self._open):
            self.text.append((self._section, data))


def bare(text: str) -> str:
    return text.replace(words.SPACE, "").replace("over99", "99").replace("under1", "1")


def ways(cell: str) -> set[str]:
    """A value of a table in every way in which the page may round it."""
    try:
        value = float(cell)
    except ValueError:
        return {found.lstrip("+") for found in NUMBER.findall(bare(cell))}
    if not math.isfinite(value):
        return set()
    said = {words.number(value, digits) for digits in (0, 1, 2, 3)} | {words.percent(value), words.rate(value), words.number(100 * value), words.number(100 * value, 1), words.rate(100 * value), words.number(10 * value)}
    said |= {words.number(value / 365.25, 1), words.number(value / 30.4375), f"{value:g}".replace("-", words.MINUS)}
    said |= {"1"} if 0 < value < 1 else set()  # under 1
    return {found.lstrip("+−") for one in said for found in NUMBER.findall(bare(one))}


def table(folder, file: str) -> list[list[str]]:
    return list(csv.reader((folder / "tables" / file).read_text(encoding="utf-8-sig").splitlines()))


@pytest.mark.parametrize("report", READ)
def test_every_number_of_every_table_is_in_the_file_beside_it(page, report):
    folder = page(report).parent
    grids = Page(page(report).read_text(encoding="utf-8")).grids
    assert len(grids) >= 3 and "" not in grids, "a table without its file"
    lost = []
    for file, (head, *rows) in grids.items():
        exact = table(folder, file)
        whole = set().union(*(ways(cell) for row in exact for cell in row))
        for place, row in enumerate(rows, 1):
            own = set().union(*(ways(cell) for cell in exact[place])) if len(exact) == len(rows) + 1 else whole
            if len(exact) == len(rows) + 1:  # a share counted within the row, or of all rows together
                wholes = [*counts(exact[place]), *(sum(counts(column)) for column in zip(*exact[1:]))]
                own |= {found for a in counts(exact[place]) for b in wholes if b for found in ways(str(a / b))}
            for column, cell in list(zip(head, row))[1:]:  # the first names the row
                lost += [(file, row[0], column, found) for found in NUMBER.findall(bare(cell)) if found.lstrip("+−") not in own]
    assert lost == []


def counts(row: list[str]) -> list[int]:
    return [int(cell) for cell in row if cell.isdigit()]


@pytest.mark.parametrize("report", READ)
def test_every_share_in_the_prose_stands_in_a_table(page, report):
    """A share counted from a row of a table (12 of 48) counts as standing in it."""
    folder = page(report).parent
    rows = [row for path in sorted((folder / "tables").glob("*.csv")) for row in table(folder, path.name)]
    known = {int(found) for row in rows for cell in row for found in ways(cell) if found.isdigit()}
    known |= {int(words.rounded(100 * a / b)) for row in rows for a in counts(row)[:12] for b in counts(row)[:12] if b and a <= b}
    said = [(section, int(share), text.strip()) for section, text in Page(page(report).read_text(encoding="utf-8")).text if section not in RECORD for share in re.findall(r"(?<![\d.])(\d+)\u00a0%", text)]
    plans = {95, 50}  # the level of likely ranges and the plan's own thresholds
    assert len(said) > 5
    assert [(section, share, text[:120]) for section, share, text in said if share not in known | plans] == []


@pytest.mark.parametrize("report", READ)
def test_a_number_changed_on_the_page_would_be_found(page, report):
    """The check above is not satisfied by anything: of a hundred and one whole numbers most are no value of a given row."""
    folder = page(report).parent
    file, (_, *rows) = next(iter(Page(page(report).read_text(encoding="utf-8")).grids.items()))
    exact = table(folder, file)
    own = set().union(*(ways(cell) for cell in exact[1]))
    assert len(rows) and sum(str(number) in own for number in range(101)) < 60
