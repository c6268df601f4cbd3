"""The DHT22 driver over the library's real decoder in a real child process; only the pulses are written by the test.

No line of this has met a real DHT22 or a Pi.
"""

from __future__ import annotations

import importlib.util
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from helpers_dht22 import (
    LABEL,
    PATIENCE_S,
    Dht22Rig,
    child_command,
    gone,
    pulses,
    queue_exists,
    rigged,
    wait_for,
    wait_for_end,
)
from matwarden_hardware.dht22 import Dht22Probe
from matwarden_hardware.ports import DriverError, ProbeError, Sample

# AM2302 datasheet, the worked examples: 65.2 % and 35.1 degrees; the same with the sign bit, -10.1 degrees.
WARM = "028c015fee"
BELOW_ZERO = "028c806573"


def refusal(probe: Dht22Probe) -> str:
    with pytest.raises(ProbeError) as caught:
        probe.read()
    return str(caught.value)


@pytest.mark.parametrize(
    ("frame", "sample"),
    [
        pytest.param(WARM, Sample(35.1, 65.2), id="datasheet"),
        pytest.param(BELOW_ZERO, Sample(-10.1, 65.2), id="datasheet-negative"),
        pytest.param("0000000000", Sample(0.0, 0.0), id="all-zero"),
        # A clone that sends -10.1 in two's complement (0xff9b): the library reads sign and magnitude.
        pytest.param("028cff9b28", Sample(-3266.7, 65.2), id="two's-complement-clone"),
        # What the library lets pass though no part can send it.
        pytest.param("028c7fff0c", Sample(3276.7, 65.2), id="impossible"),
    ],
)
def test_what_the_probe_sends_is_passed_on(frame: str, sample: Sample, tmp_path: Path) -> None:
    """A frame with a right checksum is returned as read, be it plausible or not: others judge that."""
    with rigged(tmp_path, f"frame {frame}") as rig:
        assert rig.probe.read() == sample


def test_a_train_that_begins_an_edge_late_is_a_false_zero(tmp_path: Path) -> None:
    """The lows are then taken for bits, all short: 0 degrees and 0 % with a right checksum, passed on as read."""
    with rigged(tmp_path, f"late {WARM}") as rig:
        assert rig.probe.read() == Sample(0.0, 0.0)


@pytest.mark.parametrize(
    ("step", "clause"),
    [
        pytest.param("frame 028c015fef", "the checksum of its answer is wrong", id="checksum"),
        pytest.param("train ", "no answer; check its wiring and its pin", id="no-pulses"),
        pytest.param(
            "train " + ",".join(map(str, pulses(bytes.fromhex(WARM))[:60])), "the answer broke off", id="short"
        ),
        pytest.param("frame 03f2015f55", "the humidity it gave cannot be", id="humidity-101"),
        pytest.param("train 70000", "OverflowError: unsigned short is greater than maximum", id="pulse-too-long"),
        pytest.param("index-error", "IndexError: pop from empty list", id="helper-says-no"),
        pytest.param("crash", "its reader died", id="crash"),
        pytest.param("exit", "its reader died", id="exit"),
    ],
)
def test_a_failure_costs_one_reading_and_returns_nothing_old(step: str, clause: str, tmp_path: Path) -> None:
    """Whatever goes wrong is one refusal in words, never the value before it; the next poll gives the next value."""
    with rigged(tmp_path, f"frame {WARM}", step, f"frame {BELOW_ZERO}") as rig:
        assert rig.probe.read().temperature_c == 35.1
        assert refusal(rig.later().probe) == f"{LABEL}: {clause}"
        assert rig.later().probe.read().temperature_c == -10.1


def test_a_hung_child_costs_one_reading(tmp_path: Path) -> None:
    """At the deadline it is killed, and the one that replaces it answers at the shortest poll there may be."""
    with rigged(tmp_path, f"frame {WARM}", "hang", f"frame {BELOW_ZERO}") as rig:
        rig.probe.read()
        rig.probe._deadline_s = 0.2
        assert refusal(rig.later().probe) == f"{LABEL}: no answer within 0.2 s; its reader was killed"
        assert gone(rig.pids()[0])
        rig.probe._deadline_s = PATIENCE_S
        assert rig.later(3.0).probe.read().temperature_c == -10.1


def test_a_second_capture_too_soon_is_refused(tmp_path: Path) -> None:
    """Within 2.5 s of the last capture, good or failed, nothing is asked of the part."""
    with rigged(tmp_path, "frame 028c015fef", f"frame {WARM}") as rig:
        refusal(rig.probe)
        assert refusal(rig.later(2.4).probe) == f"{LABEL}: asked too soon; it must rest for 0.1 s more"
        assert rig.later(0.1).probe.read().temperature_c == 35.1


