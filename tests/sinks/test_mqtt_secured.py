"""The sink with brokers that ask who is there: certificates, passwords, access lists. Only mosquitto can do this."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

import pytest
import trustme
from paho.mqtt.client import Client

from helpers_homie import refusals
from helpers_mqtt import MOSQUITTO, Mosquitto, Watcher, all_values, readings, shelf, telling, wait_for

ROOT = "homie/5/shelf-1"
SECRET = "leaf litter, damp"

pytestmark = pytest.mark.skipif(
    MOSQUITTO is None or shutil.which("mosquitto_passwd") is None,
    reason="mosquitto is not installed, and the demo's broker knows neither certificates nor access lists",
)


class Authority(NamedTuple):
    """Who signs certificates, and where its own is."""

    ca: trustme.CA
    file: Path


@pytest.fixture
def authority(tmp_path: Path) -> Authority:
    """A certificate authority of this test's own."""
    ca, file = trustme.CA(), tmp_path / "authority.pem"
    ca.cert_pem.write_to_path(str(file))
    return Authority(ca, file)


def issue(authority: Authority, directory: Path, name: str) -> tuple[Path, Path]:
    """A certificate for `name` and its key, as files."""
    issued = authority.ca.issue_cert(name)
    certificate, key = directory / f"{name}.pem", directory / f"{name}.key"
    issued.private_key_pem.write_to_path(str(key))
    for n, blob in enumerate(issued.cert_chain_pems):
        blob.write_to_path(str(certificate), append=n > 0)
    return certificate, key


@contextmanager
def encrypted(authority: Authority, directory: Path, name: str, *lines: str) -> Iterator[Mosquitto]:
    """A broker that speaks TLS only, under a certificate for `name`."""
    certificate, key = issue(authority, directory, name)
    tls = (f"cafile {authority.file}", f"certfile {certificate}", f"keyfile {key}", "allow_anonymous true")
    server = Mosquitto(directory, *tls, *lines)
    server.start()
    try:
        yield server
    finally:
        server.stop()


