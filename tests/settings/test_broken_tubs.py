"""Broken settings of tubs and probes: slip and message. DIR is the directory of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import FAHRENHEIT, REAL, checked, edited, lines

BROKEN = [
    pytest.param(
        REAL,
        [("band_low = 22.0", "band_low = 29.0")],
        ("enclosure oak: band_low: found 29 °C; allowed: below band_high (28 °C). Lower band_low or raise band_high."),
        id="band-upside-down",
    ),
    pytest.param(
        REAL,
        [("band_low = 22.0", "band_low = 72")],
        (
            "enclosure oak: band_low: found 72 °C; allowed: 10 °C to 40 °C. Is temperature_unit "
            "right? 72 °F would be in the range."
        ),
        id="band-in-Fahrenheit",
    ),
    pytest.param(
        FAHRENHEIT,
        [("band_low = 71.6", "band_low = 22")],
        (
            "enclosure oak: band_low: found 22 °F; allowed: 50 °F to 104 °F. Is temperature_unit "
            "right? 22 °C would be in the range."
        ),
        id="band-in-Celsius-in-an-F-file",
    ),
    pytest.param(
        REAL,
        [("band_low = 22.0", "band_low = nan")],
        "enclosure oak: band_low: found nan; allowed: a number. Write an ordinary number.",
        id="band-is-nan",
    ),
    pytest.param(
        REAL,
        [("band_high = 28.0", "band_high = inf")],
        "enclosure oak: band_high: found inf; allowed: a number. Write an ordinary number.",
        id="band-is-inf",
    ),
    pytest.param(
        REAL,
        [("band_low = 22.0", 'band_low = "22,0"')],
        (
            'enclosure oak: band_low: found "22,0"; allowed: a number. Write it without quotes, with '
            "a point and not a comma."
        ),
        id="band-with-comma-as-text",
    ),
    pytest.param(
        REAL,
        [('[[enclosure]]\nid = "rowan"', '[[enclosure]]\nid = "rowan"\nblind_after_min = 0')],
        ("enclosure rowan: blind_after_min: found 0; allowed: from 1 to 1440 min. Choose a value in this range."),
        id="enclosure-alarm-override",
    ),
    pytest.param(
        REAL,
        [('[[probe]]\nid = "oak-wall"', '[[enclosure]]\nname = "Hazel"\n\n[[probe]]\nid = "oak-wall"')],
        ("enclosure number 3: id: found nothing; allowed: small letters, digits and hyphens, as in shelf-1. Add id."),
        id="enclosure-id-missing",
    ),
    pytest.param(
        REAL,
        [('[[enclosure]]\nid = "rowan"', '[[enclosure]]\nid = "rowan"\n[[enclosure]]\nid = "oak"')],
        ('enclosure oak: id: found "oak" a second time; allowed: each id once. Give each tub an id of its own.'),
        id="enclosure-twice",
    ),
    pytest.param(
        REAL,
        [
            ('[[enclosure]]\nid = "rowan"', '[[enclosure]]\nid = "room"'),
            ('enclosure = "rowan"', 'enclosure = "room"'),
        ],
        ('enclosure room: id: found "room"; allowed: any id but room and house. Choose another id.'),
        id="enclosure-id-reserved",
    ),
    pytest.param(
        REAL,
        [('[[enclosure]]\nid = "rowan"', '[[enclosure]]\nid = "rowan"\n[[enclosure]]\nid = "alder"')],
        (
            "enclosure alder: found no probe; allowed: one [[probe]] or more with enclosure = "
            '"alder". Add a probe, or take the enclosure out: a tub without a probe cannot be '
            "watched."
        ),
        id="enclosure-without-probe",
    ),
    pytest.param(
        REAL,
        [('role = "air"\nenclosure = "rowan"', 'role = "air"\nenclosure = "rowen"')],
        (
            'probe rowan-air: enclosure: found "rowen"; allowed: "oak" or "rowan". Did you mean '
            '"rowan"? Correct it, or add an [[enclosure]] with this id.'
        ),
        id="probe-of-unknown-enclosure",
    ),
    pytest.param(
        REAL,
        [('role = "air"\nenclosure = "rowan"\n', 'role = "air"\n')],
        (
            'probe rowan-air: enclosure: found nothing; allowed: "oak" or "rowan". Say in which tub '
            "it sits; only a probe of the room has none."
        ),
        id="probe-without-enclosure",
    ),
    pytest.param(
        REAL,
        [('role = "room"', 'role = "room"\nenclosure = "oak"')],
        (
            'probe room: enclosure: found "oak"; allowed: none, since its role is room. Take '
            "enclosure out, or give the role it has inside the tub."
        ),
        id="room-probe-with-enclosure",
    ),
    pytest.param(
        REAL,
        [('role = "room"', 'role = "room"\nside = "dry"')],
        'probe room: side: found "dry"; allowed: none, since its role is room. Take side out.',
        id="room-probe-with-side",
    ),
    pytest.param(
        REAL,
        [('id = "oak-air"', 'id = "oak-wall"')],
        (
            'probe oak-wall: id: found "oak-wall" a second time; allowed: each id once. Give each '
            "probe an id of its own."
        ),
        id="probe-id-twice",
    ),
    pytest.param(
        REAL,
        [('role = "room"', 'role = "ambient"')],
        ('probe room: role: found "ambient"; allowed: "air", "wall", "substrate" or "room". Choose one of them.'),
        id="probe-role-unknown",
    ),
    pytest.param(
        REAL,
        [('device = "dht11@4"', 'device = "dht11@4"\nevery_s = 30')],
        (
            "probe rowan-air: every_s: found 30 s; allowed: at most 20 s, a third of stale_after_s. "
            "Raise stale_after_s of [polling] or lower every_s: one lost reading must not blind the "
            "guard."
        ),
        id="probe-polled-too-slowly",
    ),
    pytest.param(
        REAL,
        [("offset = -0.2", "offset = -20")],
        (
            "probe oak-air: offset: found -20 °C; allowed: -5 °C to 5 °C, a difference between two "
            "temperatures. Choose a value in this range."
        ),
        id="probe-offset-huge",
    ),
    *(
        pytest.param(
            REAL,
            [("offset = -0.2", f"checked = {value}")],
            (
                f"probe oak-air: checked: found {found}; allowed: a day, as in 2026-10-03. Write it as year-month-day, "
                "without quotes and without a time."
            ),
            id=f"probe-checked-{value}",
        )
        for value, found in [
            ('"2026-10-03"', '"2026-10-03"'),
            ("2026-10-03T07:30:00", "2026-10-03 07:30:00 without quotes"),
            ("20261003", "20261003"),
        ]
    ),
    pytest.param(
        REAL,
        [('address = "28-0316a2793f01"', 'address = "28-0316a2"')],
        (
            'probe oak-wall: address: found "28-0316a2"; allowed: 28- and twelve hex digits, as in '
            "28-0316a2793f1c. Correct it."
        ),
        id="one-wire-address-short",
    ),
    pytest.param(
        REAL,
        [('address = "28-0316a2793f02"', 'address = "28-0316A2793F01"')],
        (
            'probe oak-air: address: found "28-0316A2793F01", which probe oak-wall has already; '
            "allowed: hardware of its own. Correct one of the two: they cannot be the same part."
        ),
        id="one-wire-address-twice",
    ),
    pytest.param(
        REAL,
        [
            (
                "[[mat]]",
                (
                    '[[probe]]\nid = "room-2"\nrole = "room"\ndriver = "hwmon"\nchip = "sht4x"\naddress = "0x44"\n\n'
                    "[[mat]]"
                ),
            )
        ],
        (
            'probe room-2: chip: found "sht4x", which probe room has already; allowed: hardware of '
            "its own. Correct one of the two: they cannot be the same part."
        ),
        id="two-bus-chips-alike",
    ),
    pytest.param(
        REAL,
        [('address = "0x44"', "address = 44")],
        (
            "probe room: address: found 44; allowed: an I2C address from 0x00 to 0x7f, as in 0x44, or as in 1-0044 "
            "with its bus. Write it in quotes."
        ),
        id="i2c-address",
    ),
    *(
        pytest.param(
            REAL,
            [
                ('address = "0x44"', address),
                (
                    "[[mat]]",
                    '[[probe]]\nid = "room-2"\nrole = "room"\ndriver = "hwmon"\nchip = "sht4x"\naddress = "1-0044"\n\n'
                    "[[mat]]",
                ),
            ],
            (
                f'probe room-2: address: found "1-0044"; allowed: an address that probe room ({other}) cannot have '
                "too. Give both, in the same form, as `matwarden probes` shows them."
            ),
            id=f"i2c-address-that-may-be-another-s-{other}",
        )
        for address, other in [('address = "0x44"', '"0x44"'), ("", "nothing")]
    ),
    pytest.param(
        REAL,
        [('driver = "iio"\ndevice = "dht11@4"', 'driver = "AM2302"\npin = 4')],
        (
            'probe rowan-air: driver: found "AM2302"; allowed: "one-wire", "iio", "hwmon", "dht22" or "twin". '
            'Write "dht22" for such a probe.'
        ),
        id="driver-by-another-name",
    ),
    pytest.param(
        REAL,
        [('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht11"\npin = 4')],
        (
            'probe rowan-air: driver: found "dht11"; allowed: "one-wire", "iio", "hwmon", "dht22" or "twin". '
            "Only the kernel reads a DHT11: use iio. It is too coarse (2 K) to guard heat by."
        ),
        id="driver-of-the-kernel-only",
    ),
    pytest.param(
        REAL,
        [('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht22"\npin = 40')],
        "probe rowan-air: pin: found 40; allowed: from 0 to 27. Choose a value in this range.",
        id="dht22-pin-by-its-place",
    ),
    pytest.param(
        REAL,
        [('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht22"\npin = 4\nuse_pulseio = "yes"')],
        'probe rowan-air: use_pulseio: found "yes"; allowed: true or false. Write it without quotes.',
        id="dht22-pulseio-in-quotes",
    ),
    pytest.param(
        REAL,
        [
            ('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht22"\npin = 4\nevery_s = 4'),
            ("deadline_s = 5", "deadline_s = 2"),
        ],
        (
            "probe rowan-air: every_s: found 4 s; allowed: at least 5 s for a DHT22. Raise every_s of this probe: it "
            "must rest between readings, and its reader needs time to be replaced."
        ),
        id="dht22-polled-too-fast",
    ),
    pytest.param(
        REAL,
        [
            (
                'driver = "iio"\ndevice = "dht11@4"',
                'driver = "dht22"\npin = 4\n\n[[probe]]\nid = "rowan-2"\nrole = "air"\nenclosure = "rowan"\n'
                'driver = "dht22"\npin = 4',
            )
        ],
        (
            "probe rowan-2: pin: found 4, which probe rowan-air has already; allowed: hardware of its own. Correct "
            "one of the two: they cannot be the same part."
        ),
        id="dht22-pin-twice",
    ),
    pytest.param(
        REAL,
        [('driver = "iio"\ndevice = "dht11@4"', 'driver = "dht22"\npin = 17')],
        (
            "mat of oak: line: found line 17 of /dev/gpiochip0, which probe rowan-air has already; allowed: hardware "
            "of its own. Correct one of the two: they cannot be the same part."
        ),
        id="dht22-on-the-relay-line",
    ),
    pytest.param(
        REAL,
        [('driver = "hwmon"\n', "")],
        ('probe room: driver: found nothing; allowed: "one-wire", "iio", "hwmon", "dht22" or "twin". Add driver.'),
        id="driver-missing",
    ),
    pytest.param(
        REAL,
        [('driver = "hwmon"', 'driver = "hwmom"')],
        (
            'probe room: driver: found "hwmom"; allowed: "one-wire", "iio", "hwmon", "dht22" or "twin". Did '
            'you mean "hwmon"? Choose one of them.'
        ),
        id="driver-misspelt",
    ),
    pytest.param(
        REAL,
        [('device = "dht11@4"', 'device = "dht11@4"\naddress = "28-0316a2793f09"')],
        (
            "probe rowan-air: address: found a key that means nothing here; allowed: id, role, "
            "enclosure, side, offset, checked, every_s, driver, device. Correct the key or take it out."
        ),
        id="key-of-another-driver",
    ),
]


@pytest.mark.parametrize(("base", "edits", "message"), BROKEN)
def test_one_slip_gives_one_message(base: str, edits: list[tuple[str, str]], message: str, tmp_path: Path) -> None:
    """One slip in a good file gives exactly one message: where, what was found, what is allowed, what to do."""
    outcome = checked(tmp_path, edited(base, *edits))

    assert lines(outcome) == [message.replace("DIR", str(tmp_path))]
    assert outcome.settings is None
