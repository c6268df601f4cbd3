"""What becomes of a capture: a reading or nothing; and what a probe is seen to say afterwards."""

from __future__ import annotations

from math import inf, isfinite, nan
from typing import NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from matwarden.core.plausibility import Judged, fresh_memory, view
from matwarden.terms import Quality, Seen
from plausibility_examples import STALE_S, Probe, offset

GOOD, DOUBTFUL, MISSING = Quality.GOOD, Quality.DOUBTFUL, Quality.MISSING


class Frame(NamedTuple):
    """What an AM2302 frame says: relative humidity and temperature."""

    humidity_pct: float
    temperature_c: float


def am2302(hexes: str) -> Frame:
    """Humidity x 10, temperature x 10 in sign and magnitude, checksum: AM2302 datasheet."""
    rh, rl, th, tl, total = bytes.fromhex(hexes)
    assert (rh + rl + th + tl) & 0xFF == total, "checksum"
    magnitude = ((th & 0x7F) << 8 | tl) / 10
    return Frame((rh << 8 | rl) / 10, -magnitude if th & 0x80 else magnitude)


class TestMissing:
    """What is refused outright."""

    @pytest.mark.parametrize(
        "temperature_c",
        [
            nan,
            inf,
            -inf,
            None,
            -30.1,
            70.1,
            85.0,  # DS18B20 datasheet: the power-on reset value
            127.94,  # w1_therm kernel documentation: insufficient power during conversion
            -3276.7,  # AM2302 clone, two's complement FF FF read as sign and magnitude
            -11111.0,  # a logger's own word for "no value"
        ],
    )
    def test_what_cannot_be_a_temperature_here_is_missing(self, temperature_c: float | None) -> None:
        """No number of any kind is left of it, and the reason says something."""
        judged = Probe().read(temperature_c, 60.0)
        assert judged == Judged(MISSING, None, None, judged.why, False)
        assert judged.why

    @pytest.mark.parametrize("temperature_c", [-30.0, 0.0, 22.2, 70.0])
    def test_the_bounds_themselves_can_be(self, temperature_c: float) -> None:
        """A cellar in a hard winter is cold, not broken."""
        assert Probe().read(temperature_c, 60.0).quality is GOOD

    @pytest.mark.parametrize(("temperature_c", "humidity_pct"), [(0.0, 0.0), (-0.0, 0.0)])
    def test_exact_zeros_in_both_channels_are_a_dead_line(self, temperature_c: float, humidity_pct: float) -> None:
        """A line stuck low passes the checksum of an AM2302 frame."""
        assert Probe().read(temperature_c, humidity_pct).quality is MISSING

    @pytest.mark.parametrize(("temperature_c", "humidity_pct"), [(0.0, None), (0.0, 0.1), (0.1, 0.0)])
    def test_one_zero_alone_is_a_value(self, temperature_c: float, humidity_pct: float | None) -> None:
        """0.0 C is a temperature."""
        assert Probe().read(temperature_c, humidity_pct).temperature_c == temperature_c

    def test_the_parts_power_on_value_is_missing_whatever_number_it_is(self) -> None:
        """The driver knows the register; the number might pass for a room."""
        assert Probe().read(25.0, at_power_on=True).quality is MISSING

    def test_the_drivers_own_words_for_a_failure_are_kept(self) -> None:
        """So that a keeper is told what the part said."""
        assert Probe().read(None, failure="bad checksum").why == "bad checksum"

    @pytest.mark.parametrize("temperature_c", [nan, inf, -inf])
    def test_what_is_not_a_number_is_not_shown_as_one(self, temperature_c: float) -> None:
        """A keeper is not told of "inf degrees"."""
        assert Probe().read(temperature_c).why == "not a number"

    def test_a_failure_beats_a_number(self) -> None:
        """Kernel w1_therm documentation: after a failed checksum the old value still stands in the second line."""
        assert Probe().read(25.0, failure="bad checksum") == Judged(MISSING, None, None, "bad checksum", False)

    def test_a_refusal_is_never_counted_as_a_good_reading(self) -> None:
        """The run of good readings starts again after it."""
        probe = Probe()
        for temperature_c in (25.0, 25.0, nan, 25.0):
            probe.read(temperature_c)
        assert probe.says().good_run == 1


