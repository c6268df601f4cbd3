"""`matwarden check --live` as a process: the kernel's files, the relay lines and the services are laid out for it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from helpers_bench import CHIP, Bench
from helpers_machine import MachineTree
from helpers_mqtt import Mosquitto
from helpers_process import Ran, command, settings_file, shelf_text
from helpers_push import WebEndpoint
from helpers_settings import REAL, edited
from helpers_sysfs import GOOD_SCRATCHPAD, w1_slave
from matwarden.exit_codes import Exit

WALL, AIR = "28-0316a2793f01", "28-0316a2793f02"
HIGH = edited(REAL, ('[mqtt]\nhost = "localhost"\nusername = "shelf-1"\n', ""))


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> MachineTree:
    """Every probe of REAL is there and well."""
    machine = MachineTree(tmp_path, monkeypatch)
    machine.sys.one_wire(WALL, w1_slave(GOOD_SCRATCHPAD))
    machine.sys.one_wire(AIR, w1_slave(GOOD_SCRATCHPAD))
    machine.sys.iio(0, "dht11@4", "dht11@4", in_temp_input="22000", in_humidityrelative_input="61000")
    machine.sys.hwmon(4, "sht4x", "1-0044", temp1_input="19500", humidity1_input="44000")
    return machine


def check(tmp_path: Path, machine: MachineTree, text: str, *words: str, bench: Bench | None = None) -> Ran:
    words = ("check", "--live", str(settings_file(tmp_path, text)), "--machine", str(machine.root), *words)
    ran = bench.matwarden(*words, PATH=machine.path, COLUMNS="80") if bench else command(*words)
    assert "Traceback" not in ran.err, ran.err
    # A path may be longer than a terminal is wide; it is not broken.
    assert "--json" in words or all(len(line) <= 80 or " " not in line.strip() for line in ran.out.splitlines()), (
        ran.out
    )
    return ran


def told(ran: Ran, subject: str) -> str:
    """State and words about one subject, as one line."""
    blocks = [" ".join(block.split()) for block in ran.out.replace("\n      ", " ").splitlines()]
    (found,) = [block for block in blocks if re.match(f"(ok|warn|fail) {subject}: ", block)]
    return found


def test_a_machine_in_good_order_is_told_piece_by_piece(tmp_path: Path, machine: MachineTree) -> None:
    """Every piece has its line, each probe its reading through the real driver, and the exit code is 0."""
    bench = Bench(tmp_path)
    ran = check(tmp_path, machine, HIGH, bench=bench)
    assert ran.code == Exit.OK, ran.out + ran.err
    assert told(ran, "GPIO persistence").startswith("ok ")
    assert told(ran, "hardware watchdog") == "ok hardware watchdog: restarts a frozen board after 14s"
    assert told(ran, "clock") == "ok clock: synchronised"
    assert told(ran, "free space").startswith("ok ")
    # DS18B20 datasheet, 1/16 degree a bit: 0164 hex is 22.25 degrees; oak-air has an offset of -0.2.
    assert told(ran, "probe oak-wall") == "ok probe oak-wall: 22.2 °C"
    assert told(ran, "probe oak-air") == "ok probe oak-air: 22.1 °C"
    assert told(ran, "probe rowan-air") == "ok probe rowan-air: 22.0 °C, 61 % humidity"
    assert told(ran, "probe room") == "ok probe room: 19.5 °C, 44 % humidity"
    assert told(ran, "relay oak") == "ok relay oak: its line rests at cut"
    assert bench.levels(17) == []  # nothing was driven


def test_a_line_that_lets_heat_through_at_rest_fails(tmp_path: Path, machine: MachineTree) -> None:
    """What a dead program left on is found, the plug comes first, and the look changes nothing."""
    bench = Bench(tmp_path)
    bench.leave(17, high=True)
    ran = check(tmp_path, machine, HIGH, bench=bench)
    assert (ran.code, int(Exit.UNFIT)) == (9, 9)
    assert "LETS HEAT THROUGH -> Unplug the mat." in told(ran, "relay oak")
    assert bench.levels(17) == [True]


def test_a_line_that_another_program_holds_is_told(tmp_path: Path, machine: MachineTree) -> None:
    """A stranger on oak's line: which one, and it is left alone."""
    bench = Bench(tmp_path)
    bench.store = tmp_path / "elsewhere"
    holder = bench.holder(17)
    try:
        ran = check(tmp_path, machine, HIGH, bench=bench)
    finally:
        holder.kill()
        holder.communicate()
    assert ran.code == Exit.UNFIT
    assert f"relay on {CHIP} line 17: it is held by another program" in told(ran, "relay oak")
    assert bench.levels(17)[-1] is True


