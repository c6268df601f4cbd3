"""One try of a real broker with the station's credentials: what it finds out, and that it disturbs nothing."""

from __future__ import annotations

import shutil
import socket
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_mqtt import MOSQUITTO, Mosquitto, Watcher, all_values, telling
from matwarden.sinks.mqtt_terms import MqttTerms
from matwarden.sinks.mqtt_try import try_broker

needs_passwords = pytest.mark.skipif(
    MOSQUITTO is None or shutil.which("mosquitto_passwd") is None, reason="mosquitto is not installed"
)


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker that knows one user, who may write below shelf-1 only."""
    (tmp_path / "secret").write_text("leaf litter\n")
    passwords, access = tmp_path / "passwords", tmp_path / "access"
    passwords.touch(0o600)
    subprocess.run(["mosquitto_passwd", "-b", str(passwords), "station", "leaf litter"], check=True)
    access.write_text("user station\ntopic readwrite homie/5/shelf-1/#\n")
    access.chmod(0o600)
    server = Mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}", f"acl_file {access}")
    server.start()
    yield server
    server.stop()


def terms(tmp_path: Path, port: int, user: str = "station") -> MqttTerms:
    return MqttTerms("127.0.0.1", port, username=user, password_file=tmp_path / "secret")


@needs_passwords
def test_the_right_password_is_let_in_and_a_wrong_one_told(tmp_path: Path, guarded: Mosquitto) -> None:
    """What a keeper compares is named; the password is not."""
    assert try_broker(terms(tmp_path, guarded.port), "shelf-1", time.monotonic) == ""
    (tmp_path / "secret").write_text("wrong\n")
    why = try_broker(terms(tmp_path, guarded.port), "shelf-1", time.monotonic)
    assert "compare username and password_file" in why
    assert "wrong" not in why.split("compare")[1]


@needs_passwords
def test_a_broker_that_takes_nothing_below_this_house_is_told(tmp_path: Path, guarded: Mosquitto) -> None:
    """The access list has another house: it is refused with the connection's will, or at the value."""
    why = try_broker(terms(tmp_path, guarded.port), "shelf-2", time.monotonic)
    assert "does not let us in" in why or "but not publish" in why


def test_a_running_station_is_not_disturbed_and_nothing_is_left(mosquitto: Mosquitto) -> None:
    """The station stays ready throughout, and what is retained is the same before and after."""
    with telling(mosquitto.port) as sink, Watcher(mosquitto.port) as watcher:
        sink.accept(all_values())
        watcher.wait("homie/5/shelf-1/$state", "ready")
        watcher.catch_up()
        before = dict(watcher.picture)
        assert try_broker(MqttTerms("127.0.0.1", mosquitto.port), "shelf-1", time.monotonic) == ""
        watcher.catch_up()
        assert watcher.picture == before
        assert "lost" not in watcher.states()
        assert "disconnected" not in watcher.states()


def test_a_server_that_says_nothing_is_given_up() -> None:
    """It listens and never answers: told as no broker, in the time of a jumping clock."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        seconds = iter(range(0, 1000, 5))
        why = try_broker(MqttTerms("127.0.0.1", server.getsockname()[1]), "shelf-1", lambda: float(next(seconds)))
    assert "did not answer as an MQTT broker does" in why


def test_no_broker_is_told(tmp_path: Path) -> None:
    """Nobody listens there."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
    assert try_broker(MqttTerms("127.0.0.1", port), "shelf-1", time.monotonic).startswith(
        f"no connection to 127.0.0.1:{port}"
    )
