"""Names and addresses of people in the scripts of the world, told from codes: one cell at a time, and a column of them together."""

from __future__ import annotations

import re
import tomllib
import unicodedata
from collections import Counter
from functools import cache, lru_cache

from outcomes import schemas

LETTERS = ("L", "M")
CASED = ("LATIN", "CYRILLIC", "GREEK", "ARMENIAN")
_UNSPACED = ("CJK", "HIRAGANA", "KATAKANA", "HANGUL", "THAI", "LAO", "KHMER", "MYANMAR")
_VOWELS = frozenset("aeiouyæøœаеёиоуыэюяіїєαεηιουωաեէըիոօ")
_JOINS = "-'’ʼ`´.·・‐‑ـ\u200c\u200d"
MOST = 0.4  # share of words without a digit from which a column of people is one of names
DIVERSE = 0.7  # share of different words among those of pairs of words, which words drawn from a short list do not reach
_STEMS = frozenset("甲乙丙丁戊己庚辛壬癸子丑寅卯辰巳午未申酉戌亥一二三四五六七八九十가나다라마바사아자차카타파하")  # count like letters do
FEW_STREETS = 15  # a clinic has fewer levels, each with its own word and number
_STREETS = "路街巷弄号號"
VOWELS = 0.27  # share of vowels among the letters of words, which random letters do not reach (5 or 6 of 26)


@cache
def _cells() -> dict:
    body = tomllib.loads((schemas.HERE / "personal_words.toml").read_text(encoding="utf-8"))["cells"]
    return {name: frozenset(words) if name not in ("glued_titles", "honorifics", "street_inside", "street_ends") else tuple(words) for name, words in body.items()}


@lru_cache(maxsize=4096)
def script(letter: str) -> str:
    """The script of a letter by the first word of its Unicode name."""
    return unicodedata.name(letter, "NONE").split()[0].split("-")[0]


def unspaced(letter: str) -> bool:
    """Whether a letter belongs to a script that mostly sets no blanks between words."""
    return not letter.isascii() and script(letter) in _UNSPACED


def bare_word(text: str) -> str:
    """A word without case and signs, its marks composed."""
    return "".join(letter for letter in unicodedata.normalize("NFKC", text).casefold() if unicodedata.category(letter)[0] in "LMN")


def _is_word(word: str) -> bool:
    return bool(word) and all(unicodedata.category(letter)[0] in LETTERS or letter in _JOINS for letter in word) and any(letter.isalpha() for letter in word)


def _letters(word: str) -> int:
    return sum(letter.isalpha() for letter in word)


def _cased(word: str) -> bool:
    return script(next(letter for letter in word if letter.isalpha())) in CASED


def _title(word: str) -> bool:
    """A word of a script with capitals that begins with one and goes on in small letters, as in Anna, O'Neill, Jean-Luc or McKay."""
    if _letters(word) < 2 or not _cased(word):
        return False
    pieces = [piece for piece in re.split(f"[{re.escape(_JOINS)}]", re.sub(r"^(?:Mc|Mac|Fitz|De|Di|La|Le|Van|Von|Du)(?=[A-ZÀ-Þ])", "", word)) if piece]
    return pieces[0][0] == pieces[0][0].upper() != pieces[0][0].lower() and all(piece[1:] == piece[1:].lower() for piece in pieces) and any(letter.islower() for letter in word)


def _capitals(word: str) -> bool:
    letters = [letter for letter in word if letter.isalpha()]
    return len(letters) >= 3 and _cased(word) and all(letter == letter.upper() != letter.lower() for letter in letters) and bool(_VOWELS & set(word.casefold()) or not word.isascii())


def _words(text: str) -> list[str]:
    return [word for word in re.split(r"[\s,;]+", text) if word]


