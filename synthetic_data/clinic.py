"""The simulated clinic: its truth and the log it keeps, in blocks of patients that fit in memory."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cached_property

import pandas as pd

from outcomes.errors import Misuse

from . import day_sheet, long_form, register
from .cast import draw_cast
from .clocks import World
from .draws import Chance
from .ledger import Ledger
from .log import written
from .names import Names
from .scenarios import Scenario, as_scenario
from .stored import as_stored
from .truth import Truth
from .visits import run

BLOCK = 20_000  # patients; part of what a seed means, so never change it for speed
MOST = 1_000_000


def simulate(scenario: str | Scenario = "demo", *, patients: int | None = None, seed: int | None = None) -> Clinic:
    """A clinic whose truth is known: same scenario, number of patients and seed, same clinic, on every system.

    ``patients`` is 1 to 1,000,000 and ``seed`` a whole number from 0; left out, they are the scenario's own. Raises Misuse otherwise.

    >>> clinic = simulate("demo", patients=20, seed=1)
    >>> len(clinic.long_tables()["patients"])
    20
    """
    scenario = as_scenario(scenario)
    patients = scenario.clinic.patients if patients is None else patients
    seed = scenario.clinic.seed if seed is None else seed
    if not 1 <= patients <= MOST:
        raise Misuse(f"A simulated clinic has 1 to {MOST:,} patients, not {patients}.")
    if seed < 0:
        raise Misuse("The seed of a simulated clinic is a whole number from 0.")
    return Clinic(scenario, patients, seed)


class Clinic:
    """A simulated clinic. Small ones are kept; of large ones walk the ``blocks``, each a clinic of at most 20,000 patients.

    ``truth`` is what happened; ``long_tables()`` and ``day_sheet_tables()`` are the same log through the two doors.
    """

    def __init__(self, scenario: Scenario, patients: int, seed: int):
        self.scenario, self.patients, self.seed = scenario, patients, seed

    def __repr__(self) -> str:
        return f"Clinic({self.scenario.name!r}, patients={self.patients:,}, seed={self.seed})"

    def blocks(self) -> Iterator[Block]:
        """The clinic block by block, made as they are asked for; patients' pseudonyms run on from one to the next."""
        if self.patients <= BLOCK:
            yield self._only
            return
        for place in range(-(-self.patients // BLOCK)):
            yield self._block(place)

    @cached_property
    def truth(self) -> Truth:
        """What truly happened, as frames, and the true survival of every endpoint."""
        return Truth.joined([block.truth for block in self.blocks()])

    def long_tables(self) -> dict[str, pd.DataFrame]:
        """The log as long tables: declared columns, dates as written (``2024-03-14``, ``2024-03``, ``2024``, ``not known``), None where blank."""
        return _stacked([block.long_tables() for block in self.blocks()])

    def day_sheet_tables(self) -> dict[str, pd.DataFrame]:
        """The same log as day sheet and set-up, with the tables that those two cannot say."""
        return _stacked([block.day_sheet_tables() for block in self.blocks()])

    def stored_tables(self) -> dict[str, pd.DataFrame]:
        """``long_tables()`` as a store keeps them: each date X as its first possible day beside X_precision."""
        return as_stored(self.long_tables())

    def tables(self, form: str) -> dict[str, pd.DataFrame]:
        """``long_tables()`` for the form "long", ``day_sheet_tables()`` for "day sheet"; Misuse for another."""
        if form == "long":
            return self.long_tables()
        if form == "day sheet":
            return self.day_sheet_tables()
        raise Misuse(f'The form is "day sheet" or "long", not "{form}".')

    @cached_property
    def _only(self) -> Block:
        return self._block(0)

    def _block(self, place: int) -> Block:
        return Block(self, place, min(BLOCK, self.patients - place * BLOCK))


class Block(Clinic):
    """One block of a clinic, simulated when it is made."""

    def __init__(self, clinic: Clinic, place: int, patients: int):
        super().__init__(clinic.scenario, patients, clinic.seed)
        chance = Chance(clinic.seed, place)
        self.world = World(self.scenario, chance, draw_cast(self.scenario, chance, patients), Ledger())
        run(self.world)
        self.books = self.world.ledger.closed()
        self.log = written(self.world, self.books)
        self.names = Names(self.world, self.books, self.log, place * BLOCK, max(4, len(str(clinic.patients))))
        shared = (self.world, self.books, self.log, self.names)
        # drawn once and in this order, so that asking for one table first changes nothing in another
        self._shared = {"patients": register.patients(*shared), "questionnaires": register.questionnaires(*shared)}

    def blocks(self) -> Iterator[Block]:
        """The block itself."""
        yield self

    @cached_property
    def truth(self) -> Truth:
        return Truth.of(self.world, self.books, self.log, self.names)

    def long_tables(self) -> dict[str, pd.DataFrame]:
        all_four = (self.world, self.books, self.log, self.names)
        return {
            "patients": self._shared["patients"].copy(),
            "dentures": register.dentures(*all_four),
            "implants": register.implants(self.world, self.books, self.names),
            "insert_levels": register.insert_levels(self.world),
            "visits": long_form.visits(self.log["lines"], self.names),
            "parts_log": long_form.parts_log(*all_four),
            "denture_log": long_form.denture_log(self.log["lines"], self.names),
            "questionnaires": self._shared["questionnaires"].copy(),
        }

    def day_sheet_tables(self) -> dict[str, pd.DataFrame]:
        all_four = (self.world, self.books, self.log, self.names)
        return {
            "day_sheet": day_sheet.day_sheet(self.world, self.log, self.names),
            "set_up": day_sheet.set_up(*all_four),
            "insert_levels": register.insert_levels(self.world),
            "patients": self._shared["patients"].copy(),
            "dentures": register.dentures(*all_four),
            "implants": register.implants(self.world, self.books, self.names, exceptions_only=True),
            "questionnaires": self._shared["questionnaires"].copy(),
        }


def _stacked(pieces: list[dict[str, pd.DataFrame]]) -> dict[str, pd.DataFrame]:
    if len(pieces) == 1:
        return pieces[0]
    once = {"insert_levels"}
    return {name: pieces[0][name] if name in once else pd.concat([piece[name] for piece in pieces], ignore_index=True) for name in pieces[0]}
