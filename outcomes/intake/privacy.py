"""The guard at the door: headings and contents that look like personal data are refused, with the cell and what to do."""

from __future__ import annotations

import re
from functools import lru_cache

# Words of a heading, in the languages clinics of several countries may use; the list is our own choice.
_HEADINGS = {
    "a name": ("name", "surname", "firstname", "lastname", "forename", "givenname", "familyname", "fullname", "patientname", "vorname", "nachname", "nom", "prenom",
               "apellido", "nombre", "cognome", "voornaam", "achternaam"),
    "a date of birth": ("dob", "birthdate", "dateofbirth", "birthday", "bornon", "geburtsdatum", "geburtstag", "datedenaissance", "geboortedatum",
                        "fechadenacimiento", "datadinascita"),
    "a telephone number": ("phone", "telephone", "tel", "mobile", "cellphone", "phonenumber", "telefon", "handy", "telefono"),
    "an e-mail address": ("email", "mail", "emailaddress", "mailaddress"),
    "an address": ("address", "street", "postcode", "zip", "zipcode", "postalcode", "city", "town", "adresse", "strasse", "plz", "direccion", "indirizzo", "adres"),
    "an identity or insurance number": ("ssn", "nationalid", "socialsecurity", "socialsecuritynumber", "insurancenumber", "insuranceno", "nhs", "nhsnumber", "passport",
                                        "passportnumber", "taxid", "healthcard"),
}
_ALONE_ONLY = {"nom", "tel", "mobile", "mail", "handy", "town", "zip"}  # ordinary words beside others
_NOT_OF_PEOPLE = {"level", "instrument", "file", "sheet", "system", "denture", "part", "table", "column", "code"}

_EMAIL = re.compile(r"[^\s@]+@[^\s@]+\.\w{2,}")
_PHONE = re.compile(r"(?:\+|00)?[\d()][\d\s()/.-]*\d")
_DATE = re.compile(r"(?:19|20)\d\d([-/.])\d{1,2}\1\d{1,2}|\d{1,2}([-/.])\d{1,2}\2(?:19|20)?\d\d|(?:19|20)\d\d(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])")
_TITLE = re.compile(r"(?:mr|mrs|ms|miss|dr|prof)\b\.?\s*\S", re.IGNORECASE)
_NAME = re.compile(r"[^\W\d_]{2,}\s*,\s*[^\W\d_]{2,}.*|[A-ZÀ-Þ][^\W\d_]+(?:[\s-][A-ZÀ-Þ][^\W\d_]*\.?)*\s[A-ZÀ-Þ][^\W\d_]+")
_VISIT_KEY = re.compile(r"(.+?)/(?:(?:19|20)\d\d|upper|lower)\b.*")
DIGITS_OF_A_NUMBER = 9  # a pseudonym has fewer; telephone, identity and insurance numbers mostly have more


def heading(text: str) -> str | None:
    """What personal data a heading promises ("a name", "a date of birth"…), or None."""
    words = [re.sub(r"\W", "", word) for word in re.split(r"[\s_\-/.]+", text.casefold())]
    joined = "".join(words)
    for reason, names in _HEADINGS.items():
        if joined in names:
            return reason
        if not _NOT_OF_PEOPLE & set(words) and any(word in names and word not in _ALONE_ONLY for word in words):
            return reason
    return None


def content(text: str, *, person: bool) -> str | None:
    """What personal data a text looks like, or None. ``person``: the column stands for a person, so a name in it is refused too.

    Of keys such as ``P0042/2024-03-14`` only what stands before the first stroke is judged.
    """
    text = text.strip()
    if "@" in text and _EMAIL.search(text):
        return "an e-mail address"
    key = _VISIT_KEY.fullmatch(text) if "/" in text else None
    return _content(key.group(1) if key else text, person)


@lru_cache(maxsize=100_000)
def _content(text: str, person: bool) -> str | None:
    if _DATE.fullmatch(text):
        return "a date, perhaps of birth"
    if sum(letter.isdigit() for letter in text) >= DIGITS_OF_A_NUMBER and _PHONE.fullmatch(text):
        return "a telephone, identity or insurance number"
    if person and (_NAME.fullmatch(text) or _TITLE.match(text)):
        return "a name"
    return None
