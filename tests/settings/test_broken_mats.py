"""Broken settings of mats and their relays: slip and message. DIR is the directory of the file."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import FAHRENHEIT, REAL, checked, edited, lines

BROKEN = [
    pytest.param(
        REAL,
        [('placement = "side"', 'placement = "under"')],
        (
            'mat of oak: placement: found "under"; allowed: "side" or "back". Never under a tub: '
            "animals dig down when hot and would reach the heater. A mat belongs on the side or back "
            "wall."
        ),
        id="mat-under-the-tub",
    ),
    pytest.param(
        REAL,
        [('placement = "side"', 'placement = "floor of the shelf"')],
        (
            'mat of oak: placement: found "floor of the shelf"; allowed: "side" or "back". Never '
            "under a tub: animals dig down when hot and would reach the heater. A mat belongs on the "
            "side or back wall."
        ),
        id="mat-on-the-floor",
    ),
    pytest.param(
        REAL,
        [('placement = "side"', 'placement = "heat lamp"')],
        (
            'mat of oak: placement: found "heat lamp"; allowed: "side" or "back". Never a lamp: it '
            "dries the substrate. A mat belongs on the side or back wall."
        ),
        id="a-lamp",
    ),
    pytest.param(
        REAL,
        [('placement = "side"', 'placement = "lid"')],
        (
            'mat of oak: placement: found "lid"; allowed: "side" or "back". Never on top: warm air '
            "stays under the lid, and the animals below get none of it. A mat belongs on the side or "
            "back wall."
        ),
        id="mat-on-the-lid",
    ),
    pytest.param(
        REAL,
        [('placement = "side"', 'placement = "front"')],
        ('mat of oak: placement: found "front"; allowed: "side" or "back". A mat belongs on the side or back wall.'),
        id="placement-other",
    ),
    pytest.param(
        REAL,
        [('placement = "side"\n', "")],
        (
            'mat of oak: placement: found nothing; allowed: "side" or "back". Add placement. A mat '
            "belongs on the side or back wall."
        ),
        id="placement-missing",
    ),
    pytest.param(
        REAL,
        [('role = "wall"', 'role = "substrate"')],
        (
            'mat of oak: found no wall probe in its tub; allowed: a [[probe]] with role = "wall" in '
            "the tub of each mat. Fix one to the wall at the mat: the air can read 25.6 °C (78.1 °F) "
            "while the mat is at 40 °C (104 °F)."
        ),
        id="mat-without-wall-probe",
    ),
    pytest.param(
        REAL,
        [('[[mat]]\nenclosure = "oak"', '[[mat]]\nenclosure = "oka"')],
        (
            'mat of oka: enclosure: found "oka"; allowed: "oak" or "rowan". Did you mean "oak"? '
            "Correct it, or add an [[enclosure]] with this id."
        ),
        id="mat-of-unknown-enclosure",
    ),
    pytest.param(
        REAL,
        [
            (
                "[store]",
                (
                    '[[mat]]\nenclosure = "oak"\nplacement = "back"\ndriver = "gpio"\nchip = "/dev/gpiochip0"\n'
                    'line = 27\nactive = "high"\n\n[store]'
                ),
            )
        ],
        ('mat of oak: enclosure: found "oak" a second time; allowed: one mat a tub. Take one of the two mats out.'),
        id="two-mats-on-a-tub",
    ),
    pytest.param(
        REAL,
        [
            ('role = "air"\nenclosure = "rowan"', 'role = "wall"\nenclosure = "rowan"'),
            (
                "[store]",
                (
                    '[[mat]]\nenclosure = "rowan"\nplacement = "back"\nsetpoint = 26.0\ndriver = "gpio"\nchip = '
                    '"/dev/gpiochip0"\nline = 17\nactive = "high"\n\n[store]'
                ),
            ),
        ],
        (
            "mat of rowan: line: found line 17 of /dev/gpiochip0, which mat of oak has already; "
            "allowed: hardware of its own. Correct one of the two: they cannot be the same part."
        ),
        id="two-mats-on-a-line",
    ),
    pytest.param(
        REAL,
        [("setpoint = 25.0", "setpoint = 22.4")],
        (
            "mat of oak: setpoint: found 22.4 °C, with hysteresis 1 °C: heat comes on at 21.9 °C; "
            "allowed: 22.5 °C or more, so that heat comes on inside the band. Raise setpoint, or "
            "lower band_low (22 °C) or hysteresis."
        ),
        id="setpoint-too-low",
    ),
    pytest.param(
        FAHRENHEIT,
        [("setpoint = 77", "setpoint = 72")],
        (
            "mat of oak: setpoint: found 72 °F, with hysteresis 1.8 °F: heat comes on at 71.1 °F; "
            "allowed: 72.5 °F or more, so that heat comes on inside the band. Raise setpoint, or "
            "lower band_low (71.6 °F) or hysteresis."
        ),
        id="setpoint-too-low-in-F",
    ),
    pytest.param(
        REAL,
        [("setpoint = 25.0", "setpoint = 27.8")],
        (
            "mat of oak: setpoint: found 27.8 °C, with hysteresis 1 °C: heat goes off at 28.3 °C; "
            "allowed: 27.5 °C or less, so that heat goes off inside the band. Lower setpoint, or "
            "raise band_high (28 °C) or lower hysteresis."
        ),
        id="setpoint-too-high",
    ),
    pytest.param(
        REAL,
        [("hysteresis = 1.0", "hysteresis = 0")],
        (
            "mat of oak: hysteresis: found 0 °C; allowed: more than 0 and at most 5 °C, a difference "
            "between two temperatures. Choose a value in this range."
        ),
        id="hysteresis-zero",
    ),
    pytest.param(
        REAL,
        [("hysteresis = 1.0", "hysteresis = 6.5")],
        (
            "mat of oak: hysteresis: found 6.5 °C; allowed: more than 0 and at most 5 °C, a "
            "difference between two temperatures. Choose a value in this range."
        ),
        id="hysteresis-too-wide",
    ),
    pytest.param(
        FAHRENHEIT,
        [("hysteresis = 1.8", "hysteresis = 33.8")],
        (
            "mat of oak: hysteresis: found 33.8 °F; allowed: more than 0 and at most 9 °F, a "
            "difference between two temperatures. Choose a value in this range."
        ),
        id="hysteresis-huge-in-F",
    ),
    pytest.param(
        REAL,
        [("limiter = 28.5", "limiter = 25.5")],
        (
            "mat of oak: limiter: found 25.5 °C; allowed: more than 25.5 °C, where heat goes off "
            "(setpoint and half the hysteresis). Raise limiter or lower setpoint: the wall is always "
            "warmer than the air it heats."
        ),
        id="limiter-under-heat-off",
    ),
    pytest.param(
        REAL,
        [("limiter = 28.5", "limiter = 30.5")],
        (
            "mat of oak: limiter: found 30.5 °C; allowed: less than cut_out (30 °C). Lower limiter: "
            "it must act, and end by itself, before the software cut-out trips."
        ),
        id="limiter-over-cut-out",
    ),
    pytest.param(
        FAHRENHEIT,
        [("limiter = 83.3", "limiter = 87")],
        (
            "mat of oak: limiter: found 87 °F; allowed: less than cut_out (86 °F). Lower limiter: it "
            "must act, and end by itself, before the software cut-out trips."
        ),
        id="limiter-over-cut-out-in-F",
    ),
    pytest.param(
        REAL,
        [("limiter = 28.5", "limiter = 30.0")],
        (
            "mat of oak: limiter: found 30 °C; allowed: less than cut_out (30 °C). Lower limiter: it "
            "must act, and end by itself, before the software cut-out trips."
        ),
        id="limiter-at-cut-out",
    ),
    pytest.param(
        REAL,
        [("cut_out = 30.0", "cut_out = 31.5")],
        (
            "mat of oak: cut_out: found 31.5 °C; allowed: at most 31 °C, a ceiling that no setting "
            "can raise. Lower cut_out."
        ),
        id="cut-out-over-ceiling",
    ),
    pytest.param(
        FAHRENHEIT,
        [("cut_out = 86", "cut_out = 90")],
        (
            "mat of oak: cut_out: found 90 °F; allowed: at most 87.8 °F, a ceiling that no setting "
            "can raise. Lower cut_out."
        ),
        id="ceiling-in-F",
    ),
    pytest.param(
        REAL,
        [("differential = 1.0", "differential = -1")],
        (
            "mat of oak: differential: found -1 °C; allowed: more than 0 and at most 5 °C, a "
            "difference between two temperatures. Choose a value in this range."
        ),
        id="differential-negative",
    ),
    pytest.param(
        REAL,
        [("minimum_off_s = 180", "minimum_off_s = 1")],
        ("mat of oak: minimum_off_s: found 1; allowed: from 10 to 1800 s. Choose a value in this range."),
        id="minimum-off-tiny",
    ),
    pytest.param(
        REAL,
        [("minimum_off_s = 180", "memory_min = 1000")],
        ("mat of oak: memory_min: found 1000; allowed: from 1 to 240 min. Choose a value in this range."),
        id="memory-too-long",
    ),
    pytest.param(
        REAL,
        [("minimum_off_s = 180", "prove_readings = 2.5")],
        (
            "mat of oak: prove_readings: found 2.5; allowed: a whole number from 1 to 20. Write it "
            "without quotes and without a point."
        ),
        id="prove-readings-a-fraction",
    ),
    pytest.param(
        REAL,
        [("line = 17", 'line = "GPIO17"')],
        (
            'mat of oak: line: found "GPIO17"; allowed: a whole number from 0 to 511. Write it '
            "without quotes and without a point."
        ),
        id="line-a-text",
    ),
    pytest.param(
        REAL,
        [("line = 17", "line = -1")],
        "mat of oak: line: found -1; allowed: from 0 to 511. Choose a value in this range.",
        id="line-negative",
    ),
    pytest.param(
        REAL,
        [('chip = "/dev/gpiochip0"', 'chip = "gpiochip0"')],
        ('mat of oak: chip: found "gpiochip0"; allowed: a GPIO chip, as in /dev/gpiochip0. Correct it.'),
        id="chip-number",
    ),
    pytest.param(
        REAL,
        [('active = "high"\n', "")],
        (
            'mat of oak: active: found nothing; allowed: "high" or "low". Add active. Look at the '
            "relay board: low if a low level lets the mat have power, high if a high level does."
        ),
        id="active-missing",
    ),
    pytest.param(
        REAL,
        [('active = "high"', "active = false")],
        (
            'mat of oak: active: found false; allowed: "high" or "low". Look at the relay board: low '
            "if a low level lets the mat have power, high if a high level does."
        ),
        id="active-a-bool",
    ),
    pytest.param(
        REAL,
        [("watts = 7", "watts = 0")],
        ("mat of oak: watts: found 0; allowed: more than 0 and at most 200 W. Choose a value in this range."),
        id="watts-zero",
    ),
]


@pytest.mark.parametrize(("base", "edits", "message"), BROKEN)
def test_one_slip_gives_one_message(base: str, edits: list[tuple[str, str]], message: str, tmp_path: Path) -> None:
    """One slip in a good file gives exactly one message: where, what was found, what is allowed, what to do."""
    outcome = checked(tmp_path, edited(base, *edits))

    assert lines(outcome) == [message.replace("DIR", str(tmp_path))]
    assert outcome.settings is None