class TestAm2302Frames:
    """Frames as the part sends them. Source: AM2302 datasheet where it says so, else computed from its format."""

    @pytest.mark.parametrize(
        ("hexes", "humidity_pct", "temperature_c"),
        [
            ("02 8C 01 5F EE", 65.2, 35.1),  # AM2302 datasheet, worked example
            ("02 8C 80 65 73", 65.2, -10.1),  # AM2302 datasheet, negative example 80 65; full frame computed
            ("02 20 80 AA 4C", 54.4, -17.0),  # a capture of a real part, published on a hobbyists' wiki
            ("03 20 00 DE 01", 80.0, 22.2),  # computed
            ("02 EE 01 0B FC", 75.0, 26.7),  # computed
            ("02 58 80 01 DB", 60.0, -0.1),  # computed
        ],
    )
    def test_a_frame_of_a_living_room_is_a_reading(self, hexes: str, humidity_pct: float, temperature_c: float) -> None:
        """Both channels pass unchanged."""
        frame = am2302(hexes)
        assert frame == (humidity_pct, temperature_c)
        assert Probe().read(frame.temperature_c, frame.humidity_pct) == Judged(
            GOOD, temperature_c, humidity_pct, "", False
        )

    @pytest.mark.parametrize(
        "hexes",
        [
            "00 00 00 00 00",  # stuck-low line: the checksum passes
            "00 00 80 00 80",  # the same from a part that sends minus zero
            "02 8C FF 9B 28",  # -10.1 C in two's complement, as some parts on the market send it
            "02 8C FF FF 8C",  # -0.1 C in two's complement
            "03 E8 03 20 0E",  # 100.0 % and 80.0 C: within the part's range, not within a house
            "03 E7 81 90 FB",  # 99.9 % and -40.0 C: likewise
        ],
    )
    def test_a_frame_with_a_good_checksum_can_still_be_refused(self, hexes: str) -> None:
        """The checksum protects the wire, not the sense."""
        frame = am2302(hexes)
        assert Probe().read(frame.temperature_c, frame.humidity_pct).quality is MISSING

    def test_the_parts_repeatability_alone_raises_no_doubt(self) -> None:
        """0.2 K repeatability and 0.1 K resolution (AM2302 datasheet), at its shortest interval of 2 s."""
        probe = Probe()
        wobble = [25.0, 25.3, 24.9, 25.2, 24.9, 25.3]
        assert {probe.read(value_c, after_s=2.0).quality for value_c in wobble} == {GOOD}


class TestHumidityAndOffset:
    """What else a capture carries."""

    @pytest.mark.parametrize(
        ("humidity_pct", "kept"),
        [
            (0.0, 0.0),
            (100.0, 100.0),
            (100.1, None),
            (-0.1, None),
            (nan, None),
            (inf, None),
            (None, None),
            (102.6, None),  # a published logger record holds this for 996 rows running
        ],
    )
    def test_impossible_humidity_is_dropped_and_the_temperature_stays(
        self, humidity_pct: float | None, kept: float | None
    ) -> None:
        """Relative humidity is 0 to 100 %; a wet sensor does not blind the guard."""
        assert Probe().read(25.0, humidity_pct) == Judged(GOOD, 25.0, kept, "", False)

    def test_the_offset_is_added_to_every_reading(self) -> None:
        """To the judged one and to the one that is seen."""
        probe = Probe(offset(0.4))
        assert probe.read(25.0).temperature_c == 25.4
        assert probe.says().value_c == 25.4

    def test_the_offset_is_not_added_before_the_impossible_is_refused(self) -> None:
        """A dead line reads 0.0 and 0.0, whatever correction the probe would need."""
        assert Probe(offset(0.4)).read(0.0, 0.0).quality is MISSING

    def test_the_offset_is_no_change(self) -> None:
        """Two equal captures stay equal."""
        probe = Probe(offset(-3.0))
        assert [probe.read(25.0, after_s=1.0).quality for _ in range(3)] == [GOOD] * 3


