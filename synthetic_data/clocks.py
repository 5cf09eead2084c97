"""The clocks of failure: fitting a part draws when it will fail, how, and whether the patient will come because of it.

With Z the patient's frailty and E a standard exponential draw, a part with Weibull scale s and shape k fails at
T = s (E / Z)^(1/k): given Z its cumulative hazard is Z (t / s)^k, over patients S(t) = (1 + v (t / s)^k)^(-1/v), v the variance of Z.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .cast import SITES, UPPER, Cast
from .draws import NEVER, Chance, day_after
from .ledger import ABUTMENT, HOUSING, INSERT, Ledger
from .scenarios import Scenario

YEAR = 365.25
WORN, TORN, LOST = 0, 1, 2
DEBONDED, LOOSE, GONE = 0, 1, 2


@dataclass
class World:
    """What every step needs: settings, the stream of draws, the cast and the books."""

    scenario: Scenario
    chance: Chance
    cast: Cast
    ledger: Ledger

    def __post_init__(self):
        levels = self.scenario.levels
        newton = {"N": 1.0, "lbf": 4.4482216152605, "gf": 0.00980665}
        self.newtons = np.array([value * newton[unit] for value, unit in zip(levels.retention, levels.unit)])
        systems = levels.system
        self.up = np.array([i + 1 if i + 1 < len(systems) and systems[i + 1] == systems[i] else i for i in range(len(systems))], np.int8)
        self.down = np.array([i - 1 if i > 0 and systems[i - 1] == systems[i] else i for i in range(len(systems))], np.int8)
        ratios = self.scenario.insert.ratios
        self.level_ratio = np.array([ratios.get(name, 1.0) * (ratios["ball"] if system != systems[0] else 1.0) for name, system in zip(levels.names, systems)])


class Mouths:
    """Arrays of the present state, one row per jaw; ``take`` gathers some rows, ``put`` writes them back."""

    def __init__(self, arrays: dict[str, np.ndarray]):
        self.__dict__.update(arrays)

    @classmethod
    def empty(cls, jaws: int) -> Mouths:
        one = dict.fromkeys(("special_kind", "denture", "fracture_clock", "reline_clock", "tooth_clock"), -1)
        one |= dict.fromkeys(("special_day", "since", "fracture_day", "fracture_comes", "reline_day", "tooth_day", "tooth_comes", "wish_comes", "request_day"), NEVER)
        four = dict.fromkeys(("abutment", "housing", "insert", "insert_clock", "bond_clock", "loose_clock", "ball_clock", "implant_clock"), -1)
        four |= dict.fromkeys(("insert_since", "insert_day", "insert_comes", "bond_day", "bond_comes", "loose_day", "loose_comes"), NEVER)
        four |= dict.fromkeys(("ball_day", "ball_comes", "implant_day", "implant_comes"), NEVER)
        arrays = {name: np.full(jaws, value, np.int32) for name, value in one.items()}
        arrays |= {name: np.full((jaws, SITES), value, np.int32) for name, value in four.items()}
        arrays |= {name: np.zeros((jaws, SITES), np.int8) for name in ("insert_cause", "bond_cause", "level")}
        arrays |= {name: np.zeros(jaws, bool) for name in ("ball", "after_step")}
        arrays |= {name: np.zeros((jaws, SITES), bool) for name in ("on", "ball_seen")} | {"insert_life": np.full((jaws, SITES), np.inf)}
        return cls(arrays)

    def take(self, rows) -> Mouths:
        return Mouths({name: array[rows] for name, array in self.__dict__.items()})

    def put(self, rows, some: Mouths) -> None:
        for name, array in some.__dict__.items():
            if name in self.__dict__:
                self.__dict__[name][rows] = array


def weibull_days(exponential, frailty, years, shape):
    """Days until failure for given exponential draws; ``years`` is the scale, infinite for what never fails."""
    return np.asarray(years) * YEAR * (exponential / frailty) ** (1.0 / shape)


def comes(world: World, what: str, day):
    """The day on which a failure of that day brings the patient in, NEVER if it does not."""
    notice, size = world.scenario.notice, np.shape(day)
    delay = np.round(notice.delay_mean + notice.delay_sd * world.chance.normal(size))
    delay = np.clip(delay, notice.delay_least, notice.delay_most)
    does = world.chance.happens(getattr(notice, what), size) & (day < NEVER)
    return np.where(does, np.minimum(day + delay, NEVER), NEVER).astype(np.int32)


def fit_inserts(world: World, m: Mouths, mask, day, level, *, with_set=False) -> None:
    """New inserts at the sites of ``mask`` (rows, sites) on ``day`` (rows), of ``level`` (rows, sites)."""
    row, site = np.nonzero(mask)
    if not len(row):
        return
    insert, chance = world.scenario.insert, world.chance
    level, start, jaw = level[row, site], day[row], m.jaw[row]
    z = m.frailty[row]
    scale = insert.years * world.cast.jaw["insert_ratio"][jaw, site] * world.level_ratio[level]
    lives = [weibull_days(chance.exponential(len(row)), z, scale, insert.shape)]
    for rate in (insert.torn_per_year, insert.lost_per_year):
        lives.append(weibull_days(chance.exponential(len(row)), z, 1 / rate if rate else np.inf, 1.0))
    cause = np.argmin(lives, axis=0).astype(np.int8)
    life = np.min(lives, axis=0)
    fails = day_after(start, life)
    arrives = np.choose(cause, [comes(world, word, fails) for word in ("worn", "torn", "lost")])
    part = _open(world, m, row, site, INSERT, start, life, cause, scale, level=level, with_set=with_set)
    m.insert[row, site], m.level[row, site], m.insert_since[row, site], m.insert_life[row, site] = part, level, start, life
    m.insert_day[row, site], m.insert_comes[row, site], m.insert_cause[row, site] = fails, arrives, cause
    m.insert_clock[row, site] = world.ledger.start_clocks("insert worn", part, start, life, scale, True)


def fit_housings(world: World, m: Mouths, mask, day, laboratory, *, with_set=False) -> None:
    """New housings at the sites of ``mask``; ``laboratory`` (rows): picked up there rather than chairside."""
    row, site = np.nonzero(mask)
    if not len(row):
        return
    part = _open(world, m, row, site, HOUSING, day[row], np.nan, 0, np.nan, laboratory=laboratory[row], with_set=with_set)
    m.housing[row, site] = part
    bond(world, m, row, site, day, laboratory, first=True)


def bond(world: World, m: Mouths, row, site, day, laboratory, *, first) -> None:
    """Starts the clock of a housing's bond at each (row, site)."""
    housing, chance, n = world.scenario.housing, world.chance, len(row)
    if not n:
        return
    years = np.where(laboratory[row], housing.years_laboratory, housing.years_chairside)
    life = weibull_days(chance.exponential(n), m.frailty[row], years, housing.shape)
    fails = day_after(day[row], life)
    m.bond_day[row, site], m.bond_comes[row, site] = fails, comes(world, "bond", fails)
    m.bond_cause[row, site] = chance.choice([1 - housing.loose_in_its_seat - housing.lost, housing.loose_in_its_seat, housing.lost], n)
    m.bond_clock[row, site] = world.ledger.start_clocks("housing bond failure", m.housing[row, site], day[row], life, years, first)


