"""Families of check digits that identity, insurance and account numbers end in: whether a whole column of numbers is of one family.

Families, not countries: Luhn, weights of 3 and 1, weighted sums modulo 11, ISO 7064 (MOD 11-2, MOD 11,10, MOD 97-10, MOD 37-2, MOD 37,36), Verhoeff, and a
last sign that a remainder of the number decides.
"""

from __future__ import annotations

import re
from collections.abc import Callable

FEWEST = 8  # numbers in a column before a family is believed: by chance one in 10 to the 8th
SHORTEST = 7  # signs of a number
_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"


def luhn(number: str) -> bool:
    """ISO/IEC 7812-1, annex B."""
    digits = [int(digit) for digit in reversed(number)]
    return sum(digits[0::2] + [sum(divmod(2 * digit, 10)) for digit in digits[1::2]]) % 10 == 0


def threes(number: str) -> bool:
    """Weights 1 and 3 from the right, modulo 10, as in article numbers."""
    digits = [int(digit) for digit in reversed(number)]
    return (sum(digits[0::2]) + 3 * sum(digits[1::2])) % 10 == 0


def weighted_11(number: str) -> bool:
    """Weights 1, 2, 3… from the right, modulo 11; a last X is 10, as in book numbers."""
    digits = [10 if digit == "X" else int(digit) for digit in reversed(number)]
    return sum(weight * digit for weight, digit in enumerate(digits, 1)) % 11 == 0


def cyclic_11(most: int) -> Callable[[str], bool]:
    """The last digit from weights 2 to ``most`` again and again from the right, modulo 11."""
    def test(number: str) -> bool:
        total = sum(int(digit) * (2 + at % (most - 1)) for at, digit in enumerate(reversed(number[:-1])))
        return int(number[-1]) == (11 - total % 11) % 11 % 10
    return test


def mod_11_2(number: str) -> bool:
    """ISO 7064 MOD 11-2; a last X is 10."""
    return _pure(number, 11, 2)


def mod_37_2(number: str) -> bool:
    """ISO 7064 MOD 37-2, of digits and letters."""
    return _pure(number, 37, 2)


def _pure(number: str, modulus: int, radix: int) -> bool:
    total = 0
    for sign in number[:-1]:
        total = (total + _ALPHABET.index(sign)) * radix
    last = 10 if modulus == 11 and number[-1] == "X" else _ALPHABET.index(number[-1])
    return (total + last) % modulus == 1


def hybrid(modulus: int) -> Callable[[str], bool]:
    """ISO 7064 MOD 11,10 (``modulus`` 10) and MOD 37,36 (``modulus`` 36)."""
    def test(number: str) -> bool:
        check = modulus
        for sign in number[:-1]:
            check = (check + _ALPHABET.index(sign)) % modulus or modulus
            check = check * 2 % (modulus + 1)
        return (check + _ALPHABET.index(number[-1])) % modulus == 1
    return test


def mod_97(number: str) -> bool:
    """ISO 7064 MOD 97-10, letters as 10 to 35."""
    return int("".join(str(_ALPHABET.index(sign)) for sign in number)) % 97 == 1


def rest_97(number: str) -> bool:
    """The last two digits are 97 less the remainder of the others by 97."""
    return 97 - int(number[:-2]) % 97 == int(number[-2:])


def account(text: str) -> bool:
    """Whether a text is an international account number (ISO 13616): two letters, two digits, the rest moved to the front leaves 1 by 97."""
    bare = re.sub(r"\s", "", text)
    return bool(re.fullmatch(r"[A-Z]{2}\d{2}[A-Z0-9]{11,30}", bare)) and int("".join(str(_ALPHABET.index(sign)) for sign in bare[4:] + bare[:4])) % 97 == 1


# The dihedral group of order 10 and the permutation of Verhoeff's method (1969).
_MULTIPLY = ["0123456789", "1234067895", "2340178956", "3401289567", "4012395678", "5987604321", "6598710432", "7659821043", "8765932104", "9876543210"]
_PERMUTE = ["0123456789", "1576283094", "5803796142", "8916043527", "9453126870", "4286573901", "2793806415", "7046913258"]


def verhoeff(number: str) -> bool:
    """Verhoeff's check digit."""
    check = "0"
    for at, digit in enumerate(reversed(number)):
        check = _MULTIPLY[int(check)][int(_PERMUTE[at % 8][int(digit)])]
    return check == "0"


DIGITS: dict[str, Callable[[str], bool]] = {
    "luhn": luhn, "threes": threes, "cyclic 7": cyclic_11(7), "cyclic 9": cyclic_11(9), "cyclic 10": cyclic_11(10), "MOD 11,10": hybrid(10), "MOD 97-10": mod_97, "rest 97": rest_97, "verhoeff": verhoeff}
DIGITS_AND_X: dict[str, Callable[[str], bool]] = {"weighted 11": weighted_11, "MOD 11-2": mod_11_2}
SIGNS: dict[str, Callable[[str], bool]] = {"MOD 37-2": mod_37_2, "MOD 37,36": hybrid(36), "MOD 97-10": mod_97}


def family(texts: list[str]) -> str | None:
    """The family of check digits that all of these different numbers are of; None where there are too few, or of none.

    Blanks, points, strokes and hyphens in a number do not count.
    """
    bare = list({re.sub(r"[\s./-]", "", text).upper() for text in texts})
    if len(bare) < FEWEST or min(len(one) for one in bare) < SHORTEST or len({len(one) for one in bare}) > 2:
        return None
    if all(one.isascii() and one.isdigit() for one in bare):
        kinds = DIGITS | DIGITS_AND_X
    elif all(re.fullmatch(r"\d+[\dX]", one) for one in bare):
        kinds = DIGITS_AND_X
    elif all(re.fullmatch(r"[0-9A-Z]+", one) for one in bare) and sum(any(sign.isdigit() for sign in one) for one in bare) == len(bare):
        kinds = SIGNS
    else:
        kinds = {}
    for name, test in kinds.items():
        if all(test(one) for one in bare):
            return name
    return _remainder(bare)


def _remainder(bare: list[str]) -> str | None:
    """Numbers whose last letter is decided by a remainder of the digits before it: seen where numbers with the same remainder agree."""
    if not all(re.fullmatch(r"\d{6,}[A-Z]", one) for one in bare) or len({one[-1] for one in bare}) < 4:
        return None
    for modulus in (23, 11, 19, 26, 31):
        letters: dict[int, str] = {}
        agreeing = 0
        for one in bare:
            rest = int(one[:-1]) % modulus
            if letters.setdefault(rest, one[-1]) != one[-1]:
                break
            agreeing += 1
        else:
            if agreeing - len(letters) >= 4:  # so many met a remainder again and had the same letter
                return f"remainder of {modulus}"
    return None
