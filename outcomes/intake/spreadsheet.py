"""Pieces of spreadsheet formulas that read a cell as the checks read it, whatever language the spreadsheet program speaks.

No piece uses a date or number format, an array constant or a named function newer than 2013, so that the same formula works
in a drop-down, in a conditional mark and in an ordinary cell. ``x`` is a reference to one cell, such as ``$B2``.
"""

from __future__ import annotations

YEARS = (1900, 2100)
LAST_DAY = 73_415  # the day number of 31 December 2100


def dashed(x: str) -> str:
    """The text with every separator of a date as a hyphen."""
    return f'SUBSTITUTE(SUBSTITUTE(TRIM({x}),".","-"),"/","-")'


def first_day(x: str) -> str:
    """The day number of the first possible day of a date written with its year first, or of a real date; 0 where it is none."""
    n = dashed(x)
    whole = f'DATEVALUE({n}&MID("-01-01",1+3*(LEN({n})-LEN(SUBSTITUTE({n},"-",""))),6))'
    return f'IF(ISNUMBER({x}),IF({x}<={YEARS[1]},DATE({x},1,1),{x}),IF(FIND("-",{n}&"-")=5,IFERROR({whole},0),0))'


def year_last(x: str) -> str:
    """Whether a text is a day or a month with its year at the end, day first or month first."""
    n = dashed(x)
    head, year = f"LEFT({n},LEN({n})-5)", f"RIGHT({n},4)"
    swapped = f'MID({head},FIND("-",{head})+1,2)&"-"&LEFT({head},FIND("-",{head})-1)'
    month_first = f'DATEVALUE({year}&"-"&{head}&IF(ISERROR(FIND("-",{head})),"-01",""))'
    day_first = f'DATEVALUE({year}&"-"&{swapped})'
    return f'IF(LEN({n})<6,FALSE,AND(MID({n},LEN({n})-4,1)="-",ISERROR(FIND("-",{year})),OR(IFERROR({month_first},0)>0,IFERROR({day_first},0)>0)))'


def no_date(x: str) -> str:
    """Whether the cell holds something that is no date, month, year or "not known"."""
    number = f"OR({x}<{YEARS[0]},{x}>{LAST_DAY},{x}<>INT({x}))"
    text = f'IF(LOWER(TRIM({x}))="not known",FALSE,IF({first_day(x)}>0,FALSE,NOT({year_last(x)})))'
    return f'IF({x}="",FALSE,IF(ISNUMBER({x}),{number},{text}))'


def future(x: str) -> str:
    """Whether the first possible day of a date lies after today; of a date with its year last only the year is looked at."""
    n = dashed(x)
    text = f'IF(FIND("-",{n}&"-")=5,{first_day(x)}>TODAY(),IF({year_last(x)},VALUE(RIGHT({n},4))>YEAR(TODAY()),FALSE))'
    return f'IF({x}="",FALSE,IF(ISNUMBER({x}),{first_day(x)}>TODAY(),{text}))'


def iso(x: str) -> str:
    """A date as the text 2024-03-14: real dates turned into it, text as it stands."""
    return f'IF(ISNUMBER({x}),IF({x}<={YEARS[1]},{x}&"",YEAR({x})&"-"&RIGHT("0"&MONTH({x}),2)&"-"&RIGHT("0"&DAY({x}),2)),TRIM({x}))'


def year_first(cells: str) -> str:
    """For a cell or a range, whether each date is a text with its year first, so that it can be compared as text."""
    return f'(MID({cells}&"-",5,1)="-")'


def number(x: str) -> str:
    """The number a cell holds, with a decimal comma or point, whatever the program's own mark is; an error where it holds none."""
    return f'IF(ISNUMBER({x}),{x},_xlfn.NUMBERVALUE(SUBSTITUTE(TRIM({x}),",","."),"."," "))'


def no_number(x: str) -> str:
    """Whether the cell holds something that is no number."""
    return f'IF({x}="",FALSE,ISERROR({number(x)}))'


def outside(x: str, low: float | None, high: float | None) -> str:
    """Whether the cell holds a number outside the two bounds, either of which may be None."""
    tests = ([f"{number(x)}<{low:g}"] if low is not None else []) + ([f"{number(x)}>{high:g}"] if high is not None else [])
    return f'IF({x}="",FALSE,IFERROR(OR({",".join(tests)}),FALSE))'


def sites(x: str) -> str:
    """The positions of a cell one after the other without anything between: ``33 43`` is ``3343``."""
    text = f"LOWER({x})"
    for mark in (" ", ",", ";", "+", "&", "-", "–", "and"):
        text = f'SUBSTITUTE({text},"{mark}","")'
    return text


def some_site(x: str, steps: str, test: str) -> str:
    """Whether ``test`` holds of some position in the cell; it says ``SITE`` where the two digits stand. ``steps``: the range that holds 1, 3, 5…"""
    s = sites(x)
    return f"SUMPRODUCT((LEN({s})>={steps})*({test.replace('SITE', f'MID({s},{steps},2)')}))>0"


def listed(x: str, cells: str) -> str:
    """How often the text of the cell stands in a range, letter by letter: 0042 is not 42."""
    return f"SUMPRODUCT(--EXACT(TRIM({cells}),TRIM({x})))"


def name_like(x: str) -> str:
    """Whether a text looks like a person's name, an e-mail address, a telephone number or a date."""
    t = f"TRIM({x})"
    after = f'MID({t},FIND(" ",{t})+1,1)'
    capital = "AND(EXACT({0},UPPER({0})),NOT(EXACT({0},LOWER({0}))))"
    two_words = f'AND({capital.format(f"LEFT({t},1)")},{capital.format(after)},LEN({t})-FIND(" ",{t})>=2,FIND(" ",{t})>2)'
    digits = t
    for mark in (" ", "-", "/", "(", ")", ".", "+"):
        digits = f'SUBSTITUTE({digits},"{mark}","")'
    return (f'IF({x}="",FALSE,OR(ISNUMBER(FIND("@",{x})),IFERROR({two_words},FALSE),AND(FIND(",",{t}&",")<LEN({t}),ISERROR(VALUE(LEFT({t},1))),ISERROR(VALUE(MID({t},2,1)))),'
            f"AND(LEN({digits})>=9,ISNUMBER(VALUE({digits})))))")
