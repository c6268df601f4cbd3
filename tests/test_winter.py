"""The recorded winter, each of its rules as a test: read every 30 s, where `make winter` reads every 10 s.

The room: tests/data/winter/README.md.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator

import pytest

from winter.checks import CHECKS, Check, Facts
from winter.rehearse import read_every, rehearse

# The run takes half a minute on an idle machine with two slow cores; a busy one gets its time.
pytestmark = pytest.mark.timeout(600)


@pytest.fixture(scope="module")
def facts(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Facts]:
    """One run for all tests."""
    out = tmp_path_factory.mktemp("winter")
    yield Facts(rehearse(out / "run", file=read_every(30, out)))
    shutil.rmtree(out)  # some 50 MB


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_it_holds_of_the_recorded_winter(check: Callable[[Facts], Check], facts: Facts) -> None:
    """Every check that `make winter` prints holds."""
    found = check(facts)

    assert found.holds, f"{found.rule}: {found.found}"
