"""One self-contained page: well formed, escaped, readable without a script, and in words people use."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pandas as pd
import pytest

from outcomes.present import content, letters, page, words

VOID = {"meta", "br", "hr", "img", "input", "link", "path", "rect", "circle", "line", "use"}


class Reader(HTMLParser):
    """The elements of a page, checked for nesting, with the text outside Methods."""

    def __init__(self, html: str):
        super().__init__()
        self.open, self.elements, self.ids, self.headings, self.text, self.methods = [], [], [], [], [], 0
        self.feed(html)
        self.close()

    def handle_starttag(self, tag, attributes):
        found = dict(attributes)
        self.elements.append((tag, found))
        if "id" in found:
            self.ids.append(found["id"])
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag not in VOID:
            self.open.append((tag, "methods" in (found.get("class") or "").split()))
            self.methods += self.open[-1][1]

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        if "id" in dict(attributes):
            self.ids.append(dict(attributes)["id"])

    def handle_endtag(self, tag):
        if tag in VOID:
            return
        last, methods = self.open.pop()
        assert last == tag, f"</{tag}> closes <{last}>"
        self.methods -= methods

    def handle_data(self, data):
        if not self.methods and not any(tag in ("style", "script") for tag, _ in self.open):
            self.text.append(data)


@pytest.fixture(scope="module")
def html(handmade):
    return page.render(handmade.report())


@pytest.fixture(scope="module")
def read(html):
    return Reader(html)


def test_every_element_is_closed_and_every_identifier_used_once(read):
    assert read.open == []
    assert len(set(read.ids)) == len(read.ids)


def test_the_page_needs_no_script_and_nothing_from_elsewhere(html, read):
    assert not [tag for tag, _ in read.elements if tag in ("script", "link", "iframe", "object", "embed", "img")]
    assert not re.search(r"https?://(?!www\.w3\.org/)", html)
    assert not re.search(r"url\((?!data:|#)", html)
    assert not [name for _, found in read.elements for name in found if name.startswith("on")]


def test_every_link_within_the_page_has_its_target(read):
    wanted = {found["href"][1:] for tag, found in read.elements if tag == "a" and found["href"].startswith("#")}
    assert wanted - set(read.ids) == set()


def test_the_page_names_its_language_and_has_one_main_heading(read):
    assert dict(read.elements)["html"]["lang"] == "en"
    assert read.headings.count(1) == 1
    assert all(after - before <= 1 for before, after in zip(read.headings, read.headings[1:])), "a level of heading is skipped"
    assert [tag for tag, _ in read.elements].count("main") == 1


def test_every_figure_says_its_finding_to_a_screen_reader(read):
    drawings = [found for _, found in read.elements if found.get("role") == "img"]
    assert len(drawings) == 7
    assert all(found["aria-label"].startswith("The finding of") for found in drawings)
    assert all(found.get("aria-hidden") == "true" for tag, found in read.elements if tag == "svg")


def test_tables_have_names_and_headings_and_can_be_scrolled_with_the_keyboard(read):
    tables = [found for tag, found in read.elements if tag == "table"]
    assert len(tables) == 1 and all(found["aria-labelledby"] in read.ids for found in tables)
    assert all(found.get("scope") in ("col", "row") for tag, found in read.elements if tag == "th")
    assert all(found.get("tabindex") == "0" and found.get("aria-labelledby") in read.ids for _, found in read.elements if found.get("class") == "scroll")


def test_a_wide_table_becomes_blocks_on_a_phone_and_stays_a_table_to_a_screen_reader():
    wide = content.Grid("Wide", pd.DataFrame([{"answer": "Dentures without a repair", **{f"if things were read in way {k}": f"{k} %" for k in range(6)}}] * 2))
    small = content.Grid("Small", pd.DataFrame({"after": ["1 year"], "share": ["83 %"], "people": ["68"]}))
    assert wide.stacks and not small.stacks
    made = Reader(page.render(content.Report("T", "c", "s", "w", (), (), (), (), (), (content.Section("a", "A", (wide, small)),))))
    first, second = [found for tag, found in made.elements if tag == "table"]
    assert first["class"] == "stacks" and first["role"] == "table" and "class" not in second
    cells = [found for tag, found in made.elements if tag == "td" and "data-head" in found]
    assert len(cells) == 12 and {found["role"] for found in cells} == {"cell"} and cells[0]["data-head"] == "if things were read in way 0"
    assert [found["role"] for tag, found in made.elements if tag in ("tr", "thead", "tbody") and "role" in found] == ["rowgroup", "row", "rowgroup", "row", "row"]


def test_words_that_stand_for_a_number_keep_a_column_flush_right_and_none_make_one():
    table = content.Grid("x", pd.DataFrame({"share": ["83 %", "too few to say"], "verdict": ["met", "cannot tell"], "silent": ["not known", "not known"], "whom": ["30 patients, 60 inserts", "9 patients, 9 inserts"]}))
    assert [table.numeric(column) for column in table.frame] == [True, False, False, False]


def test_the_front_page_comes_in_its_order(html):
    places = [html.index(f'id="{name}"') for name in ("answers", "next", "sure", "standards", "who")]
    assert places == sorted(places)


def test_no_method_is_named_outside_methods(read):
    text = " ".join(read.text).lower()
    assert [name for name in words.METHOD_NAMES if name in text] == []
    assert "one sentence" in text


def test_the_check_for_method_names_would_find_one(handmade, html):
    text = " ".join(Reader(html.replace("Another one.", "By Kaplan–Meier, n = 397.")).text).lower()
    assert {"kaplan", "meier", "n ="} <= {name for name in words.METHOD_NAMES if name in text}


def test_hostile_text_is_escaped_everywhere(handmade):
    html = page.render(handmade.report(hostile='<script>alert("x")</script>" onload="y'))
    assert "<script" not in html and '" onload="' not in html
    assert "&lt;script&gt;" in html


def test_the_front_page_holds_no_more_than_it_promises(handmade):
    html = page.render(handmade.report(rows=9))
    front = html[html.index('class="front"') : html.index("</article>")]
    assert front.count('<p class="sentence">') == 7
    assert front.count("recalls overdue") == 7 and "And 2 more" in front


def test_a_page_with_nothing_to_say_still_stands(handmade):
    html = page.render(handmade.report(answers=0, rows=0))
    assert "does not hold enough for an answer" in html and "Nothing is overdue" in html and "sets no standard" in html


def test_the_letters_are_cut_to_the_page_and_the_same_each_time():
    once = letters.faces("Audit 71 %")
    letters._subset.cache_clear()
    assert letters.faces("Audit 71 %") == once
    assert len(once) < 30_000 < len(letters.faces("".join(map(chr, range(32, 383)))))


def test_the_same_report_is_the_same_page(handmade, html):
    assert page.render(handmade.report()) == html