def test_after_a_kill_the_part_rests_too(tmp_path: Path) -> None:
    """A capture may just have been under way when its child was killed."""
    with rigged(tmp_path, "crash", f"frame {WARM}") as rig:
        refusal(rig.probe)
        assert "asked too soon" in refusal(rig.later(2.4).probe)


def test_a_child_that_always_dies_is_started_ever_more_rarely(tmp_path: Path) -> None:
    """One at once, then after 5, 10, 20, 40 and from then on 60 s; the refusal goes on saying why."""
    starts = tmp_path / "starts"
    clock_s = [0.0]
    command = ("sh", "-c", f"echo >> {starts}; exit 1")
    probe = Dht22Probe(4, command=command, deadline_s=PATIENCE_S, monotonic_s=lambda: clock_s[0])
    for _ in range(100):
        said = refusal(probe)
        clock_s[0] += 3.0
    probe.close()
    # A poll each 3 s: twice at 0, then at 9, 21, 42, 84, 144, 204 and 264 s.
    assert len(starts.read_text().splitlines()) == 9
    assert said.startswith(f"{LABEL}: its reader died (9 times in a row; tried again in ")


@pytest.mark.parametrize(
    ("answer", "clause"),
    [
        pytest.param("echo hello", "its reader answered nonsense", id="text"),
        pytest.param("echo '[1]'", "its reader answered nonsense", id="not-an-object"),
        pytest.param("printf '\\377\\376\\n'", "its reader answered nonsense", id="not-text"),
        pytest.param("yes 9 | tr -d '\\n'", "its reader talks without end", id="without-end"),
        pytest.param("yes", "its reader answered nonsense", id="lines-without-end"),
        pytest.param(
            'echo \'{"n": 0, "temperature_c": 25, "humidity_pct": 60}\'',
            "its reader answered what was not asked",
            id="an-older-answer",
        ),
        pytest.param(
            'echo \'{"n": 1, "temperature_c": NaN, "humidity_pct": 60}\'',
            "its reader answered without a number",
            id="nan",
        ),
        pytest.param("echo '{\"n\": 1}'", "its reader answered without a number", id="nothing"),
        pytest.param(
            'echo \'{"n": 1, "temperature_c": "25", "humidity_pct": 60}\'',
            "its reader answered without a number",
            id="text-for-a-number",
        ),
        pytest.param("exit 0", "its reader died", id="ends"),
    ],
)
def test_a_child_that_talks_nonsense_is_replaced(answer: str, clause: str, tmp_path: Path) -> None:
    """What is not the protocol is refused and its sender killed; the child after it is asked as if nothing were."""
    once = tmp_path / "once"
    good = 'read n; echo "{\\"n\\": $n, \\"temperature_c\\": 24.5, \\"humidity_pct\\": 70}"; read n'
    script = f"echo '{{\"ready\": []}}'; if mkdir {once}; then read n; {answer}; read n; else {good}; fi"
    clock_s = [0.0]
    probe = Dht22Probe(4, command=("sh", "-c", script), deadline_s=PATIENCE_S, monotonic_s=lambda: clock_s[0])
    assert refusal(probe) == f"{LABEL}: {clause}"
    clock_s[0] += 10.0
    assert probe.read() == Sample(24.5, 70.0)
    probe.close()


def test_a_child_that_speaks_unasked_is_not_believed(tmp_path: Path) -> None:
    """An answer that lay in the pipe before the question is thrown away with its sender."""
    marker = tmp_path / "second"
    early = '{"n": 2, "temperature_c": 25, "humidity_pct": 60}'
    good = 'echo "{\\"n\\": $n, \\"temperature_c\\": 24.5, \\"humidity_pct\\": 70}"'
    script = f"echo '{{\"ready\": []}}'; read n; {good}; mkdir {marker} && echo '{early}'; read n; {good}; read n"
    clock_s = [0.0]
    probe = Dht22Probe(4, command=("sh", "-c", script), deadline_s=PATIENCE_S, monotonic_s=lambda: clock_s[0])
    assert probe.read().temperature_c == 24.5
    wait_for(lambda: probe._child is not None and probe._child.is_gone())
    clock_s[0] += 10.0
    assert probe.read().temperature_c == 24.5
    probe.close()


def test_a_child_killed_between_two_polls_costs_nothing(tmp_path: Path) -> None:
    """A new one is started at the next poll and asked within its deadline."""
    with rigged(tmp_path, f"frame {WARM}", f"frame {BELOW_ZERO}") as rig:
        rig.probe.read()
        (first,) = rig.pids()
        os.kill(first, signal.SIGTERM)
        wait_for_end(first)
        assert rig.later().probe.read().temperature_c == -10.1


