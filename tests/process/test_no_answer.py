"""A station that is there but does not answer: stopped by a signal, swapped out, or stuck."""

from __future__ import annotations

import pytest

from helpers_kindled import Kindled
from helpers_process import PATIENCE_S


@pytest.mark.parametrize("verb", ["status", "why", "hold", "reset"])
def test_silence_is_not_taken_for_nobody(kindled: Kindled, verb: str) -> None:
    """Never "nothing runs, so heat is cut" of a mat whose relay may be on: it says that it runs and does not answer."""
    ran = kindled.frozen.result(2 * PATIENCE_S)[verb]
    assert ran.code == 7
    assert ran.out == ""
    assert "matwarden runs, but did not answer at " in ran.err
    assert "Traceback" not in ran.err
