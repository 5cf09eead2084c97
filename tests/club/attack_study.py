"""A thousand packets of random clinics, up to three releases each, attacked; and the same clinics sharing without secondary hiding.

    python tests/club/attack_study.py [packets]        writes attack_study.json beside this file (about half an hour on a quiet machine)
"""

from __future__ import annotations

import json
import sys
from functools import partial
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import attack  # noqa: E402
import clinics  # noqa: E402

from outcomes.analyses import club_packet  # noqa: E402

HERE = Path(__file__).parent
PLAIN = club_packet.hide


def years(seed: int) -> list[float]:
    """Up to three days on which a clinic shares: after two years, then half a year to two years apart."""
    r, found = np.random.default_rng(seed), [2.0]
    packets = 1 + seed % 3
    while len(found) < packets:
        found.append(found[-1] + float(r.choice([0.5, 1, 2])))
    return found


def study(packets: int, *, secondary: bool = True, first: int = 0, most: int | None = None) -> dict:
    """Attack so many packets; ``recovered`` counts packets of which something small is certain (alone, or as a difference from an earlier one)."""
    club_packet.hide = PLAIN if secondary else partial(PLAIN, secondary=False)
    try:
        done, broken, counts, hidden, seed = 0, 0, 0, 0, first
        while done < packets:
            made = clinics.shared(clinics.Clinic(seed, patients=None if most is None else int(np.random.default_rng(seed).integers(25, most))), years(seed))
            found = attack.recovered(made) if made else []
            done, seed = done + len(made), seed + 1
            broken += len({target[-2] for target in found})
            counts += sum(len(one.packet["people"]) for one in made)
            hidden += sum(count == "hidden" for one in made for count in one.packet["people"].values())
        return {"clinics": seed - first, "packets": done, "counts": counts, "hidden": hidden, "packets with something recovered": broken}
    finally:
        club_packet.hide = PLAIN


def in_blocks(packets: int, block: int = 50, **settings):
    """The study block by block, yielding the sums so far, so that nothing done is lost."""
    total: dict = {}
    while total.get("packets", 0) < packets:
        more = study(min(block, packets - total.get("packets", 0)), first=total.get("clinics", 0), **settings)
        total = {key: total.get(key, 0) + value for key, value in more.items()}
        yield total


if __name__ == "__main__":
    asked = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    body = {"how": "python tests/club/attack_study.py 1000", "seeds": "0, 1, 2, … one a clinic of 25 to 250 patients; sharing rules alternate (see clinics.py)"}
    for name, count, secondary in (("without secondary hiding", max(60, asked // 10), False), ("with hiding", asked, True)):
        for body[name] in in_blocks(count, secondary=secondary, most=250):
            (HERE / "attack_study.json").write_text(json.dumps(body, indent=1) + "\n", encoding="utf-8")
            print(name, body[name], flush=True)
