"""python tests/simulations [words of a cell's name ...]: runs those cells in full (all, without words), then writes results.csv and README.md.

``--page`` runs nothing: judges the recorded numbers anew and writes the page.
"""

import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]

from simulations.record import main  # noqa: E402

main(sys.argv[1:])
