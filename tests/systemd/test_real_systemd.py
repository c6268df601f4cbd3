"""The unit file under a real systemd: started, hung, killed and stopped, each in a copy of the unit of its own.

The relay's line is the simulated one, read from its record: `allow`, then `cut` by the unit's ExecStopPost, then `cut`
by the next start. There is no GPIO chip in here, and nothing of this has touched a Raspberry Pi. Control groups of
version 2 have no memory controller where this was written: MemoryMax= was not tried, its blow is that of KILL.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

import pytest

from helpers_process import ROOT, eventually, offset, shelf_text
from helpers_systemd import Machine
from helpers_unit import FullPipe, Unit

# Rowan has no mat and looks hot from the first reading: a push of that is due at once.
PUSH = '\n[alarms]\nhot_after_min = 0\n[push]\n[[push.target]]\nname = "paper"\nurl_file = "credential:push-paper"\n'


class Shelves:
    """Every copy of the unit, heating, and what was done to it."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.asked = Unit(machine, "matwarden")
        self.blows = {blow: Unit(machine, f"matwarden-{blow.lower()}") for blow in ("KILL", "SEGV", "STOP")}
        self.hung = Unit(machine, "matwarden-hung")
        self.mute = Unit(machine, "matwarden-mute")
        self.worn = Unit(machine, "matwarden-worn")
        self.before: dict[str, int] = {}

    @property
    def heating(self) -> list[Unit]:
        return [self.asked, *self.blows.values(), self.worn]


@pytest.fixture(scope="module")
def shelves(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shelves]:
    with contextlib.ExitStack() as undo:
        machine = Machine(tmp_path_factory.mktemp("systemd"))
        undo.callback(machine.close)
        machine.run("groupadd", "--system", "--force", "gpio", check=True)
        machine.run("useradd", "--system", "--gid", "gpio", "--no-create-home", "matwarden", check=True)
        shelves = Shelves(machine)
        for unit in (*shelves.blows.values(), shelves.hung, shelves.mute, shelves.worn):
            unit.lay(shelf_text("oak"))
        paper = f"{shelves.asked.state}/pushes.txt"
        shelves.asked.lay(shelf_text("oak", more=PUSH + offset("rowan-air", 12.0)), push_paper=f"file:{paper}\n")
        shelves.hung.pipe = undo.enter_context(FullPipe(machine.path(shelves.hung.record), room_for="cut"))
        shelves.mute.pipe = undo.enter_context(FullPipe(machine.path(shelves.mute.record), room_for="nothing"))
        shelves.worn.wear_out()
        machine.run("systemctl", "daemon-reload", check=True)
        others = [*shelves.blows.values(), shelves.hung, shelves.mute, shelves.worn]
        machine.run("systemctl", "start", "--no-block", *(unit.name for unit in others), check=True)
        started = machine.run("systemctl", "start", shelves.asked.name)
        assert started.returncode == 0, shelves.asked.log
        yield shelves


@pytest.fixture(scope="module")
def struck(shelves: Shelves) -> Shelves:
    """All of them heat; then each gets its blow."""
    for unit in shelves.heating:
        eventually(unit.heats, f"heat: {unit.log}")
        shelves.before[unit.name] = len(unit.levels)
    for blow, unit in (*shelves.blows.items(), ("KILL", shelves.worn)):
        shelves.machine.run("systemctl", "kill", "--kill-whom=main", f"--signal={blow}", unit.name, check=True)
    return shelves


def test_it_is_ready_when_the_relays_are_driven_and_the_probes_were_heard(shelves: Shelves) -> None:
    """`systemctl start` has returned: by then the line was cut, and the status tells of both tubs."""
    assert shelves.asked.levels[:1] == ["cut"]
    assert shelves.asked.shows("StatusText").startswith("2 tubs watched")


def test_a_secret_that_only_root_can_read_reaches_the_service(shelves: Shelves) -> None:
    """The push of rowan's heat goes to the address in `credential:push-paper`."""
    paper = shelves.machine.path(f"{shelves.asked.state}/pushes.txt")
    eventually(lambda: paper.exists() and "Rowan" in paper.read_text("utf-8"), f"a push: {shelves.asked.log}")
    assert paper.stat().st_uid != 0


def test_without_any_credential_it_starts_and_their_directory_is_made_for_nobody_else(struck: Shelves) -> None:
    """A directory that LoadCredential= names and that is missing would make the start fail (systemd.exec(5))."""
    made = struck.machine.path("/etc/matwarden-kill/credentials").stat()
    assert (made.st_mode & 0o777, made.st_gid) == (0o700, struck.machine.path(struck.asked.state).stat().st_gid)


def test_a_daemon_that_never_ends_its_first_cycle_is_never_ready(struck: Shelves) -> None:
    """Its relay takes no command: the others heat since long, it is still starting."""
    assert struck.mute.shows("ActiveState") == "activating", struck.mute.log


@pytest.mark.parametrize("blow", ["KILL", "SEGV", "STOP"])
def test_after_a_death_the_line_is_cut_before_anything_starts_again(struck: Shelves, blow: str) -> None:
    """A heating daemon dies or stands still: ExecStopPost cuts its line, the unit starts again, heat comes by proof."""
    unit = struck.blows[blow]
    before = struck.before[unit.name]
    eventually(lambda: len(unit.levels) > before, f"a cut line: {unit.log}")
    eventually(unit.restarted, f"a restart: {unit.log}")
    # One cut by the command, one by the next start.
    assert unit.levels[before : before + 2] == ["cut", "cut"]