def fit_abutments(world: World, m: Mouths, mask, day) -> None:
    """New abutments at the sites of ``mask``, balls where ``m.ball``."""
    row, site = np.nonzero(mask)
    if not len(row):
        return
    abutment, chance, n = world.scenario.abutment, world.chance, len(row)
    height = np.round(2 + 2.0 * chance.uniform(n) + 1.5 * chance.uniform(n))
    torque = np.array([20, 25, 30])[chance.choice([0.12, 0.80, 0.08], n)]
    m.abutment[row, site] = _open(world, m, row, site, ABUTMENT, day[row], np.nan, 0, np.nan, ball=m.ball[row], height=height, torque=torque, with_set=True)
    seat(world, m, row, site, day, first=True)
    worn = weibull_days(chance.exponential(n), m.frailty[row], np.where(m.ball[row], abutment.ball_worn_years, np.inf), abutment.ball_worn_shape)
    fails = day_after(day[row], worn)
    m.ball_day[row, site], m.ball_comes[row, site] = fails, comes(world, "ball_worn", fails)
    m.ball_clock[row, site], m.ball_seen[row, site] = -1, False
    balls = m.ball[row]
    part = m.abutment[row[balls], site[balls]]
    if balls.any():
        clock = world.ledger.start_clocks("attachment wear", part, day[row[balls]], worn[balls], abutment.ball_worn_years, True)
        m.ball_clock[row[balls], site[balls]] = clock


