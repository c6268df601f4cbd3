"""The picture of a night: what is on it, that it can be read on a phone, and by eyes that see colours otherwise."""

from __future__ import annotations

import io
import itertools
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from PIL import Image

from digest_examples import HEAT, HOUR_S, LENGTH_S, OAK, QUIET_SERIES, START_S, cold_spell, line, steady
from matwarden.core.record import Point
from matwarden.report.night import Night
from matwarden.report.picture import BAND, draw, picture
from matwarden.report.picture import HEAT as HEAT_COLOUR
from matwarden.report.picture_looks import LOOKS
from matwarden.report.picture_pen import FAINT, INK, PAPER
from matwarden.terms import AlarmState, Band, Quantity, Unit
from night_examples import many_tubs, night_of

T = Quantity.TEMPERATURE
AIR = ("oak-air", T)
S = AlarmState
FINE = 3

# From memory, of Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision
# Deficiency" (2009), full severity; they act on linear RGB.
SEEN_BY = {
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "no colour at all": ((0.2126, 0.7152, 0.0722),) * 3,
}


def gaps() -> list[Point]:
    """24 C, with nothing read from hour 3 to hour 9."""
    return [*steady(24.0, 0.0, 3 * HOUR_S), *steady(24.0, 9 * HOUR_S)]


def cold_night() -> Night:
    """The oak cold for six hours, its alarm over within the night, the rowan's blind still on."""
    alarms = (
        line("cold/oak", 3 * HOUR_S, S.UNACKNOWLEDGED),
        line("cold/oak", 8 * HOUR_S, S.NORMAL, active_s=6 * HOUR_S),
        line("blind/rowan", 20 * HOUR_S, S.UNACKNOWLEDGED, enclosure="rowan"),
    )
    series = {**QUIET_SERIES, AIR: cold_spell(20.0, 2 * HOUR_S, 8 * HOUR_S)}
    return night_of(series, alarms=alarms, standing=alarms[-1:])


def full_house(count: int) -> Night:
    """So many tubs, of which the last but one had an alarm."""
    tubs = many_tubs(count)
    minutes = steady(24.0)[::6]
    series = {(probe.id, T): minutes for tub in tubs for probe in tub.probes}
    alarm = line(f"hot/tub-{count - 1}", HOUR_S, S.UNACKNOWLEDGED, enclosure=f"tub-{count - 1}")
    return night_of(series, tubs=tubs, alarms=(alarm,))


def clock_set(at_s: float, by_s: float) -> Night:
    """The quiet night, with the machine's clock set in the midst of it."""
    series = {
        key: [point._replace(wall_s=point.wall_s + by_s * (point.elapsed_s > at_s)) for point in points]
        for key, points in QUIET_SERIES.items()
    }
    return night_of(series, clock_steps=(by_s,))


def odd_names() -> Night:
    """Names that are long, are formulas to some libraries, or in letters that the font lacks."""
    tubs = many_tubs(3)
    names = ("Tub $x_1$ & <b>", "A very long name of a tub that nobody can read at once", "樫の木")
    named = [replace(tub, name=name) for tub, name in zip(tubs, names, strict=True)]
    return night_of({}, tubs=named, house="The $ house of a very long name at the end of the lane, second floor")


NIGHTS: dict[str, Callable[[], Night]] = {
    "quiet": night_of,
    "cold": cold_night,
    "gaps": lambda: night_of({**QUIET_SERIES, AIR: gaps()}),
    "nothing read": lambda: night_of({}),
    "no length": lambda: night_of({}, lasts_s=0.0, heat=()),
    "no tub": lambda: night_of(tubs=()),
    "no room": lambda: night_of(room=()),
    "one tub": lambda: night_of(tubs=(OAK,), unit=Unit.F),
    "twelve": lambda: full_house(12),
    "sixty-four": lambda: full_house(64),
    "odd names": odd_names,
    "due": lambda: replace(
        night_of(), due=("Oak: substrate is due since 3 Jan, and this line is longer than a phone",)
    ),
    "narrow band": lambda: night_of(
        {AIR: cold_spell(2.0, HOUR_S, 9 * HOUR_S)}, tubs=(replace(OAK, band=Band(23.4, 24.2)),)
    ),
    "clocks back": lambda: night_of(start_wall_s=1_761_375_600.0, lasts_s=25 * HOUR_S),
    "clock set": lambda: clock_set(40_000.0, 7200.0),
    "clock set back over a tick": lambda: clock_set(4 * HOUR_S + 300.0, -600.0),
    "many alarms": lambda: night_of(
        standing=[
            line(f"{condition}/oak", at_s * HOUR_S, S.UNACKNOWLEDGED)
            for at_s, condition in enumerate(("cold", "hot", "blind", "cut-out", "relay-fault", "unheard-of"))
        ]
    ),
}