def test_a_hang_in_a_relay_driver_ends_in_a_cut_and_leaves_word_of_where_it_was(struck: Shelves) -> None:
    """The loop never comes back from `allow`: watchdog, cut, restart, and the log has the control thread's stack."""
    unit = struck.hung
    assert unit.pipe is not None
    eventually(lambda: unit.shows("ActiveState") not in ("active", "activating"), f"the watchdog: {unit.log}")
    unit.pipe.drain()
    eventually(lambda: unit.pipe is not None and unit.pipe.drain().count("cut") >= 3, f"the cuts: {unit.log}")
    assert unit.pipe.drain()[:3] == ["cut", "cut", "cut"]  # its own at the start, the command's, the next start's
    eventually(unit.restarted, f"a restart: {unit.log}")
    assert "Fatal Python error: Aborted" in unit.log
    assert "/twin/devices.py" in unit.log
    assert "station.py" in unit.log


def test_a_card_that_has_become_read_only_does_not_keep_the_line_from_being_cut(struck: Shelves) -> None:
    """Record, state directory and settings can be read only: after a kill the line is cut and the guard is back."""
    unit = struck.worn
    before = struck.before[unit.name]
    eventually(lambda: len(unit.levels) > before, f"a cut line: {unit.log}")
    eventually(unit.restarted, f"a restart: {unit.log}")
    assert unit.levels[before : before + 2] == ["cut", "cut"]


# Opens each file that is named, and sends an empty datagram to each address.
LOOK = """
import os, socket, subprocess, sys
child = [sys.executable, "-P", "-c", "import apprise, ssl, sqlite3; print(1)"]
print(subprocess.run(child, capture_output=True, text=True).stdout.strip())
for place in sys.argv[1:]:
    try:
        if place.startswith("/"):
            os.close(os.open(place, os.O_RDWR if os.path.exists(place) else os.O_WRONLY | os.O_CREAT))
        else:
            socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b"", (place, 9))
        print("opened")
    except OSError as error:
        print(error.strerror)
"""


def seen_from_inside(machine: Machine, stem: str, places: list[str], drop_in: str = "") -> dict[str, str]:
    """What a program in the unit's sandbox is told of each place."""
    unit = Unit(machine, stem)
    unit.lay("")
    machine.path("/opt/matwarden/look.py").write_text(LOOK, encoding="utf-8")
    unit.run_instead(f"/opt/matwarden/bin/python /opt/matwarden/look.py {' '.join(places)}", drop_in)
    machine.run("systemctl", "start", unit.name)
    return dict(zip(["child", *places], unit.log.splitlines(), strict=True))


def test_the_sandbox_lets_the_program_do_its_work_and_nothing_else(shelves: Shelves) -> None:
    """From inside the unit: children start; its directories and what is the group's open; the world does not."""
    # As a GPIO chip is on Raspberry Pi OS: root's, and the group gpio may. The other is everybody's device.
    shelves.machine.run("install", "-m", "0660", "-g", "gpio", "/dev/null", "/run/line", check=True)
    shelves.machine.run("mknod", "-m", "666", "/dev/fuse", "c", "10", "229", check=True)
    read_only = ["/etc/x", "/opt/matwarden/x", "/sys/x"]
    own = ["/var/lib/matwarden-look/x", "/run/matwarden-look/x", "/run/line"]
    assert seen_from_inside(shelves.machine, "matwarden-look", [*own, *read_only, "/dev/fuse"]) == {
        "child": "1",
        **dict.fromkeys(own, "opened"),
        **dict.fromkeys(read_only, "Read-only file system"),
        "/dev/fuse": "Operation not permitted",  # by DevicePolicy=closed
    }


def test_with_the_drop_in_for_a_broker_at_home_nothing_else_is_reached(shelves: Shelves) -> None:
    """A datagram goes to its address and to the machine itself; another address gets none."""
    for address in ("192.0.2.10", "198.51.100.7"):  # of RFC 5737, for examples; both are this machine here
        shelves.machine.run("ip", "address", "add", f"{address}/32", "dev", "lo", check=True)
    drop_in = (ROOT / "systemd" / "broker-only.conf").read_text(encoding="utf-8")
    places = ["127.0.0.1", "192.0.2.10", "198.51.100.7"]
    seen = seen_from_inside(shelves.machine, "matwarden-broker", places, drop_in)
    assert [seen[place] for place in places] == ["opened", "opened", "Operation not permitted"]


def test_a_stop_leaves_it_cut_and_stopped(struck: Shelves) -> None:
    """`systemctl stop` in the middle of heating: the daemon cuts, the command cuts again, nothing starts again."""
    unit = struck.asked
    before = struck.before[unit.name]
    struck.machine.run("systemctl", "stop", unit.name, check=True)
    assert unit.levels[before:] == ["cut", "cut"]
    assert unit.shows("Result") == "success"
    assert "stopped as asked; every mat is cut" in unit.log
