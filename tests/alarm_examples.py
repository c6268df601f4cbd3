"""An alarm for tests, and a way to lead it through a story written as one character for each step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from matwarden.core.alarms import QUIET, AlarmMemory, AlarmSpec, Change, Worst, step
from matwarden.terms import AlarmState, Priority

PLAIN = AlarmSpec(
    condition="damp",
    title="damp",
    limit="Wet.",
    deadband="none",
    priority=Priority.LOW,
    latching=False,
    auto_acknowledge_on_return=True,
    consequence="The example gets wet.",
    response="Dry it.",
    pushes_start=True,
    pushes_return=True,
    worst=Worst.LOWEST,
)
WAITS_FOR_ACK = replace(PLAIN, auto_acknowledge_on_return=False)
LATCHING = replace(WAITS_FOR_ACK, latching=True)

MEANING = {"X": True, ".": False, "?": None}


def lead(
    story: str,
    memory: AlarmMemory = QUIET,
    spec: AlarmSpec = PLAIN,
    dt_s: float = 10.0,
    on_delay_s: float = 0.0,
    off_delay_s: float = 0.0,
    suppress: Callable[[int], bool] = lambda index: False,
) -> tuple[AlarmMemory, list[tuple[int, Change]]]:
    """Step through `story` ("X" true, "." false, "?" unknown); returns each change with the index of its step."""
    changes = []
    for index, mark in enumerate(story):
        memory, change = step(memory, MEANING[mark], suppress(index), dt_s, on_delay_s, off_delay_s, spec)
        if change is not None:
            changes.append((index, change))
    return memory, changes


def states(changes: list[tuple[int, Change]]) -> list[tuple[int, AlarmState]]:
    """Only which state was reached at which step."""
    return [(index, change.state) for index, change in changes]
