"""Makes the hand-written logs beside this file importable by the tests, however pytest is started."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

for name in ("clinic_log", "simulated_log", "censoring_study"):
    path = Path(__file__).with_name(f"{name}.py")
    if name not in sys.modules and path.exists():
        spec = importlib.util.spec_from_file_location(name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