@pytest.fixture(scope="module", params=NIGHTS)
def night(request: pytest.FixtureRequest) -> Night:
    return NIGHTS[request.param]()


def words(night: Night) -> list[str]:
    """Every text on the picture, from the top down."""
    texts = draw(night).axes[0].texts
    return [
        text.get_text() for text in sorted(texts, key=lambda each: (each.get_position()[1], each.get_position()[0]))
    ]


def pixels(night: Night) -> npt.NDArray[np.int_]:
    return np.asarray(Image.open(io.BytesIO(picture(night))).convert("RGB"), dtype=np.int_)


def there(image: npt.NDArray[np.int_], colour: str) -> int:
    """How many pixels have this colour, or one that no eye tells from it."""
    wanted = np.array([round(part * 255) for part in to_rgb(colour)])
    return int((np.abs(image - wanted).max(axis=2) <= 6).sum())


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it."""
    return float(np.dot(linear(colour), (0.2126, 0.7152, 0.0722)))


def linear(colour: str) -> npt.NDArray[np.float64]:
    parts = np.array(to_rgb(colour))
    return np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2.1 defines it."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(rgb: Sequence[float] | npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """CIELAB under D65 of linear sRGB: IEC 61966-2-1 and CIE 15, the constants from memory."""
    to_xyz = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
    xyz = np.array(to_xyz) @ np.clip(rgb, 0.0, 1.0) / np.array((0.95047, 1.0, 1.08883))
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array((116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])))


def test_it_is_a_png_as_wide_as_a_phone_three_times_as_fine(night: Night) -> None:
    """1080 pixels for 360, never so high that a phone must scroll for long, small enough for the road."""
    file = picture(night)
    image = Image.open(io.BytesIO(file))
    assert (image.format, image.width) == ("PNG", 1080)
    assert 100 * FINE < image.height < 2000 * FINE
    assert len(file) < 500_000


@pytest.mark.filterwarnings("ignore:Glyph")
def test_no_text_leaves_the_sheet_or_runs_into_another(night: Night) -> None:
    """Whatever a night holds, each word has its place."""
    figure = draw(night)
    canvas = FigureCanvasAgg(figure)
    renderer = canvas.get_renderer()  # type: ignore[no-untyped-call]
    wide, high = figure.bbox.width, figure.bbox.height
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in figure.axes[0].texts]
    for text, box in boxes:
        assert min(box.x0, box.y0, wide - box.x1, high - box.y1) >= 0, text
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 + 2 or b.y1 <= a.y0 + 2
        assert apart, (one, other)


def test_every_text_can_be_read_at_arm_s_length(night: Night) -> None:
    """Nine CSS pixels at the least, and a contrast of 4.5 to 1 (WCAG 2.1, 1.4.3) on whatever is behind it."""
    for text in draw(night).axes[0].texts:
        assert float(text.get_fontsize()) >= 9.0
        behind = INK if text.get_color() == PAPER else PAPER
        assert contrast(str(text.get_color()), behind) >= 4.5


def test_the_same_night_is_the_same_file() -> None:
    """No time, no version, no chance in it."""
    file = picture(cold_night())
    assert file == picture(cold_night())
    kinds = {file[at + 4 : at + 8] for at in _chunks(file)}
    assert not kinds & {b"tEXt", b"zTXt", b"iTXt", b"tIME"}


def _chunks(file: bytes) -> list[int]:
    """Where the chunks of a PNG file begin: ISO/IEC 15948, 5.3."""
    at, found = 8, []
    while at < len(file):
        found.append(at)
        at += 12 + int.from_bytes(file[at : at + 4], "big")
    return found


@pytest.mark.parametrize("eyes", SEEN_BY)
def test_lines_are_told_apart_by_all_eyes(eyes: str) -> None:
    """In simulated colour blindness two lines differ in colour, or else in their strokes."""
    seen = np.array(SEEN_BY[eyes])
    looks = [look for (role, _), look in LOOKS.items() if role.value != "room"]
    for one, other in itertools.combinations(looks, 2):
        apart = float(np.linalg.norm(lab(seen @ linear(one.colour)) - lab(seen @ linear(other.colour))))
        assert apart >= 20.0 or one.dash != other.dash, (one.word, other.word, apart)
        if eyes == "deuteranopia":
            assert apart >= 20.0, (one.word, other.word, apart)


def test_lines_and_marks_stand_out() -> None:
    """Lines, heat, ink: 3 to 1 against paper and band (WCAG 2.1, 1.4.11); faint text 4.5 to 1."""
    for colour in {HEAT_COLOUR, INK, FAINT, *(look.colour for look in LOOKS.values())}:
        assert contrast(colour, PAPER) >= 3.0
        assert contrast(colour, BAND) >= 3.0
    assert contrast(FAINT, PAPER) >= 4.5


def test_a_quiet_night_says_so_and_shows_each_line() -> None:
    """House, date, all well, the hours; each tub with its range and heat; wall, substrate, band and heat are there."""
    night = night_of()
    told = words(night)
    assert set(told[:2]) == {"Shelf", "15 Jan 2026"}
    assert told[2] == "All well"
    assert {"Oak", "24.0 °C, heat 25 %", "Rowan", "25.0 °C", "Room", "19.0 °C", "27.8", "22.2", "03:00"} <= set(told)
    image = pixels(night)
    for colour in (LOOKS[OAK.probes[1].role, None].colour, LOOKS[OAK.probes[2].role, None].colour, BAND, HEAT_COLOUR):
        assert there(image, colour) > 200, colour


def test_paper_is_white_and_ink_is_black() -> None:
    """Whatever few colours the file has, these two are exact: most of the sheet, and all of the text."""
    image = pixels(cold_night())
    assert (image == 255).all(axis=2).mean() > 0.4
    assert (image == 0).all(axis=2).mean() > 0.02


def test_the_legend_names_each_kind_of_mark_once() -> None:
    """Only what is on the sheet: nothing was unread, so that is not in it."""
    told = words(night_of())
    for word in ("air", "wall", "substrate", "in band", "heat allowed"):
        assert told.count(word) == 1
    assert "not read" not in told


def test_degrees_are_the_keeper_s() -> None:
    """In Fahrenheit the band of 22.2 to 27.8 C is 72 to 82."""
    told = words(night_of(tubs=(OAK,), unit=Unit.F))
    assert {"75.2 °F, heat 25 %", "82", "72"} <= set(told)


def test_a_time_not_read_is_seen_and_said() -> None:
    """Six hours without air: no line there, a hatched field with the words in it, and in the legend."""
    told = words(night_of({**QUIET_SERIES, AIR: gaps()}))
    assert told.count("not read") == 2


def test_a_gap_in_a_line_beside_is_said() -> None:
    """The wall is silent for hours while the air is read: its line has a gap, and the legend says what that is."""
    told = words(night_of({**QUIET_SERIES, ("oak-wall", T): gaps()}))
    assert "gap: not read" in told
    assert "not read" not in told


def test_a_room_that_was_never_read_has_no_degrees() -> None:
    """Its frame is hatched; no number stands at it that nobody measured."""
    told = words(night_of({key: points for key, points in QUIET_SERIES.items() if key[0] != "room"}))
    at_room = told[told.index("Room") :]
    assert not [each for each in at_room if re.fullmatch(r"-?[\d.]+", each)]
    assert "not read" in at_room


def test_what_is_due_stands_at_the_end() -> None:
    """Each line of it; of a great many the rest is counted."""
    due = tuple(f"Tub {number}: substrate is due" for number in range(1, 11))
    told = words(replace(night_of(), due=due))
    assert told[told.index("Due") + 1 :] == [*due[:8], "and 2 more"]


def test_heat_of_next_to_nothing_is_not_none() -> None:
    """A minute of heat in a day is under 1 %, not 0 %."""
    heat = (*HEAT[:2], HEAT[2]._replace(elapsed_s=HEAT[1].elapsed_s + 60.0))
    assert "24.0 °C, heat under 1 %" in words(night_of(heat=heat))


def test_an_alarm_is_a_word() -> None:
    """Over it has its word, still on it says so; what is not well is on top."""
    told = words(cold_night())
    assert {"cold", "no reading, still on"} <= set(told)
    assert any("Oak cold" in each for each in told)
    assert "All well" not in told


def test_of_too_many_alarms_the_rest_is_counted() -> None:
    """Six alarms of one tub: four have a lane, the others a number."""
    told = words(NIGHTS["many alarms"]())
    assert sum(each.endswith("still on") for each in told if not each.startswith(("Oak", "An "))) >= 4
    assert "and 2 more alarms" in told


def test_of_too_many_tubs_those_with_trouble_come_first() -> None:
    """Of 64 tubs twelve are drawn, the one with an alarm on top, and the picture says how many are not."""
    told = words(full_house(64))
    tubs = [each for each in told if re.fullmatch(r"Tub \d+", each)]
    assert (len(tubs), tubs[0]) == (12, "Tub 63")
    assert any("52 more tubs" in each for each in told)


def test_up_to_twelve_tubs_keep_their_places() -> None:
    """Nothing moves on a shelf that fits: the eye knows where each tub is."""
    told = words(full_house(12))
    assert [each for each in told if re.fullmatch(r"Tub \d+", each)] == [f"Tub {n}" for n in range(1, 13)]


def test_a_change_of_the_clocks_is_told() -> None:
    """The night of 25 October 2025 in Amsterdam, 25 hours long (IANA time zone database)."""
    assert "clocks back 1 h" in words(NIGHTS["clocks back"]())
    assert "clock set forward 2 h" in words(NIGHTS["clock set"]())
    assert not [each for each in words(night_of()) if each.startswith("clock")]


def test_names_are_written_as_they_are() -> None:
    """A dollar sign makes no formula; a name too long ends in dots; letters the font lacks make no fuss."""
    told = words(odd_names())
    assert "Tub $x_1$ & <b>" in told
    assert any(each.startswith("A very long") and each.endswith("…") for each in told)


def test_the_lines_are_where_the_values_are() -> None:
    """A wall at the band's upper edge is drawn at that edge's height: as far as a line is thick."""
    night = night_of({**QUIET_SERIES, ("oak-wall", T): steady(OAK.band.high_c)}, tubs=(OAK,), room=())
    image = pixels(night)
    blue = (np.abs(image - np.array([round(part * 255) for part in to_rgb(BAND)])).max(axis=2) <= 6).sum(axis=1)
    plot = np.flatnonzero(blue > 600)
    wall = np.array([round(part * 255) for part in to_rgb(LOOKS[OAK.probes[1].role, None].colour)])
    rows = (np.abs(image - wall).max(axis=2) <= 30).sum(axis=1)[plot[0] - 12 : plot[-1]]
    assert abs(float(np.average(np.arange(plot[0] - 12, plot[-1]), weights=rows)) - plot[0]) <= 6


def test_heat_is_drawn_when_it_was_allowed() -> None:
    """Hours 6 to 12 of 24: a quarter of the bar, from its first quarter to its half."""
    image = pixels(night_of({AIR: steady(24.0)}, heat=HEAT, tubs=(OAK,), room=()))
    colour = np.array([round(part * 255) for part in to_rgb(HEAT_COLOUR)])
    close = np.abs(image - colour).max(axis=2) <= 6
    row = close[close.sum(axis=1) > 200][-1]
    columns = np.flatnonzero(row)
    left, right = 34 * FINE, (360 - 6) * FINE
    assert columns[0] == pytest.approx(left + 0.25 * (right - left), abs=4)
    assert columns[-1] == pytest.approx(left + 0.5 * (right - left), abs=4)


def test_a_zone_half_an_hour_off_has_its_own_ticks() -> None:
    """Kolkata is 5 h 30 min from UTC: its round hours fall on half hours of UTC."""
    told = words(night_of(zone=ZoneInfo("Asia/Kolkata"), start_wall_s=START_S, lasts_s=LENGTH_S))
    assert {"15:00", "18:00"} <= set(told)
