"""The simulated shelf: tubs in a room, moved forward whenever somebody looks at them or acts on them.

Law: the shelf has no clock and no thread of its own. It is always exactly as old as `now` says when it is asked, and
what was true between two asks (relay, faults, room) is what it is integrated with: faults split a step at their times.
Its time is counted in whole milliseconds, so that equal steps are equal whatever float the clock hands out.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping
from typing import NamedTuple

from matwarden_hardware.ports import DriverError
from matwarden_hardware.twin.faults import PLACES, ROOM, Fault, FaultKind
from matwarden_hardware.twin.physics import Physics
from matwarden_hardware.twin.room import Room
from matwarden_hardware.twin.tub import Tub

__all__ = ["LiveFault", "Shelf", "Temperatures"]

# A room is taken as straight over one step. Over 300 s a 10 K daily swing leaves that line by 0.3 mK.
_LONGEST_STEP_MS = 300_000
_NEVER_MS = 1 << 62


class Temperatures(NamedTuple):
    """A tub as it truly is, before any probe."""

    wall_c: float
    air_c: float
    substrate_c: float


class LiveFault:
    """A fault on the shelf; `spent` when it is a spike that some reading has had."""

    __slots__ = ("end_ms", "fault", "spent", "start_ms")

    def __init__(self, fault: Fault) -> None:
        self.fault = fault
        self.spent = False
        self.start_ms = _ms(fault.at_s)
        self.end_ms = _NEVER_MS if fault.until_s is None else _ms(fault.until_s)


class Shelf:
    """Tubs in a room.

    Args:
        tubs: each tub by its id.
        room: the room they stand in.
        now: monotonic seconds; shelf time 0 is the moment of construction.
        start_c: temperature of every node at the start; None: that of the room.
        seed: of every probe's noise: same seed, same asks, same answers.
        faults: known from the start; times are shelf times.
        real_time: True when `now` runs by itself. A hanging probe then truly blocks; otherwise it raises at once.

    Raises:
        DriverError: a fault on a tub that is not there, or a tub with a value no tub can have.
    """

    def __init__(
        self,
        tubs: Mapping[str, Physics],
        room: Room,
        now: Callable[[], float],
        *,
        start_c: float | None = None,
        seed: int = 0,
        faults: Iterable[Fault] = (),
        real_time: bool = False,
    ) -> None:
        self.seed = seed
        self.real_time = real_time
        self._room = room
        self._now = now
        self._origin_s = now()
        self._t_ms = 0
        self._lock = threading.RLock()
        self._raw_room_c = room.temperature_c(0.0)
        self._room_offset_k = 0.0
        begin_c = self._raw_room_c if start_c is None else start_c
        self._tubs: dict[str, Tub] = {}
        for name, physics in tubs.items():
            try:
                self._tubs[name] = Tub(physics, begin_c)
            except ValueError as error:
                raise DriverError(f"simulated tub {name}: {error}") from None
        self._faults: list[LiveFault] = []
        self._of_probe: dict[str, list[LiveFault]] = {}
        self._probes: set[str] = set()
        self._next_ms = _NEVER_MS
        for fault in faults:
            self._check(fault)
            self._faults.append(LiveFault(fault))
        self._apply_faults()

    @property
    def t_s(self) -> float:
        """Shelf time now."""
        self.catch_up()
        return self._t_ms / 1000.0

    def clock_s(self) -> float:
        """What the shelf's clock says, unshifted."""
        return self._now()

    def catch_up(self) -> None:
        """Move the shelf forward to now. A clock that stands still or runs back moves nothing."""
        if int((self._now() - self._origin_s) * 1000.0 + 0.5) > self._t_ms:
            with self._lock:
                # Asked again inside the lock: another thread may have been here first.
                self._advance(_ms(self._now() - self._origin_s))

    def temperatures_c(self, tub: str) -> Temperatures:
        """The tub as it truly is now.

        Raises:
            DriverError: no such tub.
        """
        self.catch_up()
        found = self._tub(tub)
        return Temperatures(*(found.nodes_c[number] + above_k for number, above_k in found.places))

    def room_c(self) -> float:
        """The room as it truly is now, with its faults."""
        self.catch_up()
        return self._raw_room_c + self._room_offset_k

    def contact_closed(self, tub: str) -> bool:
        """Whether power truly reaches the mat's socket.

        Raises:
            DriverError: no such tub.
        """
        self.catch_up()
        return self._tub(tub).contact_closed

    def heat_w(self, tub: str) -> float:
        """What the mat truly gives now.

        Raises:
            DriverError: no such tub.
        """
        self.catch_up()
        return self._tub(tub).heat_w

    def inject(self, fault: Fault) -> None:
        """Let a fault happen, now or at its time.

        Raises:
            DriverError: no such tub.
        """
        self._check(fault)
        with self._lock:
            self.catch_up()
            self._faults.append(LiveFault(fault))
            self._apply_faults()

    def mend(self, subject: str, kind: FaultKind) -> int:
        """Take every fault of this kind off the subject, those to come as well; say how many there were."""
        with self._lock:
            self.catch_up()
            kept = [one for one in self._faults if (one.fault.subject, one.fault.kind) != (subject, kind)]
            mended = len(self._faults) - len(kept)
            self._faults = kept
            self._apply_faults()
            return mended

    def active_faults(self) -> tuple[Fault, ...]:
        """The faults there are now."""
        with self._lock:
            self.catch_up()
            return tuple(one.fault for one in self._active())

    def strangers(self) -> tuple[str, ...]:
        """Subjects of probe faults that no probe bears: a slip of the pen. Ask when all probes are there."""
        with self._lock:
            named = {one.fault.subject for one in self._faults if one.fault.kind.of_probe}
            return tuple(sorted(named - self._probes))

    # For the devices of this package.

    def faults_of_probe(self, probe: str) -> list[LiveFault]:
        """The probe's active faults: one list for the shelf's life, kept up to date in place."""
        self._probes.add(probe)
        return self._of_probe.setdefault(probe, [])

    def node_reader(self, tub: str | None, node: int) -> Callable[[], float]:
        """What gives the temperature at a tub's wall (0), air (1) or substrate (2) as of the last `catch_up`.

        None for the tub: of the room.

        Raises:
            DriverError: no such tub.
        """
        if tub is None:
            return lambda: self._raw_room_c + self._room_offset_k
        found = self._tub(tub)
        number, above_k = found.places[node]
        return lambda: found.nodes_c[number] + above_k

    def place_c(self, place: str) -> float:
        """The temperature at a fault's `place`, as of the last `catch_up`."""
        tub, _, node = place.partition("/")
        return self.node_reader(tub, PLACES.index(node))() if node else self.node_reader(None, 0)()

    def open_line(self, tub: str) -> None:
        """Claim the tub's relay line, at cut.

        Raises:
            DriverError: no such tub, or the line is claimed already.
        """
        with self._lock:
            if self._tub(tub).opened:
                raise DriverError(f"the simulated relay of {tub} is already in use: open it once")
            self._tubs[tub].opened = True
            self.drive_line(tub, False)

    def release_line(self, tub: str) -> None:
        """Give the tub's relay line back."""
        self._tub(tub).opened = False

    def drive_line(self, tub: str, allow: bool) -> None:
        """Set the level of the tub's relay line."""
        with self._lock:
            self.catch_up()
            self._tub(tub).line_allow = allow
            self._apply_faults()

    def read_line(self, tub: str) -> bool:
        """The line's level as it reports it: the contact behind it may be otherwise."""
        self.catch_up()
        line = self._tub(tub)
        return line.line_allow != line.readback_wrong

    def _tub(self, name: str) -> Tub:
        try:
            return self._tubs[name]
        except KeyError:
            known = ", ".join(self._tubs) or "none"
            raise DriverError(f"there is no simulated tub '{name}': the shelf has {known}") from None

    def _check(self, fault: Fault) -> None:
        if not fault.kind.of_probe and fault.subject != ROOM:
            self._tub(fault.subject)
        if fault.place not in ("", ROOM):
            self._tub(fault.place.partition("/")[0])

    def _advance(self, target_ms: int) -> None:
        while self._t_ms < target_ms:
            stop_ms = min(target_ms, self._next_ms, self._t_ms + _LONGEST_STEP_MS)
            dt_s = (stop_ms - self._t_ms) / 1000.0
            end_c = self._room.temperature_c(stop_ms / 1000.0)
            offset_k = self._room_offset_k
            from_c, to_c = self._raw_room_c + offset_k, end_c + offset_k
            for tub in self._tubs.values():
                tub.nodes_c = tub.network.advance(tub.nodes_c, dt_s, from_c, tub.heat_w, to_c)
            self._raw_room_c = end_c
            self._t_ms = stop_ms
            if stop_ms >= self._next_ms:
                self._apply_faults()

    def _active(self) -> list[LiveFault]:
        return [one for one in self._faults if one.start_ms <= self._t_ms < one.end_ms]

    def _apply_faults(self) -> None:
        """Make everything follow from lines and active faults; find when that changes next."""
        t_ms = self._t_ms
        self._faults = [one for one in self._faults if one.end_ms > t_ms]
        edges_ms = [edge for one in self._faults for edge in (one.start_ms, one.end_ms) if edge > t_ms]
        self._next_ms = min(edges_ms, default=_NEVER_MS)
        active = self._active()
        self._room_offset_k = sum(one.fault.amount for one in active if one.fault.kind is FaultKind.ROOM_OFFSET)
        for probe in self._of_probe.keys() | {one.fault.subject for one in active if one.fault.kind.of_probe}:
            mine = [one for one in active if one.fault.kind.of_probe and one.fault.subject == probe]
            self._of_probe.setdefault(probe, [])[:] = mine
        for name, tub in self._tubs.items():
            tub.obey([one.fault for one in active if one.fault.subject == name])


def _ms(t_s: float) -> int:
    return int(t_s * 1000.0 + 0.5)
