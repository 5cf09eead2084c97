"""How often the guard misses personal data and how often it takes codes for it: columns of generated names in many scripts, and of codes.

    python tests/intake/privacy_study.py [COLUMNS]       prints the rates and writes privacy_rates.json beside this file (seed fixed)

Names, addresses, telephone and identity numbers come from the general-purpose library Faker, none of whose lists the guard uses. A column
of personal data is *missed* where not one of its cells is refused; *cells let by* is the share of its cells that are not. A column of codes is
a *false alarm* where any of its cells is refused.
"""

from __future__ import annotations

import base64
import hashlib
import json
import random
import string
import sys
import uuid
from collections import defaultdict
from pathlib import Path

from outcomes.intake import privacy

SEED, SIZE = 20240314, 24
SCRIPTS = {
    "Latin": ["en_US", "en_GB", "de_DE", "fr_FR", "es_ES", "it_IT", "pt_BR", "nl_NL", "pl_PL", "cs_CZ", "hu_HU", "ro_RO", "sv_SE", "fi_FI", "tr_TR", "vi_VN", "id_ID", "hr_HR", "lt_LT"],
    "Cyrillic": ["ru_RU", "uk_UA", "bg_BG"], "Greek": ["el_GR"], "Arabic": ["ar_SA", "ar_EG", "fa_IR"], "Hebrew": ["he_IL"], "Devanagari": ["hi_IN", "ne_NP"], "Bengali": ["bn_BD"],
    "Tamil": ["ta_IN"], "Thai": ["th_TH"], "Chinese": ["zh_CN", "zh_TW"], "Japanese": ["ja_JP"], "Korean": ["ko_KR"], "Georgian": ["ka_GE"], "Armenian": ["hy_AM"],
}
# With a seed of their own: Latin locales at which nobody looked while the guard was made; of other scripts one further locale, the others being those above drawn anew.
HELD_OUT = {"Latin, held out": ["da_DK", "no_NO", "et_EE", "lv_LV", "sk_SK", "sl_SI", "es_MX", "pt_PT", "de_AT", "en_IN", "az_AZ", "fr_CA"], "other scripts, held out": ["ar_AA", "ne_NP", "uk_UA", "ko_KR", "ja_JP"]}
FORMS = {
    "full name": lambda fake: fake.name(), "surname only": lambda fake: fake.last_name(), "given name only": lambda fake: fake.first_name(), "surname, given": lambda fake: f"{fake.last_name()}, {fake.first_name()}",
    "capitals": lambda fake: f"{fake.last_name()} {fake.first_name()}".upper(), "small letters": lambda fake: f"{fake.first_name()} {fake.last_name()}".lower(),
    "initial and surname": lambda fake: f"{fake.first_name()[0]}. {fake.last_name()}", "surname and initial": lambda fake: f"{fake.last_name()} {fake.first_name()[0]}",
}
# What no guard can tell well from words that a clinic uses as pseudonyms, measured all the same.
HARD = {"surname in small letters": lambda fake: fake.last_name().lower()}
OTHERS = {"e-mail": lambda fake: fake.email(), "telephone": lambda fake: fake.phone_number(), "address": lambda fake: fake.address().replace("\n", ", "), "street": lambda fake: fake.street_address(),
          "identity number": lambda fake: fake.ssn(), "birth date": lambda fake: fake.date_of_birth(minimum_age=40, maximum_age=95).strftime("%d.%m.%Y")}
# Words of levels, invented, in several scripts; a clinic's own words stand where no people do, or as codes with a number.
LEVELS = ["light", "medium", "firm", "extra firm", "Extra Light", "soft 2", "A 1.5", "Level 3", "weich", "sehr weich", "fest", "souple", "très souple", "suave", "fuerte", "morbido", "miękki", "měkký", "yumuşak", "nhẹ", "мягкий", "средний", "твёрдый", "μαλακό", "σκληρό",
          "خفيف", "متوسط", "קל", "חזק", "हल्का", "मध्यम", "柔", "中", "硬", "弱い", "普通", "강", "약함", "เบา", "แน่น", "รสอ่อน", "6.7 N", "12 N", "unknown", "S", "M", "XL", "Stufe 1", "niveau 2", "1500 g", "12/24"]


