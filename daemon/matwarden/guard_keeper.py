"""The guard of one mat as the station keeps it: from observations to the relay, and to what must survive."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from matwarden.core import guard
from matwarden.core.explain import explain, trip_words
from matwarden.core.guard import GuardMemory, Observation
from matwarden.events import Event, Remember, VerdictChanged
from matwarden.terms import At, Enclosure, MatTerms, Reason, Seen, Unit, Verdict
from matwarden_hardware.ports import Relay

__all__ = ["LONGEST_HOLD_S", "GuardKeeper"]

# A hold is for feeding or cleaning. A forgotten one must not let a tub go cold for longer than a night's sleep.
LONGEST_HOLD_S = 12 * 3600.0


class GuardKeeper:
    """Owns one relay. It is cut from construction until a verdict allows heat."""

    def __init__(
        self,
        enclosure: Enclosure,
        mat: MatTerms,
        relay: Relay,
        unit: Unit,
        remembered: Mapping[str, Any],
        at: At,
    ) -> None:
        self._enclosure = enclosure
        self._relay = relay
        self._unit = unit
        self._limits = guard.limits_of(enclosure, mat)
        try:
            self._memory = _restored(remembered, at)
            self.operations = int(remembered.get("operations", 0))
        except (AttributeError, TypeError, ValueError):
            # Damaged beyond reading: as if it had tripped. A person looks, and resets; a start must never fail by it.
            self._memory = guard.start(at.mono_s, tripped=True, heated_s=at.mono_s)
            self.operations = 0
        self._verdict = Verdict(False, Reason.PROVING)
        self._told: Verdict | None = None
        self._kept: tuple[object, ...] | None = None
        self._memory_s = mat.memory_s
        self._heat_told_s = float("-inf")
        self._commanded = False
        self._seen = Observation(at.mono_s, (), (), (), True)

    @property
    def tripped(self) -> bool:
        return self._memory.tripped

    @property
    def relay_fault(self) -> bool:
        return self._memory.relay_fault

    @property
    def enclosure_id(self) -> str:
        return self._enclosure.id

    @property
    def in_hand(self) -> bool:
        """Whether the relay can be read, stands as it was told to now, and has no fault that waits for a person."""
        return not self._memory.relay_fault and self._agrees()

    @property
    def verdict(self) -> Verdict:
        return self._verdict

    @property
    def hold_left_s(self) -> float | None:
        """Seconds left of a person's hold; None when there is none."""
        until_s = self._memory.hold_until_s
        # The difference of two times is not exact: nobody asked for a hundred-billionth of a second more.
        return None if until_s is None else round(max(0.0, until_s - self._seen.now_s), 6)

    def why(self) -> str:
        """The verdict in force, in one sentence with the numbers that decided."""
        return explain(self._memory, self._seen, self._limits, self._verdict, self._unit)

    def trip_words(self) -> str:
        """The hottest reading now and the cut-out's limit, as a clause."""
        return trip_words(self._memory, self._seen, self._limits, self._unit)

    def decide(self, wall: tuple[Seen, ...], air: tuple[Seen, ...], other: tuple[Seen, ...], at: At) -> list[Event]:
        """Judge and act: when this returns, the relay has been driven to the verdict."""
        seen = Observation(at.mono_s, wall, air, other, self._agrees())
        self._seen = seen
        self._memory, verdict = guard.step(self._memory, seen, self._limits)
        self._verdict = verdict
        if verdict.allowed != self._commanded or not seen.relay_agrees:
            if verdict.allowed and not self._commanded:
                self.operations += 1
            self._drive(verdict.allowed)
        if verdict == self._told and self._kept == self._lasting():
            return []
        return self._tell(at)

    def hold(self, for_s: float, at: At) -> list[Event]:
        """A person's hold, cut to `LONGEST_HOLD_S`. Heat is cut before this returns."""
        self._memory = guard.hold(self._memory, at.mono_s + min(for_s, LONGEST_HOLD_S))
        return self.decide(self._seen.wall, self._seen.air, self._seen.other, at)

    def release(self, at: At) -> list[Event]:
        """End a person's hold. Heat comes back only by a verdict."""
        self._memory = guard.release(self._memory)
        return self.decide(self._seen.wall, self._seen.air, self._seen.other, at)

    def reset(self, at: At) -> tuple[list[Event], str]:
        """A person's reset, at the shelf. The text says why it was refused; empty when granted."""
        seen = self._seen._replace(now_s=at.mono_s, relay_agrees=self._agrees())
        self._memory, refused = guard.reset(self._memory, seen, self._limits)
        return self.decide(seen.wall, seen.air, seen.other, at), refused

    def clock_stepped(self) -> None:
        """The wall clock was set: what is kept with wall times is kept anew with the next decision."""
        self._kept = None

    def cut(self) -> None:
        """Cut, whatever the verdict: on the way out."""
        self._drive(False)

    def close(self) -> str:
        """Cut and let go of the relay. Says why it is not known to be cut; empty when it is."""
        self._drive(False)
        why = "" if self._agrees() else "its line does not read back as cut"
        try:
            self._relay.close()
        except Exception as error:  # told by the caller; the other relays must be closed all the same
            why = str(error) or type(error).__name__
        return why

    def _agrees(self) -> bool:
        try:
            return self._relay.read_back() == self._commanded
        except Exception:  # a line that cannot be read is a line that does not agree
            return False

    def _drive(self, allow: bool) -> None:
        self._commanded = allow
        try:
            self._relay.drive(allow)
        except Exception:
            # The read-back of the next step sees what became of it; meanwhile try for cut, the safe side.
            if allow:
                try:
                    self._relay.drive(False)
                except Exception:
                    return

    def _lasting(self) -> tuple[object, ...]:
        memory = self._memory
        return (memory.allowed, memory.tripped, memory.relay_fault, memory.hold_until_s)

    def _tell(self, at: At) -> list[Event]:
        events: list[Event] = []
        if self._verdict != self._told:
            self._told = self._verdict
            events.append(VerdictChanged(at, self._enclosure.id, self._verdict, self.why(), self.operations))
        lasting = self._lasting()
        if lasting != self._kept:
            urgent = self._kept is None or lasting[1:] != self._kept[1:] or self._is_news_of_heat(at.mono_s)
            self._kept = lasting
            events.append(Remember(at, f"guard/{self._enclosure.id}", self._to_dict(at), urgent))
        return events

    def _is_news_of_heat(self, now_s: float) -> bool:
        """Whether heat begins of which the record knows nothing that a cut-out after a power cut could still count.

        Every other switching waits for the next batch: kept at once, those of ten mats would write 100 MB a day.
        """
        news = self._memory.allowed and now_s - self._heat_told_s > self._memory_s / 2
        self._heat_told_s = now_s
        return news

    def _to_dict(self, at: At) -> dict[str, Any]:
        memory = self._memory
        ahead_s = at.wall_s - at.mono_s
        hold_left_s = self.hold_left_s
        return {
            "tripped": memory.tripped,
            "relay_fault": memory.relay_fault,
            "allowed": memory.allowed,
            "heated_wall_s": None if memory.heated_s is None else memory.heated_s + ahead_s,
            "hold_until_wall_s": None if hold_left_s is None else at.wall_s + hold_left_s,
            "hold_left_s": hold_left_s,
            "operations": self.operations,
        }


def _restored(kept: Mapping[str, Any], at: At) -> GuardMemory:
    """What survives a restart. Where the clock leaves doubt, the answer that cuts more is taken."""
    heated_s: float | None = None
    if kept.get("allowed"):
        heated_s = at.mono_s
    elif kept.get("heated_wall_s") is not None:
        heated_s = at.mono_s - max(0.0, at.wall_s - float(kept["heated_wall_s"]))
    hold_until_s: float | None = None
    if kept.get("hold_until_wall_s") is not None:
        # A clock set back does not prolong a hold; one set forward may end it.
        left_s = min(float(kept["hold_until_wall_s"]) - at.wall_s, float(kept.get("hold_left_s") or 0.0))
        hold_until_s = at.mono_s + left_s if left_s > 0 else None
    return guard.start(
        at.mono_s,
        tripped=bool(kept.get("tripped", False)),
        relay_fault=bool(kept.get("relay_fault", False)),
        heated_s=heated_s,
        hold_until_s=hold_until_s,
    )