def seat(world: World, m: Mouths, row, site, day, *, first) -> None:
    """Starts the clock of an abutment's loosening at each (row, site); sooner once it has been tightened."""
    abutment, chance, n = world.scenario.abutment, world.chance, len(row)
    if not n:
        return
    ball = m.ball[row]
    years = np.where(ball, abutment.ball_loose_years, abutment.loose_years) * (1.0 if first else abutment.loose_again_ratio)
    drawn = chance.exponential(n)
    life = np.where(
        ball, weibull_days(drawn, m.frailty[row], years, abutment.ball_loose_shape), weibull_days(drawn, m.frailty[row], years, abutment.loose_shape)
    )
    fails = day_after(day[row], life)
    m.loose_day[row, site], m.loose_comes[row, site] = fails, comes(world, "abutment", fails)
    m.loose_clock[row, site] = world.ledger.start_clocks("abutment loosening", m.abutment[row, site], day[row], life, years, first)


def load_implants(world: World, m: Mouths, mask, day) -> None:
    """Starts the implants' clocks; an implant of a set from before the log is one that held until the log began."""
    row, site = np.nonzero(mask)
    if not len(row):
        return
    implant, n = world.scenario.implant, len(row)
    upper = world.cast.jaw["arch"][m.jaw[row]] == UPPER
    lost = np.where(upper, implant.lost_in_5_years_upper, implant.lost_in_5_years_lower)
    with np.errstate(divide="ignore"):
        years = 5.0 * (-np.log1p(-lost)) ** (-1.0 / implant.shape)
    held = np.maximum(-day[row], 0) / YEAR
    exponential = world.chance.exponential(n) + m.frailty[row] * (held / years) ** implant.shape
    life = weibull_days(exponential, m.frailty[row], years, implant.shape)
    fails = day_after(day[row], life)
    m.implant_day[row, site], m.implant_comes[row, site] = fails, comes(world, "implant", fails)
    unit = m.jaw[row].astype(np.int64) * SITES + site
    m.implant_clock[row, site] = world.ledger.start_clocks("implant loss", unit, day[row], life, years, True)


def deliver_dentures(world: World, m: Mouths, rows, day) -> None:
    """A new denture in each of ``rows``, with the clocks of its base, fit and teeth."""
    if not len(rows):
        return
    m.denture[rows] = world.ledger.open_dentures(m.jaw[rows], day[rows])
    m.since[rows] = day[rows]
    for what in ("fracture", "reline", "tooth"):
        denture_clock(world, m, rows, day, what, first=True)


def denture_clock(world: World, m: Mouths, rows, day, what: str, *, first) -> None:
    """Starts one clock of a denture: ``fracture``, ``reline`` (found at planned visits) or ``tooth``."""
    if not len(rows):
        return
    denture = world.scenario.denture
    shape = denture.fracture_shape if what == "fracture" else 1.0
    years = np.full(len(rows), getattr(denture, f"{what}_years"))
    if what == "fracture":
        stronger = np.array([word != "acrylic" for word in world.scenario.cast.base])[world.cast.jaw["base"][m.jaw[rows]]]
        years = years * np.where(stronger, denture.fracture_reinforced_ratio, 1.0)
    life = weibull_days(world.chance.exponential(len(rows)), m.frailty[rows], years, shape)
    fails = day_after(day[rows], life)
    name = {"fracture": "denture fracture", "reline": "reline or rebase", "tooth": "tooth broken"}[what]
    getattr(m, f"{what}_day")[rows] = fails
    getattr(m, f"{what}_clock")[rows] = world.ledger.start_clocks(name, m.denture[rows], day[rows], life, years, first)
    if what != "reline":
        getattr(m, f"{what}_comes")[rows] = comes(world, what, fails)


def _open(world, m, row, site, kind, start, life, cause, scale, *, level=-1, ball=False, laboratory=False, height=np.nan, torque=0, with_set=False):
    return world.ledger.open_parts(
        jaw=m.jaw[row], site=site, kind=kind, denture=m.denture[row], fitted=start, life=life, cause=cause, scale=scale, level=level,
        ball=ball, laboratory=laboratory, height=height, torque=torque, with_set=with_set,
    )  # fmt: skip