def held_out_codes(chance: random.Random) -> dict[str, list[str]]:
    """Further columns of codes, written down after the guard was made. One of them, hexadecimal 12 capitals, gave alarms in one column of ten at first (a code without a letter); the guard was then changed."""
    number = lambda low, high: [int(one) for one in chance.sample(range(low, high), SIZE)]
    greek, words = ("alpha", "beta", "gamma", "delta", "epsilon", "zeta"), ("apple", "pear", "plum", "cherry", "quince", "fig", "lemon", "melon", "grape", "peach", "olive", "almond", "walnut", "hazel", "lime", "date", "mango", "papaya", "guava", "kiwi", "currant", "sloe", "medlar", "damson")
    return {
        "a-001-b": [f"{chance.choice('abc')}-{one:03d}-{chance.choice('lru')}" for one in number(1, 999)], "ID 12": [f"ID {one}" for one in number(1, 999)], "p001 small": [f"p{one:03d}" for one in number(1, 999)],
        "OVD-17 L": [f"OVD-{one} {chance.choice('LR')}" for one in number(1, 99)], "Greek letter and number": [f"{chance.choice(greek)}-{one}" for one in number(1, 99)], "number/year": [f"{one}/{chance.randrange(15, 26)}" for one in number(1, 999)],
        "number/full year": [f"{one:04d}/{chance.randrange(2015, 2026)}" for one in number(1, 9999)], "К-17": [f"К-{one}" for one in number(1, 99)], "甲17": [f"{chance.choice('甲乙丙')}{one}" for one in number(1, 99)], "م 17": [f"م {one}" for one in number(1, 99)],
        "MD5 32": [hashlib.md5(f"{chance.random()}".encode()).hexdigest() for _ in range(SIZE)], "hexadecimal 12 capitals": [hashlib.sha1(f"{chance.random()}".encode()).hexdigest()[:12].upper() for _ in range(SIZE)],
        "fruit": chance.sample(words, SIZE), "0001 to 0024": [f"{one:04d}" for one in range(1, SIZE + 1)], "12.345": [f"{one / 1000:.3f}" for one in number(10_000, 99_999)], "23-0017-LU": [f"{chance.randrange(15, 26)}-{one:04d}-{chance.choice(('LU', 'LL', 'UU'))}" for one in number(1, 9999)],
    }


def codes(chance: random.Random) -> dict[str, list[str]]:
    """Columns of codes as clinics use them, one of each kind."""
    number = lambda low, high: [str(one) for one in chance.sample(range(low, high), SIZE)]
    start = chance.randrange(1, 5000)
    letters = lambda alphabet, length: ["".join(chance.choice(alphabet) for _ in range(length)) for _ in range(SIZE)]
    digest = lambda text: hashlib.sha256(f"{chance.random()}{text}".encode())
    prefix = "".join(chance.choice(string.ascii_uppercase) for _ in range(chance.choice((1, 2, 3))))
    return {
        "P001": [f"P{one:03d}" for one in range(start, start + SIZE)], "P0042 scattered": [f"{prefix}{int(one):04d}" for one in number(1, 9999)], "0042": [f"{int(one):04d}" for one in number(1, 9999)],
        "running": [str(one) for one in range(start, start + SIZE)], "long running": [str(10_000_000 + start + one) for one in range(SIZE)], "filled with zeros": [f"{start + one:010d}" for one in range(SIZE)],
        "year and number": [f"{chance.randrange(2015, 2026)}-{int(one):05d}" for one in number(1, 99999)], "prefix, year and number": [f"{prefix}-{chance.randrange(2015, 2026)}-{int(one):04d}" for one in number(1, 9999)],
        "UUID": [str(uuid.UUID(int=chance.getrandbits(128), version=4)) for _ in range(SIZE)], "hexadecimal 8": [digest(one).hexdigest()[:8] for one in range(SIZE)], "hexadecimal 64": [digest(one).hexdigest() for one in range(SIZE)],
        "base 32": [base64.b32encode(digest(one).digest()).decode()[:12] for one in range(SIZE)], "base 64": [base64.b64encode(digest(one).digest()).decode()[:16] for one in range(SIZE)],
        "letters only, 6 capitals": letters(string.ascii_uppercase, 6), "letters only, 8 small": letters(string.ascii_lowercase, 8), "letters and digits": letters(string.ascii_uppercase + string.digits, 6),
        "letter, hyphen, number": [f"{chance.choice('ABC')}-{int(one)}" for one in number(1, 99)], "clinic and number": [f"{chance.choice(('north', 'south', 'east'))} {int(one)}" for one in number(1, 500)],
        "words as pseudonyms": [f"{chance.choice(('blue', 'red', 'grey', 'quick', 'small', 'bright', 'old', 'soft'))} {chance.choice(('heron', 'fox', 'otter', 'maple', 'stone', 'lamp', 'river', 'oak', 'plum', 'wren', 'cloud'))}" for _ in range(SIZE)],
        "Patient 12": [f"{chance.choice(('Patient', 'Pat.', 'Case', 'Fall', 'Subject', 'Paciente', 'Пациент', 'مريض', '患者', '환자'))} {int(one)}" for one in number(1, 500)], "six digits": number(100_000, 999_999), "eight digits": number(10_000_000, 99_999_999),
        "clinician letters": [chance.choice(("A", "B", "C", "AB", "KL", "Z1", "H2", "甲", "乙")) for _ in range(SIZE)], "keys of visits": [f"P{int(one):04d}/{chance.randrange(2015, 2026)}-{chance.randrange(1, 13):02d}-{chance.randrange(1, 29):02d}" for one in number(1, 9999)],
    }


