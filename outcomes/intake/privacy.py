"""The guard at the door: headings and contents that look like personal data are refused, with the cell and what to do.

Three looks: at a heading, at one cell, and at a column as a whole, where single words tell more together than alone. How often each
misses and how often it cries wolf is measured by ``tests/intake/privacy_study.py``.
"""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections import Counter
from functools import cache, lru_cache

from outcomes import schemas
from outcomes.intake import check_digits, personal_names
from outcomes.intake.numbers import digits
from outcomes.intake.personal_names import bare_word

_EMAIL = re.compile(r"[^\s@]+@[^\s@]+\.\w{2,}")
_PHONE = re.compile(r"(?:\+|00)?[\d()][\d\s()/.\-–]*\d(?:\s*(?:x|ext\.?)\s*\d{1,6})?", re.IGNORECASE)
_DATE = re.compile(r"(?:19|20)\d\d([-/.])\d{1,2}\1\d{1,2}|\d{1,2}([-/.])\d{1,2}\2(?:19|20)?\d\d|(?:19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])|(?:19|20)\d\d年\d{1,2}月\d{1,2}日?")
_VISIT_KEY = re.compile(r"(.+?)/(?:(?:19|20)\d\d|upper|lower)\b.*")
_RUNNING = re.compile(r"(?:19|20)\d\d[-/_.]\d{1,7}|0{4,}\d+|(?:19|20)\d\d0\d{4,6}")  # a year and a running number, or a number filled up with zeros
_CODE = re.compile(r"[A-Za-z]{0,4}[-_ ]?\d{1,7}")  # what most pseudonyms look like; too short for any of the numbers looked for, and quick to tell
_DAY_INSIDE = re.compile(r"\d{6}")
DIGITS_OF_A_NUMBER = 9  # a pseudonym has fewer; telephone, identity and insurance numbers mostly have more
FREE = "free text, which the log does not keep"
FREE_WORDS, FREE_LETTERS, FREE_SIGNS = 7, 80, 24  # words, letters, and letters of a script without blanks from which a cell is free text
MOST_JUDGED = 5000
ALIKE = 0.4  # share of a column's values that look like one kind of personal data, from which the others do too
FEW = 8  # different values below which a column is judged cell by cell only
IDENTITY = "an identity or insurance number"


@cache
def _words() -> dict:
    return tomllib.loads((schemas.HERE / "personal_words.toml").read_text(encoding="utf-8"))


@cache
def _headings() -> tuple[dict[str, str], list[tuple[str, str]], frozenset, frozenset]:
    body = _words()["headings"]
    whole = {bare_word(word): reason for reason, lists in body.items() if isinstance(lists, dict) for word in lists["words"]}
    inside = [(bare_word(word), reason) for reason, lists in body.items() if isinstance(lists, dict) for word in lists["inside"]]
    return whole, inside, frozenset(bare_word(word) for word in body["alone"]), frozenset(body["not_of_people"])


def heading(text: str) -> str | None:
    """What personal data a heading promises ("a name", "a date of birth"…), or None."""
    whole, inside, alone, others = _headings()
    plain = unicodedata.normalize("NFKC", str(text)).casefold()
    words = [bare_word(word) for word in re.split(r"[\s_\-/.,;:()]+", plain) if bare_word(word)]
    joined = "".join(words)
    if joined in whole:
        return whole[joined]
    if others & set(words):
        return None
    for word in words:
        if word in whole and word not in alone and len(word) > 1:
            return whole[word]
    pairs = ["".join(words[at:at + size]) for size in (2, 3) for at in range(len(words) - size + 1)]
    for pair in pairs:
        if pair in whole:
            return whole[pair]
    return next((reason for part, reason in inside if part and part in joined), None)


def content(text: str, *, person: bool) -> str | None:
    """What personal data a text looks like, or None. ``person``: the column stands for a person, so a name in it is refused too.

    Of keys such as ``P0042/2024-03-14`` only what stands before the first stroke is judged.
    """
    text = str(text).strip()
    if _CODE.fullmatch(text) or _of_a_code(text):
        return None
    if "@" in text and _EMAIL.search(text):
        return "an e-mail address"
    return _content(judged(text), person)


def _of_a_code(text: str) -> bool:
    """Whether a text is the key of a visit or denture of a plain code, such as P0042/2024-03-14."""
    head, stroke, rest = text.partition("/")
    return bool(stroke) and (rest[:2] in ("19", "20") and rest[2:4].isdigit() and not rest[4:5].isdigit() or rest[:5] in ("upper", "lower")) and _CODE.fullmatch(head) is not None


def shown(text: str, otherwise: str, judged_by: str | None = None) -> str:
    """A heading or title as it may be told: ``text`` itself, or ``otherwise`` where it (or ``judged_by``) looks like somebody's name or data."""
    return otherwise if content(text if judged_by is None else judged_by, person=True) else text


def judged(text: str) -> str:
    """What is judged of a text: of a key of a visit or a denture what stands before its first stroke."""
    key = _VISIT_KEY.fullmatch(text) if "/" in text else None
    return key.group(1) if key else text


@lru_cache(maxsize=100_000)
def _content(text: str, person: bool) -> str | None:
    plain = digits(unicodedata.normalize("NFKC", text))
    if _DATE.fullmatch(plain):
        return "a date, perhaps of birth"
    if sum(letter.isdigit() for letter in plain) >= DIGITS_OF_A_NUMBER and _PHONE.fullmatch(plain) and not _RUNNING.fullmatch(plain):
        return "a telephone, identity or insurance number"
    if len(plain) >= 15 and check_digits.account(plain):
        return "a bank account number"
    if personal_names.address(plain):
        return "an address"
    if person and personal_names.sure(plain):
        return "a name"
    if len(plain.split()) >= FREE_WORDS or len(plain) > FREE_LETTERS or sum(personal_names.unspaced(letter) for letter in plain) > FREE_SIGNS:
        return FREE
    return None


