"""Broken settings of the house, polling and alarms: slip and message. DIR is the directory of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import FAHRENHEIT, REAL, TWIN, checked, edited, lines

BROKEN = [
    pytest.param(
        REAL,
        [
            (
                (
                    '[house]\nid = "shelf-1"\nname = "Back room shelf"\ntemperature_unit = "C"\nzone = '
                    '"Europe/Amsterdam"\n'
                ),
                "",
            )
        ],
        ("house: found nothing; allowed: one table [house]. Add [house] with id, temperature_unit and zone."),
        id="house-missing",
    ),
    pytest.param(
        REAL,
        [('id = "shelf-1"', 'id = "Shelf 1"')],
        ('house: id: found "Shelf 1"; allowed: small letters, digits and hyphens, as in shelf-1. Correct it.'),
        id="house-id-with-capitals",
    ),
    pytest.param(
        REAL,
        [('temperature_unit = "C"\n', "")],
        (
            'house: temperature_unit: found nothing; allowed: "C" or "F". Add temperature_unit. Say '
            "in which unit the temperatures of this file are written."
        ),
        id="unit-missing",
    ),
    pytest.param(
        REAL,
        [('temperature_unit = "C"', 'temperature_unit = "celsius"')],
        (
            'house: temperature_unit: found "celsius"; allowed: "C" or "F". Say in which unit the '
            "temperatures of this file are written."
        ),
        id="unit-spelt-out",
    ),
    pytest.param(
        REAL,
        [('zone = "Europe/Amsterdam"', 'zone = "Europe/Amsterdm"')],
        (
            'house: zone: found "Europe/Amsterdm"; allowed: a time zone of the IANA list, as in '
            "Europe/Amsterdam. Look up the name of yours; the command timedatectl list-timezones "
            "shows them all."
        ),
        id="zone-unknown",
    ),
    pytest.param(
        REAL,
        [('zone = "Europe/Amsterdam"', "zone = 1")],
        "house: zone: found 1; allowed: a text of one line in quotes. Write it in quotes.",
        id="zone-not-a-text",
    ),
    pytest.param(
        REAL,
        [("[polling]", "[poling]\n[polling]")],
        (
            "the file: poling: found a key that means nothing here; allowed: house, polling, alarms, "
            "enclosure, probe, mat, permit, store, control, mqtt, push, digest, upkeep, watch, heartbeat, simulation, "
            'twin, fault. Did you mean "polling"? Correct the key or take it out.'
        ),
        id="unknown-table",
    ),
    pytest.param(
        REAL,
        [("every_s = 10", "every = 10")],
        (
            "polling: every: found a key that means nothing here; allowed: every_s, deadline_s, "
            'stale_after_s, max_rate_per_min. Did you mean "every_s"? Correct the key or take it out.'
        ),
        id="unknown-key",
    ),
    pytest.param(
        TWIN,
        [("[[mat]]", "[mat]")],
        ("mat: found one table [mat]; allowed: tables [[mat]]. Write [[mat]] in double brackets above each of them."),
        id="single-brackets",
    ),
    pytest.param(
        REAL,
        [("[polling]", "[[polling]]")],
        ("polling: found a list of tables; allowed: one table [polling]. Write [polling] once, in single brackets."),
        id="double-brackets",
    ),
    pytest.param(
        REAL,
        [("every_s = 10", "every_s = 0.1")],
        "polling: every_s: found 0.1; allowed: from 1 to 300 s. Choose a value in this range.",
        id="poll-too-often",
    ),
    pytest.param(
        REAL,
        [("stale_after_s = 60", "stale_after_s = 20")],
        (
            "polling: stale_after_s: found 20 s; allowed: at least 30 s, three times every_s. Raise "
            "stale_after_s of [polling] or lower every_s: one lost reading must not blind the guard."
        ),
        id="stale-too-soon",
    ),
    pytest.param(
        REAL,
        [("deadline_s = 5", "deadline_s = 10")],
        (
            "polling: deadline_s: found 10 s; allowed: less than 10 s, the every_s. Lower deadline_s "
            "or raise every_s: a reading must be over before the next begins."
        ),
        id="deadline-too-long",
    ),
    pytest.param(
        REAL,
        [("max_rate_per_min = 3.0", "max_rate_per_min = 0")],
        (
            "polling: max_rate_per_min: found 0 °C; allowed: more than 0 and at most 30 °C, a "
            "difference between two temperatures. Choose a value in this range."
        ),
        id="rate-zero",
    ),
    pytest.param(
        REAL,
        [("cold_after_min = 60", "cold_after_min = -5")],
        ("alarms: cold_after_min: found -5; allowed: from 0 to 1440 min. Choose a value in this range."),
        id="negative-delay",
    ),
    pytest.param(
        REAL,
        [("deadband = 0.5", "deadband = 2.9")],
        (
            "alarms: deadband, for enclosure rowan: found 2.9 °C; allowed: less than half the width "
            "of the band (2.78 °C). Lower deadband or widen the band, or a cold alarm could end only "
            "when it is nearly hot."
        ),
        id="deadband-wide",
    ),
    pytest.param(
        FAHRENHEIT,
        [("deadband = 0.9", "deadband = 32.9")],
        (
            "alarms: deadband: found 32.9 °F; allowed: 0 °F to 5.4 °F, a difference between two "
            "temperatures. Choose a value in this range."
        ),
        id="deadband-huge-in-F",
    ),
    pytest.param(
        REAL,
        [('at = "08:00"', 'at = "24:00"')],
        (
            'digest: at: found "24:00"; allowed: a time of day from 00:00 to 23:59. Write it in '
            'quotes, as in at = "08:00".'
        ),
        id="digest-24:00",
    ),
    pytest.param(
        REAL,
        [('at = "08:00"', "at = 08:00:00")],
        (
            "digest: at: found 08:00:00 without quotes; allowed: a time of day from 00:00 to 23:59. "
            'Write it in quotes, as in at = "08:00".'
        ),
        id="digest-without-quotes",
    ),
    pytest.param(
        REAL,
        [('at = "08:00"', 'at = "8 am"')],
        (
            'digest: at: found "8 am"; allowed: a time of day from 00:00 to 23:59. Write it in '
            'quotes, as in at = "08:00".'
        ),
        id="digest-noon-words",
    ),
    pytest.param(
        REAL,
        [('directory = "data"', 'directory = "data"\ncommit_every_s = 3600')],
        ("store: commit_every_s: found 3600; allowed: from 1 to 300 s. Choose a value in this range."),
        id="store-commit",
    ),
    pytest.param(
        REAL,
        [('directory = "data"', 'directory = "shelf.toml"')],
        (
            "store: directory: found DIR/shelf.toml, which is not a directory; allowed: a directory, "
            "made when it is not there. Name another directory or move what is in the way."
        ),
        id="store-in-a-file",
    ),
    pytest.param(
        REAL,
        [
            (
                "[store]",
                (
                    "[control]\nsocket = "
                    '"/run/xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx"\n'
                    "\n[store]"
                ),
            )
        ],
        (
            "control: socket: found a path of 115 bytes; allowed: at most 107 bytes, counted from /. "
            "Choose a shorter path: the operating system takes no longer one for a socket."
        ),
        id="socket-path-long",
    ),
]


@pytest.mark.parametrize(("base", "edits", "message"), BROKEN)
def test_one_slip_gives_one_message(base: str, edits: list[tuple[str, str]], message: str, tmp_path: Path) -> None:
    """One slip in a good file gives exactly one message: where, what was found, what is allowed, what to do."""
    outcome = checked(tmp_path, edited(base, *edits))

    assert lines(outcome) == [message.replace("DIR", str(tmp_path))]
    assert outcome.settings is None
