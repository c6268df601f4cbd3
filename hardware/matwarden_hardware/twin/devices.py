"""Probes and relays of the simulated shelf: the same two ports as the real parts, with the same manners."""

from __future__ import annotations

import math
import random
import threading
from collections.abc import Callable
from enum import StrEnum
from io import FileIO
from pathlib import Path

from matwarden_hardware.ports import DriverError, ProbeError, RelayError, Sample
from matwarden_hardware.twin.faults import FaultKind
from matwarden_hardware.twin.shelf import LiveFault, Shelf

__all__ = ["Node", "ProbeTimeoutError", "TwinProbe", "TwinRelay"]

# Vapour over damp substrate as a share of saturation at the substrate's own temperature: chosen, not measured, so
# that a tub in balance reads 80 % and one whose air is 3 K warmer than its substrate reads about 67 %.
_DAMP_SHARE = 0.80
# How often a hanging read looks whether its fault has ended.
_HANG_LOOK_S = 0.05


class Node(StrEnum):
    """Where a simulated probe sits. WALL, AIR and SUBSTRATE are of a tub; ROOM is of none."""

    WALL = "wall"
    AIR = "air"
    SUBSTRATE = "substrate"
    ROOM = "room"


_INDEX = {Node.WALL: 0, Node.AIR: 1, Node.SUBSTRATE: 2, Node.ROOM: 0}


class ProbeTimeoutError(ProbeError):
    """The probe hangs, on a clock that would never move while it is waited for."""


class TwinProbe:
    """A probe of the shelf.

    Args:
        id: its name: the subject of its faults, and part of its noise's seed.
        tub: the tub it sits in; None for the room.
        resolution_k: step of its digits: 0.0625 as a 12-bit DS18B20, 0.1 as a DHT22.
        noise_k: standard deviation of its noise.
        offset_k: what it reads too high.
        humidity: also give relative humidity. Only for air and substrate.

    Raises:
        DriverError: no such tub, a tub for the room or none for a node, humidity where there is none,
            a resolution that is not above 0, a negative noise.
    """

    def __init__(
        self,
        shelf: Shelf,
        id: str,
        tub: str | None,
        node: Node,
        *,
        resolution_k: float = 0.0625,
        noise_k: float = 0.0,
        offset_k: float = 0.0,
        humidity: bool = False,
    ) -> None:
        if (tub is None) != (node is Node.ROOM):
            raise DriverError(f"simulated probe {id}: {node} and tub {tub} do not go together")
        if not (resolution_k > 0.0 and noise_k >= 0.0 and math.isfinite(offset_k)):
            raise DriverError(f"simulated probe {id}: resolution must be above 0 K and noise 0 K or more")
        if humidity and node not in (Node.AIR, Node.SUBSTRATE):
            raise DriverError(f"simulated probe {id}: there is no humidity at the {node}")
        self.id = id
        self._shelf = shelf
        self._read_node = shelf.node_reader(tub, _INDEX[node])
        self._read_substrate = shelf.node_reader(tub, _INDEX[Node.SUBSTRATE]) if humidity else None
        self._per_k = 1.0 / resolution_k
        self._noise_k = noise_k
        self._offset_k = offset_k
        # A seed of text is hashed the same in every process, unlike hash().
        self._gauss = random.Random(f"{shelf.seed}/{id}").gauss
        self._faults = shelf.faults_of_probe(id)
        self._last: Sample | None = None
        self._closed = threading.Event()

    def read(self) -> Sample:
        """Take one capture.

        Raises:
            ProbeError: dead, hanging on a simulated clock, or closed.
        """
        if self._closed.is_set():
            raise ProbeError(f"{self.id}: the probe is closed")
        self._shelf.catch_up()
        if self._faults:
            return self._read_faulty()
        self._last = sample = self._capture(self._read_node(), 0.0, 0.0)
        return sample

    def close(self) -> None:
        """Release the probe, and whoever hangs in it. Safe to call twice."""
        self._closed.set()

    def _capture(self, true_c: float, extra_k: float, extra_noise_k: float) -> Sample:
        read_c = true_c + self._offset_k + extra_k
        noise_k = math.hypot(self._noise_k, extra_noise_k) if extra_noise_k else self._noise_k
        if noise_k:
            read_c += self._gauss(0.0, noise_k)
        shown_c = round(read_c * self._per_k) / self._per_k
        if self._read_substrate is None:
            return Sample(shown_c)
        return Sample(shown_c, _humidity_pct(true_c, self._read_substrate()))

    def _read_faulty(self) -> Sample:
        self._wait_while_hanging()
        faults = tuple(self._faults)
        kinds = {one.fault.kind for one in faults}
        if FaultKind.PROBE_DEAD in kinds:
            raise ProbeError(f"{self.id}: nothing on the bus answers")
        if FaultKind.PROBE_STUCK in kinds and self._last is not None:
            return self._last
        places = [one.fault.place for one in faults if one.fault.kind is FaultKind.PROBE_ELSEWHERE]
        true_c = self._shelf.place_c(places[-1]) if places else self._read_node()
        self._last = sample = self._capture(true_c, self._extra_k(faults), _extra_noise_k(faults))
        return sample

    def _extra_k(self, faults: tuple[LiveFault, ...]) -> float:
        extra_k = 0.0
        for one in faults:
            fault = one.fault
            if fault.kind is FaultKind.PROBE_OFFSET:
                extra_k += fault.amount
            elif fault.kind is FaultKind.PROBE_DRIFT:
                extra_k += fault.amount * (self._shelf.t_s - fault.at_s) / 3600.0
            elif fault.kind is FaultKind.PROBE_SPIKE and not one.spent:
                one.spent = True
                extra_k += fault.amount
        return extra_k

    def _wait_while_hanging(self) -> None:
        while any(one.fault.kind is FaultKind.PROBE_HANG for one in tuple(self._faults)):
            if not self._shelf.real_time:
                raise ProbeTimeoutError(f"{self.id}: no answer")
            if self._closed.wait(_HANG_LOOK_S):
                raise ProbeError(f"{self.id}: the probe was closed while it was read")
            self._shelf.catch_up()