def test_each_thing_that_is_wrong_says_what_to_do(tmp_path: Path, machine: MachineTree) -> None:
    """No watchdog, lines that keep their level, an unset clock, a probe pulled, one that answers nothing."""
    machine.remove("dev/watchdog0")
    machine.remove("run/systemd/timesync/synchronized")
    machine.answers("timedatectl", "no")
    machine.put("sys/module/pinctrl_bcm2835/parameters/persist_gpio_outputs", "Y\n")
    (machine.root / f"sys/bus/w1/devices/{AIR}").unlink()
    (machine.root / f"sys/bus/w1/devices/{WALL}/w1_slave").write_text("")
    ran = check(tmp_path, machine, HIGH, bench=Bench(tmp_path))
    assert ran.code == Exit.UNFIT
    assert "dtparam=watchdog=on" in told(ran, "hardware watchdog")
    assert "dtparam=strict_gpiod" in told(ran, "GPIO persistence")
    assert told(ran, "clock").startswith("warn ")
    assert told(ran, "probe oak-air").startswith(f'fail probe oak-air: address = "{AIR}" is not there')
    assert told(ran, "probe oak-wall").startswith("fail probe oak-wall: empty answer")
    assert ran.out.endswith("4 to be put right, 3 to know of.\n")


def test_scripts_are_told_the_same(tmp_path: Path, machine: MachineTree) -> None:
    """`--json`: each thing with subject, state, words and advice; settings' own warnings among them."""
    ran = check(tmp_path, machine, shelf_text("oak"), "--json")
    assert (ran.json["usable"], ran.json["running"]) == (True, False)
    found = {each["subject"]: each["state"] for each in ran.json["checks"]}
    assert found["probe oak-air"] == found["relay oak"] == found["clock"] == "ok"
    assert found["push"] == "warn"
    assert all(set(each) == {"subject", "state", "told", "advice"} for each in ran.json["checks"])


def test_settings_that_cannot_be_used_end_before_the_machine_is_looked_at(tmp_path: Path, machine: MachineTree) -> None:
    """The file's problems, and exit code 2, as without --live."""
    ran = check(tmp_path, machine, "[house]\n")
    assert (ran.code, ran.out) == (Exit.SETTINGS, "")


def test_an_address_that_is_not_there_is_told(tmp_path: Path, machine: MachineTree) -> None:
    """An empty file of an address: which file."""
    secret = tmp_path / "phone"
    secret.touch(0o600)
    ran = check(tmp_path, machine, edited(HIGH, ('url = "file:pushes.txt"', 'url_file = "phone"')))
    assert told(ran, "push paper").startswith(f"fail push paper: {secret} holds no address")


def test_a_push_is_sent_only_when_asked_for(tmp_path: Path, machine: MachineTree) -> None:
    """Without --push the target is only named; with it one push goes out by the real sending child."""
    endpoint = WebEndpoint()
    with endpoint.up():
        (tmp_path / "phone").write_text(f"{endpoint.url}\n")
        (tmp_path / "phone").chmod(0o600)
        text = edited(HIGH, ('url = "file:pushes.txt"', 'url_file = "phone"'))
        ran = check(tmp_path, machine, text)
        assert "not tried -> To send one: --push." in told(ran, "push paper")
        assert endpoint.titles == []
        ran = check(tmp_path, machine, text, "--push")
        assert told(ran, "push paper") == "ok push paper: took it; look whether it is there"
        assert endpoint.titles == ["Back room shelf: a test"]
        endpoint.status = 500
        ran = check(tmp_path, machine, text, "--push")
        assert told(ran, "push paper").startswith("fail ")
        assert "secret-path" not in ran.out


def test_the_broker_is_tried(tmp_path: Path, machine: MachineTree, mosquitto: Mosquitto) -> None:
    """There and taking values: ok; gone: why, and exit code 9."""
    text = HIGH + f'\n[mqtt]\nhost = "127.0.0.1"\nport = {mosquitto.port}\n'
    bench = Bench(tmp_path)
    ran = check(tmp_path, machine, text, bench=bench)
    assert told(ran, "broker").startswith(f"ok broker: 127.0.0.1:{mosquitto.port} takes")
    mosquitto.stop()
    ran = check(tmp_path, machine, text, bench=bench)
    assert told(ran, "broker").startswith(f"fail broker: no connection to 127.0.0.1:{mosquitto.port}")
    assert ran.code == Exit.UNFIT


def test_a_secret_of_the_service_is_read_where_it_is_kept(
    tmp_path: Path, machine: MachineTree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """`credential:NAME` is looked for in /etc/matwarden/credentials, also while no service runs."""
    monkeypatch.delenv("CREDENTIALS_DIRECTORY", raising=False)
    text = edited(HIGH, ('url = "file:pushes.txt"', 'url_file = "credential:phone"'))
    ran = check(tmp_path, machine, text, "--push")
    assert f"cannot be read from {machine.root}/etc/matwarden/credentials/phone" in told(ran, "push paper")
    machine.put("etc/matwarden/credentials/phone", f"file:{tmp_path}/pushed.txt\n")
    ran = check(tmp_path, machine, text, "--push")
    assert told(ran, "push paper").startswith("ok ")
    assert "Back room shelf: a test" in (tmp_path / "pushed.txt").read_text()
