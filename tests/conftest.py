"""For every test."""

from __future__ import annotations

import os
from pathlib import Path

# A process that a test starts finds the helpers of the tests as the test itself does (`pythonpath` in pyproject.toml).
os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [str(Path(__file__).parent), os.environ.get("PYTHONPATH")]))
