"""Broken settings of the broker and pushes: slip and message. DIR is the directory of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import REAL, checked, edited, lines

BROKEN = [
    pytest.param(
        REAL,
        [('host = "localhost"', 'host = "localhost"\nprotocol = 5')],
        (
            'mqtt: protocol: found 5; allowed: "5" or "3.1.1". Write it in quotes; take the older '
            "one only if the broker cannot do better."
        ),
        id="mqtt-protocol-number",
    ),
    pytest.param(
        REAL,
        [('host = "localhost"', 'host = "mqtt://localhost"')],
        (
            'mqtt: host: found "mqtt://localhost"; allowed: a host name or an address, without user, '
            "port or path. Correct it."
        ),
        id="mqtt-host-with-port",
    ),
    pytest.param(
        REAL,
        [('host = "localhost"', 'host = "localhost"\nqos = 0')],
        "mqtt: qos: found 0; allowed: 1 or 2. Choose one of them.",
        id="mqtt-qos-0",
    ),
    pytest.param(
        REAL,
        [('host = "localhost"', 'host = "localhost"\nport = 70000')],
        "mqtt: port: found 70000; allowed: from 1 to 65535. Choose a value in this range.",
        id="mqtt-port",
    ),
    pytest.param(
        REAL,
        [('host = "localhost"', 'host = "localhost"\ntls = "yes"')],
        'mqtt: tls: found "yes"; allowed: true or false. Write it without quotes.',
        id="mqtt-tls-as-text",
    ),
    pytest.param(
        REAL,
        [('username = "shelf-1"', 'password_file = "shelf.toml"')],
        ("mqtt: username: found nothing; allowed: a user name, since there is a password_file. Add username."),
        id="mqtt-password-without-user",
    ),
    pytest.param(
        REAL,
        [('username = "shelf-1"', 'username = "shelf-1"\npassword_file = "/nowhere/mqtt"')],
        (
            "mqtt: password_file: found /nowhere/mqtt, which does not exist; allowed: a file that "
            "exists. Make it, with the password as its only line."
        ),
        id="mqtt-password-file-missing",
    ),
    pytest.param(
        REAL,
        [('username = "shelf-1"', 'ca_file = "shelf.toml"')],
        (
            'mqtt: ca_file: found "shelf.toml"; allowed: nothing, since tls is false. Set tls = '
            "true, or take ca_file out."
        ),
        id="mqtt-ca-without-tls",
    ),
    pytest.param(
        REAL,
        [('username = "shelf-1"', 'tls = true\nkey_file = "shelf.toml"')],
        ("mqtt: certificate_file: found nothing; allowed: a file, since there is a key_file. Add certificate_file."),
        id="mqtt-key-without-certificate",
    ),
    pytest.param(
        REAL,
        [('username = "shelf-1"', 'tls = true\nca_file = "/"')],
        (
            "mqtt: ca_file: found /, which is not a file; allowed: a file that exists. Copy the "
            "certificate of the broker's authority there."
        ),
        id="mqtt-ca-file-a-directory",
    ),
    pytest.param(
        REAL,
        [('[[push.target]]\nname = "paper"\nurl = "file:pushes.txt"\n', "")],
        (
            "push: found no [[push.target]]; allowed: one or more [[push.target]]. Add one, or take "
            "[push] out to push nothing."
        ),
        id="push-without-target",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "https://push.example/secret-token"')],
        (
            "push target paper: url: found the address of a service (not repeated here); allowed: "
            "file:PATH, or a service on this machine without a password. Put the address as the "
            "first line of a file that only the station can read, and name it in url_file."
        ),
        id="push-secret-inline",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "file:pushes.txt"\nurl_file = "shelf.toml"')],
        (
            "push target paper: url_file: found both url_file and url; allowed: exactly one of them. "
            "Keep url_file: the address of a service holds a secret, and belongs in a file of its "
            "own."
        ),
        id="push-both",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"\n', "")],
        (
            "push target paper: url_file: found neither url_file nor url; allowed: exactly one of "
            "them. Keep url_file: the address of a service holds a secret, and belongs in a file of "
            "its own."
        ),
        id="push-neither",
    ),
    pytest.param(
        REAL,
        [("[digest]", '[[push.target]]\nname = "paper"\nurl = "json://127.0.0.1:8080/"\n\n[digest]')],
        (
            'push target paper: name: found "paper" a second time; allowed: each name once. Give '
            "each target a name of its own."
        ),
        id="push-target-twice",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url_file = "/nowhere/phone"')],
        (
            "push target paper: url_file: found /nowhere/phone, which does not exist; allowed: a "
            "file that exists. Make it, with the address of the service as its first line."
        ),
        id="push-url_file-missing",
    ),
    pytest.param(
        REAL,
        [('host = "localhost"', 'host = "localhost"\nqos = "1"')],
        'mqtt: qos: found "1"; allowed: 1 or 2. Write it without quotes.',
        id="mqtt-qos-text",
    ),
    pytest.param(
        REAL,
        [('host = "localhost"\n', "")],
        ("mqtt: host: found nothing; allowed: a host name or an address, without user, port or path. Add host."),
        id="mqtt-host-missing",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "file:pushes.txt"\npriorities = []')],
        (
            'push target paper: priorities: found a list; allowed: a list of "high", "medium" and '
            '"low", one at least. Write it as in ["high", "medium"].'
        ),
        id="push-priorities-none",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "file:pushes.txt"\npriorities = "high"')],
        (
            'push target paper: priorities: found "high"; allowed: a list of "high", "medium" and '
            '"low", one at least. Write it as in ["high", "medium"].'
        ),
        id="push-priorities-no-list",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "file:pushes.txt"\npriorities = ["urgent"]')],
        (
            'push target paper: priorities: found a list; allowed: a list of "high", "medium" and '
            '"low", one at least. Write it as in ["high", "medium"].'
        ),
        id="push-priorities-unknown",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "file:pushes.txt"\npriorities = ["low"]')],
        (
            'push: found no target that high pushes go to at once; allowed: at least one with "high" '
            "among its priorities and without second = true. Add one, or let one of these be told of "
            "high pushes."
        ),
        id="push-nobody-for-high",
    ),
    pytest.param(
        REAL,
        [('url = "file:pushes.txt"', 'url = "file:pushes.txt"\nsecond = true')],
        (
            'push: found no target that high pushes go to at once; allowed: at least one with "high" '
            "among its priorities and without second = true. Add one, or let one of these be told of "
            "high pushes."
        ),
        id="push-second-only",
    ),
    pytest.param(
        REAL,
        [("[push]\n", '[push]\nquiet_from = "22:00"\n')],
        "push: quiet_until: found nothing; allowed: a time of day, since there is quiet_from. Add quiet_until.",
        id="push-quiet-half",
    ),
    pytest.param(
        REAL,
        [("[push]\n", '[push]\nquiet_from = "22:00"\nquiet_until = "22:00"\n')],
        (
            'push: quiet_until: found "22:00"; allowed: another time than quiet_from. Take both out '
            "for no quiet hours; all day is too long."
        ),
        id="push-quiet-all-day",
    ),
    pytest.param(
        REAL,
        [("[push]\n", '[push]\nquiet_from = 22\nquiet_until = "07:00"\n')],
        (
            "push: quiet_from: found 22; allowed: a time of day from 00:00 to 23:59. Write it in "
            'quotes, as in quiet_from = "22:00".'
        ),
        id="push-quiet-number",
    ),
    pytest.param(
        REAL,
        [("[push]\n", '[push]\nquiet_from = "22:00"\nquiet_until = "10:00"\n')],
        (
            "digest: at: found 08:00, in the quiet hours of [push]; allowed: a time from 10:00 to "
            "22:00. The digest is a low push and would wait: make it later, or end the quiet hours "
            "earlier."
        ),
        id="push-quiet-digest",
    ),
]


@pytest.mark.parametrize(("base", "edits", "message"), BROKEN)
def test_one_slip_gives_one_message(base: str, edits: list[tuple[str, str]], message: str, tmp_path: Path) -> None:
    """One slip in a good file gives exactly one message: where, what was found, what is allowed, what to do."""
    outcome = checked(tmp_path, edited(base, *edits))

    assert lines(outcome) == [message.replace("DIR", str(tmp_path))]
    assert outcome.settings is None
