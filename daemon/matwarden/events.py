"""What the station tells its sinks. Frozen values; nothing flows back.

A sink receives a batch: all events of one control cycle, in order. `durable` events are in the store before any of
their followers act on them, and a full queue never drops them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Protocol

from matwarden.terms import AlarmState, At, Priority, Quality, Reading, Recipients, Verdict

__all__ = [
    "AlarmChanged",
    "ClockStepped",
    "DigestMade",
    "Event",
    "Flush",
    "Notice",
    "PersonDid",
    "PushAsked",
    "Readings",
    "Refused",
    "Remember",
    "Sink",
    "Started",
    "VerdictChanged",
]


@dataclass(frozen=True, slots=True)
class Started:
    """A run of the station began: the first event of every run."""

    durable: ClassVar[bool] = False
    at: At
    version: str


@dataclass(frozen=True, slots=True)
class Readings:
    """Every reading accepted in one cycle."""

    durable: ClassVar[bool] = False
    at: At
    taken: tuple[Reading, ...]


@dataclass(frozen=True, slots=True)
class Refused:
    """One capture that gave no good reading: missing or doubtful."""

    durable: ClassVar[bool] = False
    at: At
    probe: str
    quality: Quality
    why: str


@dataclass(frozen=True, slots=True)
class VerdictChanged:
    """The guard of an enclosure decided otherwise than before, or for another reason.

    Attributes:
        sentence: the decision with the numbers that made it, for a person.
        operations: how often this mat's relay has picked up in its life (a datasheet's operation: on and off again).
    """

    durable: ClassVar[bool] = False
    at: At
    enclosure: str
    verdict: Verdict
    sentence: str
    operations: int


@dataclass(frozen=True, slots=True)
class AlarmChanged:
    """An alarm moved from one state to another.

    Attributes:
        alarm: id, unique in the house: `<condition>/<enclosure>`, of an alarm of a probe `<condition>/<probe>`.
        enclosure: whose alarm; None for a room probe's.
        text: one sentence for a person: what, how long, now.
        active_s: how long the condition has been true, 0.0 at its start.
        by: who did it, when a person did; else empty.
    """

    durable: ClassVar[bool] = True
    at: At
    alarm: str
    enclosure: str | None
    previous: AlarmState
    state: AlarmState
    priority: Priority
    text: str
    active_s: float
    by: str = ""


@dataclass(frozen=True, slots=True)
class PushAsked:
    """A person must know this. `key` is unique per call: the same key is never pushed twice to the same target.

    Attributes:
        attachment: absolute path of a picture (PNG) that goes with it where a target can show one and the file is
            still there; without it the words go alone.
    """

    durable: ClassVar[bool] = True
    at: At
    key: str
    title: str
    body: str
    priority: Priority
    recipients: Recipients = Recipients.FIRST
    attachment: Path | None = None


@dataclass(frozen=True, slots=True)
class Remember:
    """State that must be there again after a restart, a power cut or a kill.

    Attributes:
        key: `guard/<enclosure>`, `alarm/<alarm id>` or `calendar/clean-up`.
        value: JSON-able; replaces what was kept under the key.
        urgent: True: committed at once. False: with the next batch.
    """

    at: At
    key: str
    value: Mapping[str, Any]
    urgent: bool

    @property
    def durable(self) -> bool:
        return self.urgent


@dataclass(frozen=True, slots=True)
class ClockStepped:
    """The wall clock was moved by `by_s` seconds (positive: forward); `at` carries the new wall time."""

    durable: ClassVar[bool] = True
    at: At
    by_s: float


@dataclass(frozen=True, slots=True)
class Flush:
    """Somebody is about to read the record: commit what is held."""

    durable: ClassVar[bool] = True
    at: At


@dataclass(frozen=True, slots=True)
class DigestMade:
    """The digest of one local date. `document` is its JSON, `text` what a phone shows."""

    durable: ClassVar[bool] = True
    at: At
    date: str
    text: str
    document: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Notice:
    """Something worth a line in the log: a state change, never a poll."""

    durable: ClassVar[bool] = False
    at: At
    text: str
    warning: bool


@dataclass(frozen=True, slots=True)
class PersonDid:
    """A person used a verb: who, what, and what came of it.

    Attributes:
        by: the user of the machine, or `mqtt` for whoever may publish there.
        target: an alarm's or an enclosure's id, or `all`. ok: it was done. text: the answer they were given.
    """

    durable: ClassVar[bool] = True
    at: At
    by: str
    verb: str
    target: str
    ok: bool
    text: str


Event = (
    Started
    | Readings
    | Refused
    | VerdictChanged
    | AlarmChanged
    | PushAsked
    | Remember
    | ClockStepped
    | Flush
    | DigestMade
    | Notice
    | PersonDid
)


class Sink(Protocol):
    """Somebody who is told. Called from a thread of its own (or in line, on a simulated clock); may block there."""

    name: str

    def accept(self, events: Sequence[Event]) -> None:
        """Take all events of one cycle, in order."""

    def close(self) -> None:
        """Write out what is held and release everything. Safe to call twice."""
