"""What was shared before: kept beside the store, for the clinic's eyes only, so that a later packet gives nothing back by difference."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from dataclasses import dataclass, field
from pathlib import Path

from outcomes.club.cells import Release, release_of
from outcomes.errors import Misuse

FORMAT = "outcomes releases 1"


@dataclass
class Releases:
    """``path``: the file; ``secret``: what the clinic's signs are made from; ``made``: one record per packet, earliest first."""

    path: Path
    secret: str
    made: list[dict] = field(default_factory=list)

    @property
    def earlier(self) -> list[tuple[Release, dict[str, int]]]:
        """What each release showed and its true counts."""
        return [(release_of(one["release"]), one["counts"]) for one in self.made]

    @property
    def clinic(self) -> str:
        """The same for every packet of this clinic, so that two of them are not taken for two clinics; says nothing else."""
        return hashlib.sha256(f"clinic {self.secret}".encode()).hexdigest()[:32]

    def sign(self, body: dict) -> str:
        """The sign under which the club's report names this packet's letter: known to who made it and who pools it.

        The same contents have the same sign; no other year's sign can be told to be the same clinic's.
        """
        from outcomes.club.packet import canonical

        word = hmac.new(self.secret.encode(), canonical(body), hashlib.sha256).hexdigest()[:8].upper()
        return f"{word[:4]}-{word[4:]}"

    def record(self, packet: dict, release: Release, counts: dict[str, int]) -> bool:
        """Write a new release down; False where the very same packet was recorded before."""
        if any(one["checksum"] == packet["checksum"] for one in self.made):
            return False
        self.made.append({"sign": packet["sign"], "checksum": packet["checksum"], "closes": packet["closes"], "counts": counts, "release": release.body()})
        self.write()
        return True

    def write(self) -> None:
        """Put the file in place whole, readable by its owner only."""
        body = {"format": FORMAT, "keep": "Holds exact counts and this clinic's secret. Keep it beside the store and pass it to nobody.", "secret": self.secret, "releases": self.made}
        beside = self.path.with_name(self.path.name + ".new")
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8", newline="\n") as file:
            file.write(json.dumps(body, indent=1, sort_keys=True, ensure_ascii=False) + "\n")
        os.replace(beside, self.path)


def path_of(store: Path) -> Path:
    """Where a store's releases are kept: beside it."""
    return store.with_name(f"{store.stem}.sharing.json")


def open_releases(store: Path) -> Releases:
    """The releases of a store; a new secret where nothing was shared yet.

    Raises Misuse where the file is there and cannot be read: going on without it could give people away.
    """
    path = path_of(store)
    if not path.exists():
        return Releases(path, secrets.token_hex(16))
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
        found = Releases(path, str(body["secret"]), list(body["releases"]))
        if body["format"] != FORMAT or not found.secret:
            raise ValueError
        _ = [*found.earlier, *(one["checksum"] for one in found.made)]
    except (OSError, ValueError, KeyError, TypeError):
        raise Misuse(f"{path.name}, the record of what was shared before, cannot be read. Put back a copy of it: without it nobody can tell whether a new packet gives people away by subtraction.") from None
    return found
