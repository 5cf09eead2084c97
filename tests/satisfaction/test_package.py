"""The package: every public name is there, and importing it loads nothing it does not need."""

import subprocess
import sys

from outcomes import satisfaction


def test_every_public_name_is_there_and_explained():
    for name in satisfaction.__all__:
        thing = getattr(satisfaction, name)
        assert name == "WINDOWS" or thing.__doc__, name


def test_results_come_without_store_plots_or_models():
    code = (
        "import sys; from outcomes import satisfaction as s; assert 'pandas' not in sys.modules; "
        "s.score([[1]*14], 'ohip_14'); s.responders([1.0], [2.0], thresholds=[1]); "
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'duckdb', 'matplotlib', 'statsmodels', 'lifelines', 'seaborn'}))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"
