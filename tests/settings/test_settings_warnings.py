"""What is allowed and yet worth a second look."""

from __future__ import annotations

from pathlib import Path

import pytest

from helpers_settings import REAL, checked, edited

WITHOUT_AIR = (
    'id = "oak-air"\nrole = "air"\nenclosure = "oak"\nside = "moist"',
    'id = "oak-air"\nrole = "substrate"\nenclosure = "oak"\nside = "moist"',
)


def test_a_mat_without_an_air_probe_is_a_warning(tmp_path: Path) -> None:
    """Without an air probe the setpoint is the wall's, and the check says so."""
    outcome = checked(tmp_path, edited(REAL, WITHOUT_AIR))

    assert outcome.settings is not None
    assert outcome.warnings == (
        "mat of oak: there is no air probe in its tub, so setpoint is the temperature of the wall; about "
        "26.7 °C (80 °F) is common there.",
    )


def test_a_wall_setpoint_over_the_band_is_a_warning(tmp_path: Path) -> None:
    """A wall may be warmer than the tub's band, so a setpoint of the wall over it is no problem, but told."""
    outcome = checked(tmp_path, edited(REAL, WITHOUT_AIR, ("setpoint = 25.0", "setpoint = 27.8")))

    assert outcome.settings is not None
    assert outcome.warnings[1] == (
        "mat of oak: setpoint: 27.8 °C, with hysteresis 1 °C: heat goes off at 28.3 °C at the wall, since there is "
        "no air probe; the band is that of the tub. Expected 27.5 °C or less, so that heat goes off inside the "
        "band. Lower setpoint, or raise band_high (28 °C) or lower hysteresis."
    )


def test_a_wall_setpoint_over_the_limiter_stays_a_problem(tmp_path: Path) -> None:
    """Whatever governs demand, heat must go off below the limiter."""
    outcome = checked(tmp_path, edited(REAL, WITHOUT_AIR, ("setpoint = 25.0", "setpoint = 28.4")))

    assert [problem.where for problem in outcome.problems] == ["mat of oak: limiter"]


def test_a_password_over_the_network_in_the_clear_is_a_warning(tmp_path: Path) -> None:
    """A user name for a broker elsewhere without TLS is told; for one on this machine it is not."""
    outcome = checked(tmp_path, edited(REAL, ('host = "localhost"', 'host = "broker.example"')))

    assert outcome.warnings == (
        "mqtt: tls: the password for broker.example goes over the network unencrypted; set tls = true if the "
        "broker can do it.",
    )


def test_a_secret_that_everybody_can_read_is_a_warning(tmp_path: Path) -> None:
    """A password file readable by all is told, with the command that mends it; a private one is not."""
    secret = tmp_path / "secret"
    secret.write_text("hush\n", encoding="utf-8")
    text = edited(REAL, ('username = "shelf-1"', 'username = "shelf-1"\npassword_file = "secret"'))
    secret.chmod(0o644)
    loose = checked(tmp_path, text).warnings
    secret.chmod(0o640)
    tight = checked(tmp_path, text).warnings

    assert loose == (f"mqtt: password_file: {secret} can be read by every user here; do: chmod o-r {secret}",)
    assert tight == ()


def test_no_message_repeats_an_address(tmp_path: Path) -> None:
    """An address that is refused, for whatever reason, is repeated in no message: it may hold a secret."""
    for address in ("https://push.example/s3cret", "https://s3cret@127.0.0.1/", "s3cret\\n", "s3cret" * 500, ""):
        outcome = checked(tmp_path, edited(REAL, ("file:pushes.txt", address)))
        assert len(outcome.problems) == 1
        assert "s3cret" not in outcome.problems[0].line()


def _bus(probes_n: int, own_s: float | None = None) -> str:
    """The shelf with so many 1-wire probes, polled every 10 s; all but two of them every `own_s`."""
    own = "" if own_s is None else f"every_s = {own_s}\n"
    more = "".join(
        f'\n[[probe]]\nid = "soil-{n}"\nrole = "substrate"\nenclosure = "rowan"\n{own}driver = "one-wire"\n'
        f'address = "28-0316a2793e{n:02x}"\n'
        for n in range(probes_n - 2)
    )
    return REAL + more


@pytest.mark.parametrize(("probes_n", "own_s", "told"), [(13, None, False), (14, None, True), (20, 20.0, False)])
def test_more_1_wire_probes_than_one_bus_can_serve_are_a_warning(
    tmp_path: Path, probes_n: int, own_s: float | None, told: bool
) -> None:
    """A conversion takes up to 750 ms at 12 bits (DS18B20 datasheet, tCONV): 13 in 10 s, 14 do not fit."""
    outcome = checked(tmp_path, _bus(probes_n, own_s))

    assert outcome.settings is not None
    assert any("on 1-wire" in warning for warning in outcome.warnings) == told


def test_the_warning_says_which_interval_would_do(tmp_path: Path) -> None:
    """14 probes need 10.5 s: with every_s at the 11 it advises, the warning is gone."""
    outcome = checked(tmp_path, _bus(14))

    assert "they take 10.5 s, 0.75 s each; some are asked every 10 s." in outcome.warnings[0]
    assert "Raise every_s of [polling] to 11 or more" in outcome.warnings[0]
    assert checked(tmp_path, edited(_bus(14), ("every_s = 10", "every_s = 11"))).warnings == ()


@pytest.mark.parametrize(
    ("more", "alarms", "told"),
    [
        ("second = true", "", ()),
        ('priorities = ["low"]\nsecond = true', "", ("push: friend is never told of anything: only high alarms",)),
        ("second = true", "second_after_min = 0\n", ("push: friend is never told of anything: second_after_min",)),
    ],
)
def test_a_second_target_that_is_never_called_is_told(
    tmp_path: Path, more: str, alarms: str, told: tuple[str, ...]
) -> None:
    """A target of what nobody acknowledged, where nothing ever calls one, gives a warning."""
    friend = f'[[push.target]]\nname = "friend"\nurl = "file:friend.txt"\n{more}\n\n'
    text = edited(REAL, ("[digest]", friend + "[digest]"), ("[alarms]\n", "[alarms]\n" + alarms))
    warnings = checked(tmp_path, text).warnings
    assert len(warnings) == len(told)
    assert all(warning.startswith(start) for warning, start in zip(warnings, told, strict=True))
