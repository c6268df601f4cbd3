"""Broken settings of the simulated shelf: slip and message. DIR is the directory of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import REAL, TWIN, checked, edited, lines

BROKEN = [
    pytest.param(
        TWIN,
        [
            (
                (
                    '[simulation]\nstart = "2026-01-16T17:00:00Z"\ndays = 3\nspeed = "as-fast-as-possible"\n\n'
                    '[simulation.room]\nmean = 18.0\nswing = 3.0\n\n[[twin]]\nenclosure = "oak"\n\n[[fault]]\nkind = '
                    '"probe-offset"\nsubject = "oak-air"\nat_h = 10\nuntil_h = 12\namount = 2.0\n'
                ),
                "",
            )
        ],
        (
            'simulation: found nothing, though probe oak-wall has driver = "twin"; allowed: a table '
            "[simulation] when drivers are twin. Add [simulation], or give the real driver: a "
            "simulation is never fallen into."
        ),
        id="twin-without-simulation",
    ),
    pytest.param(
        TWIN,
        [
            (
                'placement = "back"\ndriver = "twin"',
                ('placement = "back"\ndriver = "gpio"\nchip = "/dev/gpiochip0"\nline = 17\nactive = "high"'),
            )
        ],
        (
            'mat of oak: driver: found "gpio"; allowed: "twin", since there is a table [simulation]. '
            "Take [simulation] out, or make every driver twin: the two do not mix."
        ),
        id="simulation-with-a-real-relay",
    ),
    pytest.param(
        REAL,
        [("[store]", '[[twin]]\nenclosure = "oak"\n\n[store]')],
        (
            "twin: found [[twin]] without [simulation]; allowed: [[twin]] only in a simulation. Add "
            "[simulation], or take [[twin]] out."
        ),
        id="simulation-with-real-drivers",
    ),
    pytest.param(
        TWIN,
        [('[[twin]]\nenclosure = "oak"\n', "")],
        (
            "enclosure oak: found no [[twin]] of it, though its drivers are twin; allowed: a "
            '[[twin]] with enclosure = "oak". Add it; its other keys may be left out.'
        ),
        id="no-twin",
    ),
    pytest.param(
        TWIN,
        [('[[twin]]\nenclosure = "oak"\n', '[[twin]]\nenclosure = "oak"\n[[twin]]\nenclosure = "elm"\n')],
        ('twin of elm: enclosure: found "elm"; allowed: "oak". Correct it, or add an [[enclosure]] with this id.'),
        id="twin-of-unknown",
    ),
    pytest.param(
        TWIN,
        [('"2026-01-16T17:00:00Z"', '"2026-01-16 17:00"')],
        (
            'simulation: start: found "2026-01-16 17:00"; allowed: an instant in UTC, as in '
            '2026-01-16T17:00:00Z. Write it in quotes, as in start = "2026-01-16T17:00:00Z".'
        ),
        id="simulation-start-without-zone",
    ),
    pytest.param(
        TWIN,
        [('"2026-01-16T17:00:00Z"', "2026-01-16T17:00:00Z")],
        (
            "simulation: start: found 2026-01-16 17:00:00+00:00 without quotes; allowed: an instant "
            "in UTC, as in 2026-01-16T17:00:00Z. Write it in quotes, as in start = "
            '"2026-01-16T17:00:00Z".'
        ),
        id="simulation-start-without-quotes",
    ),
    pytest.param(
        TWIN,
        [('"2026-01-16T17:00:00Z"', '"2026-02-30T17:00:00Z"')],
        ('simulation: start: found "2026-02-30T17:00:00Z"; allowed: a date and time of day that exist. Correct it.'),
        id="simulation-start-impossible",
    ),
    pytest.param(
        TWIN,
        [("days = 3\n", "")],
        (
            "simulation: days: found nothing; allowed: a number of days, since speed is "
            "as-fast-as-possible. Say when it ends."
        ),
        id="simulation-endless",
    ),
    pytest.param(
        TWIN,
        [("days = 3\n", "days = 3\nstep_s = 60\n")],
        ("simulation: step_s: found 60 s; allowed: at most 10 s, the every_s of [polling]. Lower step_s."),
        id="simulation-step-too-long",
    ),
    pytest.param(
        TWIN,
        [("[simulation.room]\nmean = 18.0\nswing = 3.0\n", "")],
        ("simulation.room: found nothing; allowed: one table [simulation.room]. Add it, with file, mean or plan."),
        id="simulation-without-room",
    ),
    pytest.param(
        TWIN,
        [("mean = 18.0", "mean = 18.0\nplan = [[6, 17.0]]")],
        (
            "simulation.room: found mean and plan; allowed: exactly one of file, mean and plan. Give "
            "file for a recorded room, mean for one that swings, plan for a day of points."
        ),
        id="room-both",
    ),
    pytest.param(
        TWIN,
        [("mean = 18.0\nswing = 3.0", 'file = "room.csv"')],
        (
            "simulation.room: file: found DIR/room.csv, which does not exist; allowed: a file that "
            "exists. Correct the path; a relative one starts where this settings file is."
        ),
        id="room-file-missing",
    ),
    pytest.param(
        TWIN,
        [("mean = 18.0\nswing = 3.0", "plan = [[8, 20.0], [6, 17.0]]")],
        ("simulation.room: plan: found hours 8, 6; allowed: rising hours from 0 to below 24. Correct the points."),
        id="room-plan-order",
    ),
    pytest.param(
        TWIN,
        [("mean = 18.0\nswing = 3.0", "plan = [8, 20.0]")],
        (
            "simulation.room: plan: found a list; allowed: points of an hour and a temperature, as "
            "in [[6, 17.5], [8, 20.0]]. Correct the points."
        ),
        id="room-plan-shape",
    ),
    pytest.param(
        TWIN,
        [("mean = 18.0\nswing = 3.0", "plan = [[6, 170.0]]")],
        (
            "simulation.room: plan: found temperatures 170 °C; allowed: temperatures from -40 °C to "
            "60 °C. Correct the points."
        ),
        id="plan-temperature",
    ),
    pytest.param(
        TWIN,
        [("mean = 18.0", "plan = [[6, 17.0]]")],
        "simulation.room: swing: found 3; allowed: nothing, since there is plan. Take swing out.",
        id="room-swing-with-plan",
    ),
    pytest.param(
        TWIN,
        [('kind = "probe-offset"', 'kind = "probe-ofset"')],
        (
            'fault number 1: kind: found "probe-ofset"; allowed: "probe-dead", "probe-stuck", '
            '"probe-offset", "probe-drift", "probe-noise", "probe-spike", "probe-hang", '
            '"probe-elsewhere", "relay-welded", "relay-open", "relay-readback-wrong", "mat-unplugged", "mat-power", '
            '"mat-covered", "lid-off" or "room-offset". Did you mean "probe-offset"? Choose one of them.'
        ),
        id="fault-unknown-kind",
    ),
    pytest.param(
        TWIN,
        [("amount = 2.0\n", ""), ('kind = "probe-offset"', 'kind = "probe-elsewhere"')],
        (
            "fault number 1: place: found nothing; allowed: room, or a tub of this file as oak/air. "
            "Say where the probe lies: probe-elsewhere needs it."
        ),
        id="fault-place-missing",
    ),
    pytest.param(
        TWIN,
        [("amount = 2.0\n", 'amount = 2.0\nplace = "room"\n')],
        'fault number 1: place: found "room"; allowed: nothing, since probe-offset has no place. Take it out.',
        id="fault-place-needless",
    ),
    pytest.param(
        TWIN,
        [('subject = "oak-air"', 'subject = "oak"')],
        (
            'fault number 1: subject: found "oak"; allowed: "oak-wall", "oak-air" or "room". Did you '
            'mean "oak-air"? Name what probe-offset strikes.'
        ),
        id="fault-subject",
    ),
    pytest.param(
        TWIN,
        [("until_h = 12", "until_h = 9")],
        "fault number 1: until_h: found 9 h; allowed: more than at_h (10 h). Raise until_h.",
        id="fault-ends-early",
    ),
    pytest.param(
        TWIN,
        [("until_h = 12", "until_h = 10")],
        "fault number 1: until_h: found 10 h; allowed: more than at_h (10 h). Raise until_h.",
        id="fault-of-no-length",
    ),
    pytest.param(
        TWIN,
        [("swing = 3.0", "swing = -0.5")],
        (
            "simulation.room: swing: found -0.5 °C; allowed: 0 °C to 30 °C, a difference between two "
            "temperatures. Choose a value in this range."
        ),
        id="room-swing-negative",
    ),
    pytest.param(
        TWIN,
        [("amount = 2.0\n", "")],
        (
            "fault number 1: amount: found nothing; allowed: a temperature difference. Say how much: "
            "probe-offset needs it."
        ),
        id="fault-amount-missing",
    ),
    pytest.param(
        TWIN,
        [('kind = "probe-offset"', 'kind = "probe-dead"')],
        ("fault number 1: amount: found 2; allowed: nothing, since probe-dead has no amount. Take amount out."),
        id="fault-amount-needless",
    ),
    pytest.param(
        TWIN,
        [
            ('kind = "probe-offset"\nsubject = "oak-air"', 'kind = "mat-power"\nsubject = "oak"'),
            ("amount = 2.0", "amount = -1"),
        ],
        "fault number 1: amount: found -1; allowed: 0 or more. Take the minus away.",
        id="fault-factor-negative",
    ),
    pytest.param(
        TWIN,
        [
            (
                'role = "wall"\nenclosure = "oak"\ndriver = "twin"',
                'role = "wall"\nenclosure = "oak"\ndriver = "twin"\nhumidity = true',
            )
        ],
        (
            "probe oak-wall: humidity: found true, at the wall; allowed: true only in air or "
            "substrate. Take humidity out: the twin knows none there."
        ),
        id="twin-humidity-at-wall",
    ),
]


@pytest.mark.parametrize(("base", "edits", "message"), BROKEN)
def test_one_slip_gives_one_message(base: str, edits: list[tuple[str, str]], message: str, tmp_path: Path) -> None:
    """One slip in a good file gives exactly one message: where, what was found, what is allowed, what to do."""
    outcome = checked(tmp_path, edited(base, *edits))

    assert lines(outcome) == [message.replace("DIR", str(tmp_path))]
    assert outcome.settings is None
