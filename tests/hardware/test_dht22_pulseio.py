"""The library's other backend: its real client code and a real message queue, with a stand-in for its helper."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from helpers_dht22 import LABEL, PATIENCE_S, gone, queue_exists, rigged, wait_for, wait_for_end
from matwarden_hardware.ports import ProbeError, Sample

pytest.importorskip("sysv_ipc", reason="a dependency of the DHT22 library, absent")

# AM2302 datasheet, worked example: 65.2 % and 35.1 degrees.
WARM = "028c015fee"


def test_the_datasheets_frame_through_the_queue(tmp_path: Path) -> None:
    """81 pulses fetched one by one over the message queue decode as the datasheet says; closing leaves nothing."""
    with rigged(tmp_path, f"frame {WARM}", backend="pulseio") as rig:
        assert rig.probe.read() == Sample(35.1, 65.2)
        assert queue_exists(tmp_path)
        assert not any(gone(pid) for pid in rig.pids())
    wait_for(lambda: all(gone(pid) for pid in rig.pids()))
    assert not queue_exists(tmp_path)


def test_a_lost_helper_costs_one_reading_and_leaves_nothing(tmp_path: Path) -> None:
    """The library then waits for ever in the kernel; at the deadline child and queue go, and a new child answers."""
    with rigged(tmp_path, f"frame {WARM}", "lose-helper", f"frame {WARM}", backend="pulseio") as rig:
        rig.probe.read()
        old_queue = (tmp_path / "queue").read_text()
        rig.probe._deadline_s = 1.0
        with pytest.raises(ProbeError, match=f"{LABEL}: no answer within 1 s; its reader was killed"):
            rig.later().probe.read()
        wait_for(lambda: all(gone(pid) for pid in rig.pids()[:2]))
        rig.probe._deadline_s = PATIENCE_S
        assert rig.later().probe.read() == Sample(35.1, 65.2)
        assert not queue_exists(tmp_path, old_queue)


def test_a_killed_child_takes_its_helper_along(tmp_path: Path) -> None:
    """SIGKILL of the child alone leaves the helper holding the line; the next read kills it and removes the queue."""
    with rigged(tmp_path, f"frame {WARM}", f"frame {WARM}", backend="pulseio") as rig:
        rig.probe.read()
        child, helper = rig.pids()
        old_queue = (tmp_path / "queue").read_text()
        os.kill(child, signal.SIGKILL)
        wait_for_end(child)
        assert not gone(helper)
        assert rig.later().probe.read() == Sample(35.1, 65.2)
        wait_for(lambda: gone(helper))
        assert not queue_exists(tmp_path, old_queue)


def test_the_librarys_signal_handler_is_put_back(tmp_path: Path) -> None:
    """SIGTERM ends the child at once, as it does by default: no handler of the library is left to raise SystemExit."""
    with rigged(tmp_path, f"frame {WARM}", backend="pulseio") as rig:
        rig.probe.read()
        child = rig.pids()[0]
        os.kill(child, signal.SIGTERM)
        assert wait_for_end(child) == (os.CLD_KILLED, signal.SIGTERM)