@pytest.fixture
def guarded(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker with two users: the shelf may only write below its own id, the reader may only read."""
    passwords, rights = tmp_path / "passwords", tmp_path / "rights"
    passwords.touch(mode=0o600)
    for user in ("shelf", "reader"):
        subprocess.run(["mosquitto_passwd", "-b", str(passwords), user, SECRET], check=True)
    rights.write_text(f"user shelf\ntopic write {ROOT}/#\nuser reader\ntopic read homie/#\n")
    server = Mosquitto(tmp_path, "allow_anonymous false", f"password_file {passwords}", f"acl_file {rights}")
    server.start()
    yield server
    server.stop()


@pytest.fixture
def password_file(tmp_path: Path) -> Path:
    """The password as a keeper writes it: one line, with its end."""
    path = tmp_path / "mqtt-password"
    path.write_text(SECRET + "\n")
    return path


def reader(client: Client) -> None:
    """Let a watcher in as the reading user."""
    client.username_pw_set("reader", SECRET)


def trusting(authority: Authority) -> Callable[[Client], None]:
    """Let a watcher speak TLS."""
    return lambda client: client.tls_set(str(authority.file))


def test_the_picture_is_complete_over_tls(authority: Authority, tmp_path: Path) -> None:
    """With the authority's certificate everything arrives as without encryption."""
    with (
        encrypted(authority, tmp_path, "127.0.0.1") as server,
        telling(server.port, tls=True, ca_file=authority.file) as sink,
        Watcher(server.port, configure=trusting(authority)) as watcher,
    ):
        sink.accept(all_values())
        watcher.wait(f"{ROOT}/$state", "ready")
        watcher.wait(f"{ROOT}/oak/air-temperature", "24.6")
        assert refusals(watcher.picture, "shelf-1") == []


def test_a_certificate_for_another_host_is_not_trusted(
    authority: Authority, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The name is checked, not only the signature."""
    with (
        encrypted(authority, tmp_path, "broker.example.org") as server,
        telling(server.port, tls=True, ca_file=authority.file),
    ):
        wait_for(lambda: "is not trusted: IP address mismatch" in caplog.text, "the complaint")
    assert "connected to" not in caplog.text


def test_a_certificate_of_another_authority_is_not_trusted(
    authority: Authority, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Without ca_file the system's authorities are asked, and they do not know this one."""
    with encrypted(authority, tmp_path, "127.0.0.1") as server, telling(server.port, tls=True):
        wait_for(lambda: "is not trusted" in caplog.text, "the complaint")
    assert "connected to" not in caplog.text


def test_our_own_certificate_lets_us_in(authority: Authority, tmp_path: Path) -> None:
    """A broker that asks for a certificate takes the one of the settings."""
    ours, key = issue(authority, tmp_path, "shelf-1")

    def shown(client: Client) -> None:
        client.tls_set(str(authority.file), str(ours), str(key))

    with (
        encrypted(authority, tmp_path, "127.0.0.1", "require_certificate true") as server,
        telling(server.port, tls=True, ca_file=authority.file, certificate_file=ours, key_file=key),
        Watcher(server.port, configure=shown) as watcher,
    ):
        watcher.wait(f"{ROOT}/$state", "ready")


def test_a_missing_certificate_file_is_named(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """The complaint says which file, before anything is sent."""
    with telling(1, tls=True, ca_file=tmp_path / "nowhere.pem"):
        wait_for(lambda: "nowhere.pem cannot be used: No such file" in caplog.text, "the complaint")


def test_a_user_that_may_only_write_below_its_id_is_enough(guarded: Mosquitto, password_file: Path) -> None:
    """With the narrowest rights the picture is complete for a reader that may only read."""
    with telling(guarded.port, username="shelf", password_file=password_file) as sink:
        sink.accept(all_values())
        with Watcher(guarded.port, configure=reader) as watcher:
            watcher.wait(f"{ROOT}/$state", "ready")
            watcher.wait(f"{ROOT}/oak/air-temperature", "24.6")
            assert refusals(watcher.picture, "shelf-1") == []


def test_a_reader_cannot_write(guarded: Mosquitto, password_file: Path) -> None:
    """What the reading user publishes over a value is not what others see."""
    with telling(guarded.port, username="shelf", password_file=password_file) as sink:
        sink.accept(all_values())
        with Watcher(guarded.port, configure=reader) as watcher:
            watcher.wait(f"{ROOT}/alder/air-temperature", "23.5")
            watcher.client.publish(f"{ROOT}/alder/air-temperature", "99", 1, retain=True)
            sink.accept([readings(20, {"alder-air": 21.0})])
            watcher.wait(f"{ROOT}/alder/air-temperature", "21.0")
            assert b"99" not in [h.payload for h in watcher.heard]


def test_a_wrong_password_is_told_without_the_password(
    guarded: Mosquitto, password_file: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """The complaint names the setting; no log line holds what the file held."""
    password_file.write_text("dry sand\n")
    with telling(guarded.port, username="shelf", password_file=password_file):
        wait_for(lambda: "compare username and password_file" in caplog.text, "the complaint")
    assert "dry sand" not in caplog.text


@pytest.mark.parametrize(("content", "complaint"), [(None, "cannot be read: No such file"), ("\n", "is empty")])
def test_a_password_file_that_does_not_serve_is_named(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, content: str | None, complaint: str
) -> None:
    """Absent or empty: the complaint says which file and what is wrong with it."""
    path = tmp_path / "mqtt-password"
    if content is not None:
        path.write_text(content)
    with telling(1, username="shelf", password_file=path):
        wait_for(lambda: f"{path} {complaint}" in caplog.text, "the complaint")


def test_a_user_without_rights_is_told(
    guarded: Mosquitto, password_file: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """When the access list swallows what we publish, the log says so once."""
    device = shelf(house="shelf-9")
    with telling(guarded.port, device, username="shelf", password_file=password_file) as sink:
        sink.accept(all_values())
        wait_for(lambda: "does not take what we publish below homie/5/shelf-9" in caplog.text, "the complaint")
    assert caplog.text.count("does not take") == 1