def refused(values: list[str], person: bool) -> int:
    """How many cells of a column the guard refuses."""
    return len(privacy.column(values, person=person))


def misses(locales: dict[str, list[str]], forms: dict, columns: int, person: bool = True, seed: int = SEED) -> dict[str, dict]:
    """By script and form: columns tried, columns missed, cells, cells let by."""
    from faker import Faker

    out: dict[str, dict] = defaultdict(lambda: {"columns": 0, "missed": 0, "cells": 0, "let_by": 0})
    for name, members in locales.items():
        for place, locale in enumerate(members):
            fake = Faker(locale)
            fake.seed_instance(seed + place)
            for form, make in forms.items():
                if form in ("capitals", "small letters") and name.split(",")[0] not in ("Latin", "Cyrillic", "Greek", "Armenian"):
                    continue
                for _ in range(columns):
                    values = [make(fake) for _ in range(SIZE)]
                    caught = refused(values, person)
                    for key in (name, f"{name}: {form}"):
                        out[key]["columns"] += 1
                        out[key]["missed"] += not caught
                        out[key]["cells"] += SIZE
                        out[key]["let_by"] += SIZE - caught
    return dict(out)


def one_among_codes(locales: dict[str, list[str]], columns: int) -> dict[str, dict]:
    """Columns of codes with one name among them: how often just that cell goes by."""
    from faker import Faker

    out: dict[str, dict] = defaultdict(lambda: {"columns": 0, "missed": 0})
    chance = random.Random(SEED)
    for name, members in locales.items():
        for place, locale in enumerate(members):
            fake = Faker(locale)
            fake.seed_instance(SEED + place)
            for form in ("full name", "surname only"):
                for _ in range(columns):
                    values = [*chance.choice(list(codes(chance).values()))[:SIZE - 1], FORMS[form](fake)]
                    key = f"{name}: one {form} among codes"
                    out[key]["columns"] += 1
                    out[key]["missed"] += SIZE - 1 not in privacy.column(values, person=True)
    return dict(out)


def alarms(columns: int, kinds=codes) -> dict[str, dict]:
    """By kind of code: columns tried, columns with an alarm. Codes are judged as pseudonyms, levels where levels stand."""
    chance = random.Random(SEED)
    out: dict[str, dict] = defaultdict(lambda: {"columns": 0, "alarms": 0})
    for _ in range(columns):
        for kind, values in kinds(chance).items():
            out[kind]["columns"] += 1
            out[kind]["alarms"] += refused(values, True) > 0
        values = chance.sample(LEVELS, 12)
        out["levels in any script"]["columns"] += 1
        out["levels in any script"]["alarms"] += refused(values, False) > 0
    return dict(out)


def main(columns: int) -> None:
    """The whole study, printed and written down."""
    found = {"seed": SEED, "rows_of_a_column": SIZE, "names": misses(SCRIPTS, FORMS, columns), "other personal data": {}, "codes": alarms(columns * 10),
             "names held out": misses(HELD_OUT, FORMS, columns, seed=SEED + 1000), "codes held out": alarms(columns * 10, held_out_codes), "hard to tell": misses({"Latin": SCRIPTS["Latin"], "Cyrillic": SCRIPTS["Cyrillic"]}, HARD, columns) | one_among_codes(SCRIPTS, columns)}
    for what, make in OTHERS.items():
        for name, row in misses(SCRIPTS, {what: make}, max(columns // 4, 2), person=False).items():
            if ":" not in name:
                found["other personal data"][f"{what}, {name}"] = row
    Path(__file__).with_name("privacy_rates.json").write_text(json.dumps(found, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    for title, part in found.items():
        if not isinstance(part, dict):
            continue
        for name, row in part.items():
            cells = f"; cells let by {row['let_by'] / row['cells']:.1%}" if "cells" in row else ""
            bad = "missed" if "missed" in row else "alarms"
            print(f"{title:20} {name:44} {row[bad]:5} of {row['columns']:6} columns ({row[bad] / row['columns']:.2%}){cells}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
