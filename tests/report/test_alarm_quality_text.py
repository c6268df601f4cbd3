"""How good the alarms were, in the words of the digest and of the terminal."""

from __future__ import annotations

from matwarden.core.alarm_quality import AlarmQuality, Delay, Spell
from matwarden.report.alarm_quality_text import digest_lines, quality_lines

DAY_S = 86_400.0
QUIET = AlarmQuality(30 * DAY_S, 0, 0.0, (), (), (), None, Delay(0, 0, 0, None, None))
BAD = AlarmQuality(
    30 * DAY_S,
    7,
    7 / 30,
    (("blind/oak", 3),),
    (Spell("cold/oak", 2 * DAY_S, True), Spell("hot/oak", 1.5 * DAY_S, False)),
    (("blind/oak", 4), ("cold/oak", 3)),
    Spell("cold/oak", 2 * DAY_S, True),
    Delay(6, 1, 2, 2.5, 3900.0),
)


def test_a_quiet_house_has_one_short_line() -> None:
    """Nothing to say beside that."""
    assert digest_lines(QUIET) == ["No alarms in 30 days"]


def test_a_young_record_says_how_young_it_is() -> None:
    """No alarm in three days is not no alarm in thirty."""
    young = AlarmQuality(3 * DAY_S, 1, 1 / 3, (), (), (("cold/oak", 1),), None, Delay(1, 0, 0, 2.0, 2.0))
    assert digest_lines(young) == ["1 alarm in 3 d; the record goes back no further"]


def test_bad_alarms_have_a_second_line() -> None:
    """What chattered, stood, waited for a person, came late and never arrived."""
    assert digest_lines(BAD) == [
        "7 alarms in 30 days, most often blind/oak (4)",
        "  blind/oak chatters, cold/oak on for 2 d, cold/oak unacknowledged for 2 d, a push took 1 h 5 min,"
        " 1 push never arrived",
    ]


def test_the_terminal_has_every_figure() -> None:
    """Also what is none."""
    assert quality_lines(BAD) == [
        "7 alarms in 30 days, 0.23 a day",
        "  most frequent   blind/oak 4, cold/oak 3",
        "  chattering      blind/oak (3 times at once)",
        "  on over 24 h    cold/oak 2 d and still, hot/oak 36 h",
        "  longest unseen  cold/oak 2 d and still",
        "  pushes          6, half of them within 2.5 s, all within 1 h 5 min, 1 given up, 2 waiting",
    ]
    assert quality_lines(QUIET)[-1] == "  pushes          none was delivered"


def test_of_other_days_those_days_are_named() -> None:
    """A week that was asked for is a week."""
    week = AlarmQuality(7 * DAY_S, 0, 0.0, (), (), (), None, Delay(0, 0, 0, None, None))
    assert quality_lines(week, 7.0)[0] == "No alarms in 7 days, 0 a day"
