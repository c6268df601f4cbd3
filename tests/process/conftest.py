"""The shelves that the tests of this directory share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from helpers_kindled import Kindled, kindled_shelves


@pytest.fixture(scope="session")
def kindled(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Kindled]:
    with kindled_shelves(tmp_path_factory.mktemp("shelves")) as shelves:
        yield shelves
