"""What a guard does with memory that cannot be read, and with a clock that was set before a restart."""

from __future__ import annotations

from typing import Any

import pytest

from matwarden.guard_keeper import GuardKeeper
from matwarden.terms import (
    AlarmTimes,
    At,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Role,
    Unit,
)

_PROBE = ProbeTerms("oak-wall", Role.WALL, "oak", None, 10.0, 5.0, 60.0, 3.0, 0.0)
_MAT = MatTerms(Placement.SIDE, 7.0, 25.0, 1.0, 28.5, 30.0, 1.0, 60.0, 180.0, 1800.0, 3, 100_000)
_OAK = Enclosure("oak", "Oak", Band(22.2, 27.8), (_PROBE,), _MAT, AlarmTimes(3600.0, 3600.0, 600.0, 300.0, 0.5))


class _Line:
    """A relay that obeys."""

    def __init__(self) -> None:
        self.level = False

    def drive(self, allow: bool) -> None:
        self.level = allow

    def read_back(self) -> bool:
        return self.level

    def close(self) -> None:
        self.level = False


@pytest.mark.parametrize(
    "kept",
    [{"heated_wall_s": "x"}, {"operations": []}, {"hold_until_wall_s": {}, "hold_left_s": 1}, {"operations": "?"}],
)
def test_memory_that_cannot_be_read_counts_as_a_trip_and_never_stops_the_start(kept: dict[str, Any]) -> None:
    """A person looks and resets; until then heat is cut."""
    guard = GuardKeeper(_OAK, _MAT, _Line(), Unit.C, kept, At(100.0, 1e9))
    assert guard.tripped


def test_after_a_step_of_the_clock_a_hold_is_kept_with_the_new_time() -> None:
    """A restart after the step finds the hold as long as it was."""
    guard = GuardKeeper(_OAK, _MAT, _Line(), Unit.C, {}, At(0.0, 1e9))
    guard.hold(7200.0, At(0.0, 1e9))
    guard.clock_stepped()
    (kept,) = guard.decide((), (), (), At(10.0, 1e9 + 10.0 + 10800.0))
    again = GuardKeeper(_OAK, _MAT, _Line(), Unit.C, kept.value, At(5.0, 1e9 + 20.0 + 10800.0))  # type: ignore[union-attr]
    assert again.hold_left_s == pytest.approx(7180.0)