@lru_cache(maxsize=100_000)
def sure(text: str) -> bool:
    """Whether a text in a column of people is a name beyond much doubt: two words with capitals, a title before a word, a comma between
    words, or letters of a script without capitals that stand for nothing else there.
    """
    cells = _cells()
    words = _words(re.sub(r"[()\[\]\"“”]", " ", text))
    named = [word for word in words if _is_word(word)]
    if not named:
        return False
    if sum(len(word) for word in words if not _is_word(word)) and any(bare_word(word) in cells["numbered"] for word in named):
        return False  # Patient No 12
    first = words[0].casefold().rstrip(".")
    if len(words) > 1 and (first in cells["titles"] or words[0].casefold() in cells["titles"]) and any(_letters(word) > 1 and (_title(word) or not _cased(word) or words[0].endswith(".") or len(first) > 1) for word in named[1:]):
        return True
    rest = [word for word in words if not _is_word(word) and not re.fullmatch(r"[\d./\-]+", word)]
    if rest:
        return False
    if not _cased(named[0]):
        return _uncased(text, named)
    strong = [word for word in named if _title(word) or _capitals(word)]
    small = [word for word in named if word not in strong]
    initials = [word for word in small if _letters(word) == 1 and word[0].isupper() or re.fullmatch(r"(?:[^\W\d_]\.){1,3}-?(?:[^\W\d_]\.)?", word)]
    others = [word for word in small if word not in initials and bare_word(word) not in cells["particles"]]
    if "," in text and len(named) == len(words) >= 2 and (not others or len(named) > 1 and all(_letters(word) > 1 for word in named)):
        return bool(strong) or all(_letters(word) >= 3 for word in named)
    if len(words) <= 6 and any(_title(one) and _title(other) and min(_letters(one), _letters(other)) >= 3 for one, other in zip(named, named[1:])):
        return True  # a title or a degree beside two words with capitals
    digits_too = len(named) < len(words)
    if others or digits_too and len(strong) < 2:
        return False
    return len(strong) >= 2 and (any(_title(word) for word in strong) or all(_letters(word) >= 3 for word in strong)) or bool(strong) and bool(initials) and len(words) <= 4


def _uncased(text: str, named: list[str]) -> bool:
    """Words of a script without capitals: in a column of people nothing else is written so without a digit."""
    if any(letter.isdigit() for letter in text):
        return len(named) >= 2 and not any(bare_word(word) in _cells()["numbered"] for word in named)
    count = sum(letter.isalpha() for letter in text)
    if bare_word(text) in _cells()["numbered"]:
        return False
    return count >= 2 if unspaced(text[0]) else count >= 3


def is_of_names(distinct: list[str]) -> bool:
    """Whether the different values of a column of people are names: so many are words, and words as people say them."""
    cells = _cells()
    plain = [text for text in distinct if _is_plain(text)]
    if sum(text in _STEMS for text in distinct) > 0.5 * len(distinct):
        return False
    if len(plain) < MOST * len(distinct):
        return False
    surely = sum(sure(text) for text in plain)
    words = [word for text in plain for word in _words(text) if _letters(word) >= 2]
    letters = "".join(word.casefold() for word in words)
    cased = [letter for letter in letters if letter.isalpha() and script(letter) in CASED]
    if len(cased) < 0.5 * len("".join(plain)):
        return True  # where there are no capitals, words without a digit stand for nothing else in a column of people
    spoken = sum(unicodedata.normalize("NFD", letter)[0] in _VOWELS for letter in cased) >= VOWELS * len(cased)
    lengths = {_letters(text) for text in plain}
    two = sum(len(_words(text)) >= 2 for text in plain) >= 0.8 * len(plain)
    begun = sum(any(_title(word) or _capitals(word) for word in _words(text)) for text in plain)
    common = sum(any(bare_word(word) in cells["given"] for word in _words(text)) for text in plain)
    return surely >= 0.3 * len(plain) or spoken and len(lengths) > 2 and (begun >= 0.6 * len(plain) or common >= max(2, 0.06 * len(plain)) or two and len(set(words)) >= DIVERSE * len(words))


def without_capitals(texts: list[str]) -> bool:
    """Whether all are words of scripts that have no capitals."""
    return all(_is_plain(text) and not _cased(text) for text in texts)