def column(values: list[str], *, person: bool, own_words: bool = False) -> dict[int, str]:
    """Which of a column's different values look like personal data, alone or beside each other, with what they look like.

    ``own_words``: the clinic's own words stand there, which are free text only beyond the length of one.

    Beside each other: numbers that all end in check digits of one family or hold days of birth, streets, telephone numbers without a
    country, in a column of people also single words that are names. Where two fifths of a column look alike, the rest of it does too.
    """
    filled = {at: text for at, value in enumerate(values) if (text := _plain(value))}
    found = {at: reason for at in filled if (reason := content(values[at], person=person)) and not (own_words and reason == FREE and len(values[at]) <= FREE_LETTERS)}
    sample = list(dict.fromkeys(filled.values()))
    uncoded = {at: text for at, text in filled.items() if not _CODE.fullmatch(text)}
    if len(sample) < FEW:
        if person and len(sample) >= FEW // 2 and personal_names.without_capitals(sample) and personal_names.is_of_names(sample):
            return {at: "a name" for at in filled} | found
        return found | (personal_names.outliers(uncoded, sample) if person else {})
    if len(sample) > MOST_JUDGED:  # so many are enough to know what a column is
        sample = sample[:: len(sample) // MOST_JUDGED]
    compact = [text for text in sample if len(text) == 8 and text.isdigit()]
    if len(compact) >= 0.8 * len(sample) and sum(bool(_DATE.fullmatch(text)) for text in compact) < 0.4 * len(compact):
        found = {at: reason for at, reason in found.items() if len(filled[at]) != 8}  # numbers of eight digits, some of which happen to be days
    mixed = [text for text in sample if text.isalnum() and not text.isdigit() and any(letter.isdigit() for letter in text)]
    if len(mixed) >= 0.6 * len(sample) and len({len(text) for text in mixed}) == 1:
        found = {at: reason for at, reason in found.items() if not (filled[at].isdigit() and len(filled[at]) == len(mixed[0]))}  # of codes of letters and digits some have no letter
    reasons = Counter(reason for reason in map(_cell(person), sample) if reason) if found else Counter()
    often, count = (reasons.most_common(1) or [("", 0)])[0]
    if count >= ALIKE * len(sample):
        return {at: found.get(at, often) for at in filled}
    numbers = [text for text in sample if any(letter.isdigit() for letter in text)]
    if personal_names.of_streets(sample):
        return {at: found.get(at, "an address") for at in filled}
    reason = _numbers(numbers) if len(numbers) >= 0.9 * len(sample) else None
    if reason:
        return {at: reason for at, text in filled.items() if any(letter.isdigit() for letter in text)} | found
    if not person:
        return found
    return found | (personal_names.column(filled) if personal_names.is_of_names(sample) else personal_names.outliers(uncoded, sample))


def _cell(person: bool):
    return lambda text: content(text, person=person)


def _plain(value: str) -> str:
    text = value.strip()
    text = judged(text) if "/" in text else text
    return text if text.isascii() else digits(unicodedata.normalize("NFKC", text))


def _numbers(texts: list[str]) -> str | None:
    if check_digits.family(texts) or _identities(texts):
        return IDENTITY
    if _days_inside(texts):
        return "a number with a date of birth in it"
    separated = [text for text in texts if re.search(r"\d[\s()/.\-]+\d", text) and _PHONE.fullmatch(text) and 7 <= sum(letter.isdigit() for letter in text) and not re.match(r"(?:19|20)\d\d[-/.]", text)]
    if len(separated) >= 0.9 * len(texts) and len({re.sub(r"\d", "9", text) for text in separated}) < len(separated) and any(text[0] in "+0(" for text in separated):
        return "a telephone number"
    return None


def _identities(texts: list[str]) -> bool:
    """Whether all have letters and digits at the same places in turns, or are one or two letters before nine or ten digits that do not run on from a year."""
    shapes = {re.sub(r"[^\W\d_]", "A", re.sub(r"\d", "9", text)) for text in texts}
    if len(shapes) == 1 and len(texts) >= FEW:  # letters and digits in turns, each text alike: no hash is
        (shape,) = shapes
        if len(shape) >= 10 and shape.isalnum() and len(re.findall(r"A+|9+", shape)) >= 4:
            return True
    if not all(re.fullmatch(r"[A-Z]{1,2}\d{9,10}", text) for text in texts):
        return False
    return len({re.sub(r"^[A-Z]+", "", text)[:2] for text in texts}) >= min(FEW, len(texts) // 3)


def _days_inside(texts: list[str]) -> bool:
    """Whether six digits at the same place of every number are a day, over so many years that they can only be days of birth."""
    if len({len(text) for text in texts}) != 1 or len(set(texts)) < FEW:
        return False
    for at in range(len(texts[0]) - 5):
        cut = [text[at:at + 6] for text in texts]
        if not all(_DAY_INSIDE.fullmatch(one) for one in cut):
            continue
        for year, day in ((slice(0, 2), slice(4, 6)), (slice(4, 6), slice(0, 2))):
            if all(1 <= int(one[2:4]) <= 12 and 1 <= int(one[day]) <= 31 for one in cut):
                years = sorted({int(one[year]) for one in cut})
                if years[-1] - years[0] >= 25 and len(years) >= min(FEW, len(texts) // 2) and len({one[2:4] for one in cut}) > 3:
                    return True
    return False


