"""For every test."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

# A process that a test starts finds the helpers of the tests as the test itself does (`pythonpath` in pyproject.toml).
os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, [str(Path(__file__).parent), os.environ.get("PYTHONPATH")]))
# One thread for the linear algebra, as the program has it: the tests' own numpy is loaded before the program is.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A minute or more each. They begin first: a worker that begins one last keeps all others waiting.
_LONG = (
    "tests/core/test_guard_exhaustion.py",
    "tests/analysis/test_drift.py",
    "tests/process/test_commission.py",
    "tests/test_winter.py",
    "tests/station/test_too_dry.py",
    "tests/test_winter_month.py",
    "tests/station/test_recorded_weather.py",
    "tests/analysis/test_advice.py",
    "tests/cli/test_export.py",
    "tests/sinks/test_push_network.py",
    "tests/docs/test_morning.py",
    "tests/systemd/test_real_systemd.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The long files first, in this order, then the others as they were."""
    rank = {file: n for n, file in enumerate(_LONG)}
    items.sort(key=lambda item: rank.get(item.nodeid.partition("::")[0], len(rank)))
