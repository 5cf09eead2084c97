"""Which tests run where: live checks skip with a plain reason on a machine that lacks their program, and fail in CI instead."""

from __future__ import annotations

import os
import shutil
import subprocess
from functools import cache

import pytest

os.environ.setdefault("MPLBACKEND", "agg")

PROGRAMS = {
    "needs_r": ("Rscript", "R with the survival package (Debian: r-base-core r-cran-survival r-cran-cmprsk r-cran-jsonlite)"),
    "needs_metafor": ("Rscript", "R with the metafor package (Debian: r-base-core r-cran-metafor r-cran-jsonlite)"),
    "needs_psych": ("Rscript", "R with the psych package (Debian: r-base-core r-cran-psych r-cran-jsonlite)"),
    "needs_browser": ("chromium", "Chromium (Debian: chromium)"),
    "needs_node": ("npm", "Node.js with npm (Debian: nodejs npm)"),
    "needs_office": ("soffice", "LibreOffice (Debian: libreoffice-calc libreoffice-impress)"),
}

PACKAGES = {"needs_r": ("survival", "jsonlite", "cmprsk"), "needs_metafor": ("metafor", "jsonlite"), "needs_psych": ("psych", "jsonlite")}


@cache
def _present(marker: str) -> bool:
    program = shutil.which(PROGRAMS[marker][0])
    if program is None:
        return False
    if marker in PACKAGES:
        return subprocess.run([program, "-e", "; ".join(f"library({name})" for name in PACKAGES[marker])], capture_output=True).returncode == 0
    return True


def pytest_runtest_setup(item):
    for marker, (_, wanted) in PROGRAMS.items():
        if item.get_closest_marker(marker) and not _present(marker):
            if os.environ.get("CI") == "true":
                pytest.fail(f"CI must have {wanted}", pytrace=False)
            pytest.skip(f"needs {wanted}")