def test_a_slow_start_is_waited_for_in_several_readings(tmp_path: Path) -> None:
    """A child that is still importing is not killed at the deadline of a reading: that reading is refused."""
    script = f"while ! test -e {tmp_path}/go; do sleep 0.02; done; echo '{{\"ready\": []}}'; read n; " + (
        'echo "{\\"n\\": $n, \\"temperature_c\\": 24.5, \\"humidity_pct\\": 70}"; read n'
    )
    probe = Dht22Probe(4, command=("sh", "-c", script), deadline_s=0.1)
    assert refusal(probe) == f"{LABEL}: its reader is still starting"
    assert refusal(probe) == f"{LABEL}: its reader is still starting"
    (tmp_path / "go").touch()
    probe._deadline_s = PATIENCE_S
    assert probe.read() == Sample(24.5, 70.0)
    probe.close()


def test_close_ends_a_read_that_hangs(tmp_path: Path) -> None:
    """Closing from another thread kills the child and with it the read; later reads are refused."""
    rig = Dht22Rig(tmp_path, "hang", deadline_s=600.0)
    said: list[str] = []
    reader = threading.Thread(target=lambda: said.append(refusal(rig.probe)))
    reader.start()
    wait_for(lambda: (tmp_path / "steps").read_text() == "" and rig.pids_file.exists())
    rig.probe.close()
    reader.join(PATIENCE_S)
    assert said == [f"{LABEL}: it was closed"]
    wait_for(lambda: all(gone(pid) for pid in rig.pids()))
    assert refusal(rig.later().probe) == f"{LABEL}: it was closed"


def test_the_library_is_not_in_the_daemons_process(tmp_path: Path) -> None:
    """Importing it takes the SIGTERM handler: nothing of it is here after a reading, and the handler is ours."""
    mine = signal.getsignal(signal.SIGTERM)
    with rigged(tmp_path, f"frame {WARM}") as rig:
        rig.probe.read()
    assert not {"adafruit_dht", "board", "adafruit_blinka"} & sys.modules.keys()
    assert signal.getsignal(signal.SIGTERM) is mine


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing library is a set-up error at the start, with the command that mends it."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    with pytest.raises(DriverError, match=r"its library is missing; install it with: pip install 'matwarden\[dht\]'"):
        Dht22Probe(4)


def test_the_products_own_child_refuses_in_words_where_there_is_no_pin() -> None:
    """The real command, on a machine without GPIO: one line that says what is missing, and no traceback."""
    code = (
        "from matwarden_hardware.dht22 import Dht22Probe\n"
        f"probe = Dht22Probe(4, False, deadline_s={PATIENCE_S})\n"
        "try: probe.read()\n"
        "except Exception as error: print(error)\n"
        "probe.close()\n"
    )
    environment = os.environ | {"BLINKA_OS_AGNOSTIC": "1"}
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, env=environment)
    assert run.stdout == f"{LABEL}: cannot be opened: this board has no pin D4\n"
    assert "Traceback" not in run.stderr


def test_the_childs_own_spacing(tmp_path: Path) -> None:
    """The child itself starts no capture within its spacing of the last, however soon it is asked."""
    code = (
        "import sys; from pathlib import Path; sys.path.insert(0, sys.argv[2])\n"
        "import helpers_dht22; from matwarden_hardware import dht22_child\n"
        "dht22_child.serve(lambda: helpers_dht22._scripted(Path(sys.argv[1]), 'bitbang'), spacing_s=0.5)\n"
    )
    (tmp_path / "steps").write_text(f"frame {WARM}\n" * 2)
    command = [sys.executable, "-c", code, str(tmp_path), str(Path(__file__).parents[1])]
    environment = os.environ | {"BLINKA_OS_AGNOSTIC": "1"}
    child = subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, start_new_session=True
    )
    assert child.stdin is not None
    assert child.stdout is not None
    child.stdout.readline()
    child.stdin.write(b"1\n2\n")
    child.stdin.flush()
    child.stdout.readline()
    first_s = time.monotonic()
    assert b'"n": 2, "temperature_c": 35.1' in child.stdout.readline()
    assert time.monotonic() - first_s > 0.4
    child.stdin.close()
    assert child.wait(PATIENCE_S) == -signal.SIGKILL  # its input ended: it ended itself
    child.stdout.close()


def test_the_daemons_death_is_the_childs(tmp_path: Path) -> None:
    """SIGKILL of whoever reads ends child, helper and message queue, though the child hangs in the library."""
    pytest.importorskip("sysv_ipc", reason="a dependency of the DHT22 library, absent")
    (tmp_path / "steps").write_text("lose-helper\n")
    daemon = subprocess.Popen(child_command(tmp_path, "parent"))
    wait_for(lambda: (tmp_path / "queue").exists() and (tmp_path / "steps").read_text() == "")
    daemon.kill()
    daemon.wait()
    pids = [int(pid) for pid in (tmp_path / "pids").read_text().split()]
    wait_for(lambda: all(gone(pid) for pid in pids))
    assert len(pids) == 2
    assert not queue_exists(tmp_path)
