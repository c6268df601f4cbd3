"""What every probe driver keeps to, real or simulated: a sample as read, or its own refusal, and nothing else."""

from __future__ import annotations

import errno
import math
import shutil
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import NamedTuple, Protocol

import pytest
from hypothesis import given
from hypothesis import strategies as st

from helpers_dht22 import LABEL, PATIENCE_S, Dht22Rig
from helpers_sysfs import GOOD_SCRATCHPAD, SysfsTree, failing, replace_by_real_io_error, scratchpad, w1_slave
from matwarden_hardware.hwmon import HwmonProbe
from matwarden_hardware.iio import IioProbe
from matwarden_hardware.onewire import OneWireProbe
from matwarden_hardware.ports import Probe, ProbeError, Sample
from matwarden_hardware.sysfs import Opener, read_text
from matwarden_hardware.twin import DailyRoom, Fault, FaultKind, Node, Shelf, TubPhysics, TwinProbe


class Plugged(NamedTuple):
    """A device in the tree: its driver, the file with its temperature, and what its errors begin with."""

    probe: Probe
    file: Path
    label: str


Make = Callable[[Path, Opener], Plugged]

ONE_WIRE = "28-0316a2791fff"


class Rig(Protocol):
    """A probe that can be broken in one way and mended."""

    probe: Probe
    label: str

    def break_it(self) -> None: ...
    def mend(self) -> None: ...


class TreeRig:
    """A real driver on a sysfs tree, with one way to spoil the file it reads."""

    def __init__(self, make: Make, spoil: Callable[[Path], None], opener: Opener, root: Path) -> None:
        self._opener: Opener = read_text
        self._broken_opener = opener
        self._spoil = spoil
        self.probe, self._file, self.label = make(root, lambda path: self._opener(path))
        self._good = {file: file.read_text() for file in self._file.parent.iterdir()}

    def break_it(self) -> None:
        self._spoil(self._file)
        self._opener = self._broken_opener

    def mend(self) -> None:
        self._opener = read_text
        shutil.rmtree(self._file.parent, ignore_errors=True)
        self._file.parent.mkdir()
        for file, text in self._good.items():
            file.write_text(text)


class ChildRig:
    """A DHT22 in its child process, with one thing that goes wrong in it. Each read comes 10 s after the last."""

    label = LABEL

    def __init__(self, step: str, root: Path) -> None:
        self._step = step
        self._rig = Dht22Rig(root)
        self.probe: Probe = self
        self.mend()

    def read(self) -> Sample:
        return self._rig.later().probe.read()

    def close(self) -> None:
        self._rig.probe.close()

    def break_it(self) -> None:
        self._rig.only(*[self._step] * 10)
        if self._step == "hang":
            self._rig.probe._deadline_s = 0.3

    def mend(self) -> None:
        self._rig.only(*["frame 028c015fee"] * 10)
        self._rig.probe._deadline_s = PATIENCE_S


class TwinRig:
    """The simulated probe, with one kind of fault."""

    label = "oak-air"

    def __init__(self, kind: FaultKind, root: Path) -> None:
        self._kind = kind
        self._shelf = Shelf({"oak": TubPhysics()}, DailyRoom(19.0), now=lambda: 0.0)
        self.probe: Probe = TwinProbe(self._shelf, "oak-air", "oak", Node.AIR, humidity=True)

    def break_it(self) -> None:
        self._shelf.inject(Fault(0.0, None, self._kind, "oak-air"))

    def mend(self) -> None:
        self._shelf.mend("oak-air", self._kind)


def one_wire(root: Path, opener: Opener) -> Plugged:
    file = SysfsTree(root).one_wire(ONE_WIRE, w1_slave(GOOD_SCRATCHPAD))
    return Plugged(OneWireProbe(ONE_WIRE, root, opener), file, f"probe {ONE_WIRE}")


def iio(root: Path, opener: Opener) -> Plugged:
    files = {"in_temp_input": "22200", "in_humidityrelative_input": "80000"}
    real = SysfsTree(root).iio(0, "dht11@4", "dht11@4", **files)
    return Plugged(IioProbe("dht11@4", root, opener), real / "in_temp_input", "probe dht11@4")


def hwmon(root: Path, opener: Opener) -> Plugged:
    real = SysfsTree(root).hwmon(0, "sht4x", "1-0044", temp1_input="25000", humidity1_input="44000")
    return Plugged(HwmonProbe("sht4x", "0x44", root, opener), real / "temp1_input", "probe sht4x at 0x44")


def text(content: bytes) -> Callable[[Path], None]:
    def spoil(file: Path) -> None:
        file.write_bytes(content)

    return spoil


def replaced_by_directory(file: Path) -> None:
    file.unlink()
    file.mkdir()


def replaced_by_link_to_nothing(file: Path) -> None:
    file.unlink()
    file.symlink_to("/nonexistent/attribute")


def replaced_by_link_to_itself(file: Path) -> None:
    file.unlink()
    file.symlink_to(file)


def device_gone(file: Path) -> None:
    shutil.rmtree(file.parent)


def untouched(file: Path) -> None:
    """The file stays; the opener fails."""


