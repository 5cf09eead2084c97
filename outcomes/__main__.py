"""``python -m outcomes`` is the ``outcomes`` command."""

import sys

from outcomes.cli import main

sys.exit(main())