class TestView:
    """What a probe is seen to say between captures."""

    def test_a_probe_that_was_never_read_says_nothing(self) -> None:
        """And says so."""
        assert view(fresh_memory(5.0), 5.0, STALE_S) == Seen(MISSING, None, 5.0, 0, "not read yet")

    def test_a_good_value_stands_until_it_is_stale(self) -> None:
        """30 s old it still stands; any older it does not, and nothing has to happen for that."""
        probe = Probe()
        probe.read(25.0)
        assert probe.says(after_s=STALE_S) == Seen(GOOD, 25.0, 10.0, 1, "")
        assert probe.says(after_s=STALE_S + 0.1) == Seen(MISSING, None, 10.0, 0, "no reading for 30 s")

    def test_a_failed_capture_leaves_the_good_value_standing_but_proves_nothing(self) -> None:
        """Its age runs on, its run is over."""
        probe = Probe()
        probe.read(25.0)
        probe.read(None, failure="no answer")
        assert probe.says() == Seen(GOOD, 25.0, 10.0, 0, "")
        assert probe.says(after_s=STALE_S) == Seen(MISSING, None, 20.0, 0, "no answer")

    def test_doubt_takes_the_place_of_a_good_value_at_once(self) -> None:
        """Because doubt may cut."""
        probe = Probe()
        probe.read(25.0)
        why = probe.read(40.0).why
        assert probe.says() == Seen(DOUBTFUL, 40.0, 20.0, 0, why)
        assert why == "jumped further than a tub can in 10 s"

    def test_a_failed_capture_does_not_take_a_doubt_away(self) -> None:
        """A probe that jumped to 40 C and then fell silent is still in doubt, until that too is stale."""
        probe = Probe()
        probe.read(25.0)
        why = probe.read(40.0).why
        probe.read(None, failure="no answer")
        assert probe.says() == Seen(DOUBTFUL, 40.0, 20.0, 0, why)
        assert probe.says(after_s=STALE_S) == Seen(MISSING, None, 30.0, 0, "no answer")

    def test_readings_after_a_silence_prove_themselves_from_one(self) -> None:
        """A run does not go on over a gap longer than the stale time."""
        probe = Probe()
        runs = []
        for after_s in (10.0, 10.0, STALE_S, STALE_S + 0.1, 10.0):
            probe.read(25.0, after_s=after_s)
            runs.append(probe.says().good_run)
        assert runs == [1, 2, 3, 1, 2]


CAPTURES = st.lists(
    st.tuples(
        st.floats(0.0, 120.0),
        st.one_of(st.none(), st.floats(), st.floats(-40.0, 85.0), st.sampled_from([0.0, 25.0, 25.1, 85.0, -3276.7])),
        st.one_of(st.none(), st.floats(-1.0, 101.0), st.just(0.0)),
        st.booleans(),
        st.sampled_from(["", "", "", "no answer"]),
        st.one_of(st.none(), st.floats(15.0, 30.0)),
    ),
    max_size=30,
)


@given(CAPTURES, st.floats(0.0, 100.0))
def test_whatever_is_captured_no_refused_value_comes_out_as_a_number(
    captures: list[tuple[float, float | None, float | None, bool, str, float | None]], later_s: float
) -> None:
    """Missing has no value, any other a plausible one; nothing older than its stale time is seen."""
    probe = Probe()
    for after_s, temperature_c, humidity_pct, at_power_on, failure, neighbour_c in captures:
        judged = probe.read(
            temperature_c,
            humidity_pct,
            after_s=after_s,
            at_power_on=at_power_on,
            failure=failure,
            neighbour_c=neighbour_c,
        )
        assert (judged.quality is MISSING) == (judged.temperature_c is None)
        assert judged.temperature_c is None or (isfinite(judged.temperature_c) and -30 <= judged.temperature_c <= 70)
        assert judged.humidity_pct is None or 0 <= judged.humidity_pct <= 100
        assert bool(judged.why) == (judged.quality is not GOOD)
        for wait_s in (0.0, later_s):
            seen = probe.says(after_s=wait_s)
            assert (seen.quality is MISSING) == (seen.value_c is None)
            assert bool(seen.why) == (seen.quality is not GOOD)
            assert seen.quality is MISSING or probe.now_s + wait_s - seen.taken_s <= STALE_S
            assert seen.good_run == 0 or seen.quality is GOOD
