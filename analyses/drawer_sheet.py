"""The drawer on one sheet to print: how many of each level to have, with their range, and how such forecasts fared."""

from __future__ import annotations

from outcomes.analyses import drawer
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.methods import CAUTIONS
from outcomes.present import words
from outcomes.present.sheet import Bar, Bars, Points, Rows, Sheet


def sheet(found: drawer.Stock, log) -> Sheet:
    """The forecast by level as bars and as a table, what it rests on, and the same forecast of past years beside what was then used."""
    levels, all_levels = found.rows[found.rows["level"] != "all"], found.all
    rows = tuple(Bar(_named(row), (row.total, 0.0), "–" if row.level == drawer.UNKNOWN else str(row.total_high), row.total_low, row.total_high) for row in levels.itertuples())
    what, *rest = drawer.sentences(found, log)
    fared = drawer.fared(found)
    rest = [sentence for sentence in rest if sentence not in fared]
    finding = f"{words.number(all_levels['total'])} inserts are likely to be needed, of all levels together (range {all_levels['total_low']} to {all_levels['total_high']}, {words.percent(found.share)})."
    blocks = [Bars("Enough in the drawer, level by level", (finding,), rows, ("level", "have", f"bar: likely; line: range ({words.percent(found.share)})"), note=rest[0]), Rows("The same in numbers", drawer.shown(found), after=tuple(rest[1:]))]
    if found.past is not None and len(found.past):
        years = found.past[(found.past["what"] == "total") & (found.past["level"] == "all")]
        past = tuple(Bar(f"up to {row['to']}", (row["used"], 0.0), str(row["used"]), row["low"], row["high"]) for _, row in years.iterrows())
        blocks.append(Bars("How the same forecast fared in past years", (fared[-1],), past, ("year", "used", f"bar: used; line: forecast ({words.percent(found.share)})")))
    elif fared:
        blocks.append(Points("How the same forecast fared in past years", tuple(fared)))
    return Sheet(f"Inserts for the next {words.days(found.months * YEAR / 12)}", "For the clinic's own desk. Counts of parts only.", what, tuple(blocks), CAUTIONS)


def _named(row) -> str:
    name = words.shortened(row.level, 40)  # the table below says it whole
    return name if row.newtons != row.newtons else f"{name}, {words.newtons(row.newtons)}"
