"""Write a packet of totals for a study club, with a page of every number in it."""

from __future__ import annotations

import os
from pathlib import Path

from outcomes.commands import arguments
from outcomes.errors import Misuse

SENTENCE = "write a packet of totals for a study club, and a page of every number that leaves"


def options(one) -> None:
    """The store, the plan, and where to write."""
    arguments.store(one)
    one.add_argument("--plan", type=Path, help="the plan that the club agreed on (TOML); its [sharing] holds the rule")
    one.add_argument("--out", type=Path, required=True, help="folder to write, or the packet's name ending in .json")


def run(options) -> int:
    """Make the packet, the page, and the record of what was shared."""
    from outcomes.analyses.club_packet import make
    from outcomes.analyses.club_preview import preview
    from outcomes.club.packet import as_text
    from outcomes.club.releases import open_releases
    from outcomes.plan import read_plan

    with arguments.opened_log(options, read_plan(options.plan), "there is nothing to share") as (log, progress, _):
        releases = open_releases(options.store)
        with progress.step("Counting, rounding and hiding"):
            made = make(log, releases)
    file = options.out if options.out.suffix.lower() == ".json" else arguments.folder(options.out) / f"packet_{made.packet['sign']}.json"
    if not file.parent.is_dir():
        raise Misuse(f"There is no folder {file.parent}. Make it, or give --out a folder that is there.")
    before = sum(one["checksum"] != made.packet["checksum"] for one in releases.made)
    page = file.with_name(f"{file.stem}_preview.html")
    _put(page, preview(made, file.name, before))
    new = releases.record(made.packet, made.release, made.counts)  # written down before the packet is there to be sent
    _put(file, as_text(made.packet))
    print(f"Read {page} before you send anything: it shows every number in the packet, and what was hidden and why.")
    print(f"The packet for the organiser is {file}. Your sign in the club's report is {made.packet['sign']}.")
    if not new:
        print("It is the very packet you shared before: nothing in it has changed since.")
    elif not before:
        print(f"What was shared is recorded in {releases.path.name}, beside the store. Keep it there and back it up: later packets are held against it.")
    return 0


def _put(path: Path, text: str) -> None:
    """Write the file whole or not at all."""
    beside = path.with_name(path.name + ".new")
    beside.write_text(text, encoding="utf-8", newline="\n")
    os.replace(beside, path)