def column(filled: dict[int, str]) -> dict[int, str]:
    """The values of a column of names that are words."""
    return {at: "a name" for at, text in filled.items() if _is_plain(text) or sure(text)}


def _is_plain(text: str) -> bool:
    return _letters(text) >= (1 if unspaced(text[0]) else 2) and all(_is_word(word) for word in _words(text))


def outliers(filled: dict[int, str], distinct: list[str]) -> dict[int, str]:
    """Single words with a capital among codes, and frequent given names anywhere: somebody's name where a pseudonym should stand.

    ``distinct``: the different values of the whole column.
    """
    known = {at: "a name" for at, text in filled.items() if text[:1].isalpha() and _is_plain(text) and any(_letters(word) > 2 and bare_word(word) in _cells()["given"] for word in _words(text))}
    words = {at: text for at, text in filled.items() if (text[:1].isupper() or unspaced(text[:1] or "0")) and _is_word(text) and text not in _STEMS}
    if not words:
        return known
    coded = sum(any(letter.isdigit() for letter in text) for text in distinct)
    if len(distinct) < 5 or coded < 0.6 * len(distinct):
        return known
    return known | {at: "a name" for at, text in words.items() if (_letters(text) >= 3 and _title(text) or not _cased(text)) and bare_word(text) not in _cells()["numbered"]}


@lru_cache(maxsize=100_000)
def address(text: str) -> bool:
    """Whether a text looks like a street with a number, or a postal code with a place."""
    if not any(letter.isdigit() for letter in text) or len(text) < 6:
        return False
    cells = _cells()
    words = [word.strip(",;()") for word in text.split()]
    if len(words) >= 2:
        for word in words:
            small = word.casefold()
            if (small in cells["streets"] or _letters(small) > 5 and small.rstrip(".0123456789").endswith(tuple(end.rstrip(".") for end in cells["street_ends"]))) and sum(_letters(one) for one in words) >= 5:
                if any(re.fullmatch(r"\d{1,5}[-/]?\d{0,4}[a-zA-Z]?\.?", one) for one in words):
                    return True
        if re.search(r"(?<!\d)\d{5}(?:-\d{4})?\s+[^\W\d_]{3,}|[^\W\d_]{3,},?\s+(?:[A-Z]{2}\s+)?\d{5}(?:-\d{4})?$|\b\d{2}-\d{3}\s+[^\W\d_]{3,}|\b\d{3} \d{2}\s+[^\W\d_]{3,}|\b\d{4} [A-Z]{2}\s+[^\W\d_]{3,}|\b[A-Z]{1,2}\d[A-Z\d]? \d[A-Z]{2}$", text) and len(words) <= 8:
            return True
    marked = sum(part in text for part in cells["street_inside"] if len(part) == 1 or part.strip() in text)
    far = [letter for letter in text if unspaced(letter)]
    return len(far) >= 4 and marked >= 2


def of_streets(distinct: list[str]) -> bool:
    """Whether a column's values are words with a number, hardly any word of which comes twice: streets, and not words of a list."""
    if sum(any(mark in text for mark in _STREETS) and sum(map(unspaced, text)) >= 3 for text in distinct) >= 0.6 * len(distinct):
        return True
    with_number = [text for text in distinct if any(letter.isdigit() for letter in text)]
    if len(with_number) < 0.8 * len(distinct):
        return False
    if len(distinct) < FEW_STREETS:
        return False
    far = [text for text in with_number if sum(unspaced(letter) for letter in text) >= 4]
    if len(far) >= 0.8 * len(distinct):
        return len({re.sub(r"[\d\s]", "", text) for text in far}) >= DIVERSE * len(far)
    words = [[bare_word(word) for word in text.split() if _letters(word) >= 3 and _is_word(word.strip(".,;()"))] for text in with_number]
    several = [one for one in words if one]
    if len(several) < 0.8 * len(distinct) or sum(" " in text for text in with_number) < 0.8 * len(distinct):
        return False
    rare = Counter(word for one in several for word in set(one))
    return sum(any(rare[word] == 1 for word in one) for one in several) >= DIVERSE * len(several)