SPOILERS: dict[str, Callable[[Path], None]] = {
    "empty": text(b""),
    "only-a-newline": text(b"\n"),
    "not-ascii": text(b"\xff\xfe\x00 22\n"),
    "not-a-number": text(b"warm\n"),
    "nan": text(b"nan\n"),
    "endless": text(b"9" * 100_000),
    "real-io-error": replace_by_real_io_error,
    "directory": replaced_by_directory,
    "loop-of-links": replaced_by_link_to_itself,
    "dangling-link": replaced_by_link_to_nothing,
    "file-gone": Path.unlink,
    "device-gone": device_gone,
}
ONE_WIRE_SPOILERS = {
    "no": text(w1_slave("64 01 4b 46 7f ff 0c 10 02", "NO", kept=GOOD_SCRATCHPAD).encode()),
    "all-zero": text(w1_slave(scratchpad("00 " * 8)).encode()),
    "all-ones": text(w1_slave("ff " * 8 + "ff", "NO", kept=GOOD_SCRATCHPAD).encode()),
    "brown-out": text(w1_slave(scratchpad("ff 07 4b 46 7f ff 0c 10")).encode()),
}
ERRNOS = (errno.EIO, errno.ETIMEDOUT, errno.EAGAIN, errno.ENODATA, errno.ENODEV, errno.EREMOTEIO, errno.EACCES)
DRIVERS: dict[str, tuple[Make, str]] = {
    "one-wire": (one_wire, "w1_slave"),
    "iio": (iio, "in_temp_input"),
    "hwmon": (hwmon, "temp1_input"),
}


def every_rig() -> dict[str, Callable[[Path], Rig]]:
    """Each driver with each way it can fail."""
    rigs: dict[str, Callable[[Path], Rig]] = {}
    for driver, (make, attribute) in DRIVERS.items():
        spoilers = SPOILERS | (ONE_WIRE_SPOILERS if driver == "one-wire" else {})
        for name, spoil in spoilers.items():
            rigs[f"{driver}-{name}"] = partial(TreeRig, make, spoil, read_text)
        for number in ERRNOS:
            opener = failing(attribute, number)
            rigs[f"{driver}-{errno.errorcode[number]}"] = partial(TreeRig, make, untouched, opener)
    for kind in (FaultKind.PROBE_DEAD, FaultKind.PROBE_HANG):
        rigs[f"twin-{kind}"] = partial(TwinRig, kind)
    for step in ("frame 028c015fef", "train ", "train 70000", "index-error", "hang", "crash", "exit"):
        rigs[f"dht22-{step}"] = partial(ChildRig, step)
    return rigs


RIGS = every_rig()


@pytest.fixture(params=list(RIGS.values()), ids=list(RIGS))
def rig(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Rig]:
    made: Rig = request.param(tmp_path)
    yield made
    made.probe.close()


def test_a_good_capture_is_finite(rig: Rig) -> None:
    """A working probe gives floats that are numbers, and humidity within 0 to 100 or not at all."""
    sample = rig.probe.read()
    assert isinstance(sample.temperature_c, float)
    assert math.isfinite(sample.temperature_c)
    assert sample.humidity_pct is None or 0.0 <= sample.humidity_pct <= 100.0
    assert sample.at_power_on_value is False


def test_a_failure_is_the_drivers_own_refusal(rig: Rig) -> None:
    """However it fails, a probe that worked a moment ago raises its own error, in one line with its name."""
    rig.probe.read()
    rig.break_it()
    with pytest.raises(ProbeError) as caught:
        rig.probe.read()
    message = str(caught.value)
    assert message.startswith(f"{rig.label}: ")
    assert len(message.splitlines()) == 1


def test_a_failure_at_first_is_a_refusal_too(rig: Rig) -> None:
    """A probe that never worked can be made, and refuses when it is read."""
    rig.break_it()
    with pytest.raises(ProbeError):
        rig.probe.read()


def test_a_mended_probe_is_read_again(rig: Rig) -> None:
    """Once the cause is gone, a later read gives the value, with nothing restarted."""
    before = rig.probe.read()
    rig.break_it()
    with pytest.raises(ProbeError):
        rig.probe.read()
    rig.mend()
    assert rig.probe.read() == before


def test_close_twice(rig: Rig) -> None:
    """A probe may be closed twice, also while it fails."""
    rig.break_it()
    rig.probe.close()
    rig.probe.close()


@pytest.mark.parametrize("driver", DRIVERS)
def test_any_bytes(driver: str, tmp_path: Path) -> None:
    """Whatever bytes the kernel's file holds, the answer is a finite sample or the driver's own refusal."""
    make, _ = DRIVERS[driver]
    probe, file, label = make(tmp_path, read_text)

    said: set[bool] = set()

    @given(st.binary(max_size=200) | st.from_regex(rb"-?[0-9]{1,12}\n?", fullmatch=True))
    def holds(content: bytes) -> None:
        file.write_bytes(content)
        try:
            sample = probe.read()
        except ProbeError as refusal:
            said.add(str(refusal).startswith(label))
        else:
            said.add(math.isfinite(sample.temperature_c))

    holds()
    assert said == {True}