class TwinRelay:
    """The relay of one tub's mat. Cut from the moment it is opened.

    Args:
        record: where each level is written down, one line `SECONDS allow TUB` or `SECONDS cut TUB`, at opening and at
            each change, once the line has its level: a callable, or a file to append to, which relays may share
            (unbuffered, each line in one write, so that it survives a kill). SECONDS are those of the shelf's
            clock: if that is the machine's, they compare across processes.

    Raises:
        DriverError: no such tub, already in use, or the record cannot be written.
    """

    def __init__(self, shelf: Shelf, tub: str, record: Path | Callable[[str], None] | None = None) -> None:
        self.tub = tub
        self._shelf = shelf
        self._file: FileIO | None = None
        self._record: Callable[[str], None] | None = None
        if isinstance(record, Path):
            try:
                self._file = FileIO(record, "a")
            except OSError as error:
                raise DriverError(f"relay of {tub}: cannot write its record {record}: {error.strerror}") from error
        else:
            self._record = record
        self._open = True
        self._level = False
        try:
            shelf.open_line(tub)
            self._write_down(False)
        except DriverError:
            self._close_file()
            raise

    def drive(self, allow: bool) -> None:
        """Allow power (True) or cut it (False).

        Raises:
            RelayError: the relay is closed, or its record cannot be written.
        """
        self._check_open()
        if allow != self._level:
            self._shelf.drive_line(self.tub, allow)
            self._level = allow
            self._write_down(allow)

    def read_back(self) -> bool:
        """The line's level as it reports it. A welded or dead contact is not visible here.

        Raises:
            RelayError: the relay is closed.
        """
        self._check_open()
        return self._shelf.read_line(self.tub)

    @property
    def contact_closed(self) -> bool:
        """Whether the contact truly lets power through: for tests, no port has it."""
        return self._shelf.contact_closed(self.tub)

    def close(self) -> None:
        """Drive to cut, then release. Safe to call twice.

        Raises:
            RelayError: its record cannot be written; the line is cut and released all the same.
        """
        if self._open:
            try:
                self.drive(False)
            finally:
                self._open = False
                self._shelf.release_line(self.tub)
                self._close_file()

    def _check_open(self) -> None:
        if not self._open:
            raise RelayError(f"relay of {self.tub}: it is closed")

    def _write_down(self, allow: bool) -> None:
        line = f"{self._shelf.clock_s():.3f} {'allow' if allow else 'cut'} {self.tub}\n"
        try:
            if self._file is not None:
                self._file.write(line.encode())
            elif self._record is not None:
                self._record(line)
        except OSError as error:
            raise RelayError(f"relay of {self.tub}: cannot write its record: {error.strerror}") from error

    def _close_file(self) -> None:
        if self._file is not None:
            self._file.close()


def _extra_noise_k(faults: tuple[LiveFault, ...]) -> float:
    return math.hypot(*(one.fault.amount for one in faults if one.fault.kind is FaultKind.PROBE_NOISE))


def _humidity_pct(air_c: float, substrate_c: float) -> float:
    """Relative humidity where it is `air_c`, of vapour given off by damp substrate at `substrate_c`; 0.1 % steps."""
    share = _DAMP_SHARE * _saturation_hpa(substrate_c) / _saturation_hpa(air_c)
    return round(min(1.0, share) * 1000.0) / 10.0


def _saturation_hpa(temperature_c: float) -> float:
    """Saturation vapour pressure over water, hPa (WMO No. 8, annex 4.B)."""
    return 6.112 * math.exp(17.62 * temperature_c / (243.12 + temperature_c))
