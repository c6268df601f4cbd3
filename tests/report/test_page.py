"""The page of a night: what it says, and that nothing in it is anything but text. Read with the standard parser."""

from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser
from zoneinfo import ZoneInfo

import pytest

from digest_examples import EVERY_S, HOUR_S, LENGTH_S, OAK, QUIET_SERIES, ROWAN, line
from matwarden.core.record import Point
from matwarden.report.digest_text import tub_lines
from matwarden.report.page import index_page, night_page
from matwarden.report.page_index import Entry, Told, entry_of
from matwarden.terms import AlarmState, Quantity, Unit
from night_examples import night_of
from page_examples import HOSTILE_NAMES, full_shelf, troubled_night

# Elements that HTML leaves without an end tag: "Void elements" in the HTML Living Standard, 13.1.2.
VOID = {"meta", "link", "br"}


class Reader(HTMLParser):
    """Elements, attributes and text of a document, and whether each element that begins also ends."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str]] = []
        self.texts: list[str] = []
        self.unclosed = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += [(name, value or "") for name, value in attrs]

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.unclosed = self.unclosed or tag

    def handle_data(self, data: str) -> None:
        if data.strip() and "style" not in self.open:
            self.texts.append(data.strip())

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


def test_the_page_says_what_the_digest_says() -> None:
    """The first line, what is due, the period with its zone, and every line the text has of a tub."""
    night = troubled_night()
    text = Reader(night_page(night)).text
    assert night.first_line in text
    assert "14 Jan 08:00 to 15 Jan 08:00 (Europe/Amsterdam)" in text
    for due in night.due:
        assert due in text
    for tub in night.digest.enclosures:
        for words in tub_lines(tub, night.unit, night.zone, night.digest.lasts_s)[1:]:
            assert words.strip() in text
    assert "Room: 19.0 °C throughout" in text


def test_a_line_of_the_text_that_the_page_does_not_know_is_shown_all_the_same() -> None:
    """What the digest says beyond tubs and house has its place on the page."""
    night = troubled_night()
    longer = replace(night, text=night.text + "\n3 alarms in 7 days")
    assert "3 alarms in 7 days" in Reader(night_page(longer)).text


def test_alarms_are_told_in_words_with_their_time() -> None:
    """When it came, its whole sentence, and that it is still on; in the order in which they came."""
    text = Reader(night_page(troubled_night())).text
    assert "02:00 Oak is cold: at or under 22.2 °C for 1 h, coldest 21.4 °C, now 21.4 °C. still on" in text
    over = [
        line("cold/oak", 2 * HOUR_S, AlarmState.UNACKNOWLEDGED, HOUR_S),
        line("cold/oak", 4 * HOUR_S, AlarmState.NORMAL, 3 * HOUR_S),
    ]
    text = Reader(night_page(night_of(alarms=over))).text
    assert "10:00 cold/oak unacknowledged 12:00 cold/oak normal" in text
    assert "still on" not in text


def test_an_alarm_from_before_the_night_has_its_day_with_it() -> None:
    """A time of day alone would name the wrong day."""
    standing = [line("cold/oak", -30 * HOUR_S, AlarmState.ACKNOWLEDGED, HOUR_S)]
    assert "13 Jan 02:00 cold/oak acknowledged still on" in Reader(night_page(night_of(standing=standing))).text


@pytest.mark.parametrize("name", HOSTILE_NAMES)
def test_a_name_is_text_whatever_it_holds(name: str) -> None:
    """Shown letter by letter; the page has the same elements as with a tame name."""
    tame, hostile = (Reader(night_page(troubled_night((each, "Rowan")))) for each in ("Oak", name))
    assert name in hostile.texts
    assert hostile.tags == tame.tags


@pytest.mark.parametrize("night", [night_of(), troubled_night(HOSTILE_NAMES[:2], Unit.F), full_shelf(5)])
def test_the_page_is_whole_and_asks_for_nothing(night: object) -> None:
    """Every element ends, no id comes twice, no script, and no address that leaves the directory."""
    page = Reader(night_page(night, "2026-01-14"))  # type: ignore[arg-type]
    assert page.open == []
    assert page.unclosed == ""
    ids = [value for name, value in page.attributes if name == "id"]
    assert len(ids) == len(set(ids))
    assert not {"script", "iframe", "img", "object", "embed", "form"} & set(page.tags)
    assert not [name for name, _ in page.attributes if name.startswith("on")]
    targets = [value for name, value in page.attributes if name in {"href", "src", "xlink:href"}]
    assert {target for target in targets if not target.startswith("#")} == {
        *("data:,", "index.html", "night-2026-01-14.html"),
    }
    assert {target[1:] for target in targets if target.startswith("#")} <= set(ids)


def test_the_keepers_unit_is_used_throughout() -> None:
    """In Fahrenheit no Celsius is left, but in what an alarm said when it rang."""
    page = Reader(night_page(night_of(unit=Unit.F))).text
    assert "°C" not in page
    assert "Band 72.0 to 82.0 °F" in page


def test_those_in_trouble_come_first_in_the_overview() -> None:
    """Of 64 tubs the nine with an alarm are on top, the others follow in the order of the settings."""
    night = full_shelf()
    page = Reader(night_page(night))
    ids = [value[5:] for name, value in page.attributes if name == "href" and value.startswith("#tub-")]
    assert ids[:9] == [f"tub-{number}" for number in range(3, 64, 7)]
    assert ids[9:] == [f"tub-{number}" for number in range(64) if number % 7 != 3]


def test_a_full_rack_makes_a_page_a_phone_can_load() -> None:
    """64 tubs, three places each: under 2 MB, before any compression by the server."""
    assert len(night_page(full_shelf()).encode()) < 2_000_000


def test_hours_in_which_nothing_was_read_are_said() -> None:
    """Of the four hours after the probe fell silent each row says so, and no number stands there."""
    text = Reader(night_page(troubled_night())).text
    assert "04:00 not read" in text
    assert text.count("not read") >= 4


def test_a_night_in_which_the_clocks_go_back_has_the_hour_twice() -> None:
    """26 October 2025 in Amsterdam: two rows from 02:00, and a word about it. (IANA time zone database)"""
    night = night_of(start_wall_s=1_761_372_000.0, zone=ZoneInfo("Europe/Amsterdam"))
    text = Reader(night_page(night)).text
    assert "01:00 24.0 26.1 23.5 81 19.0 0 02:00 24.0 26.1 23.5 81 19.0 0 02:00 24.0 26.1 23.5 81 19.0 0 03:00" in text
    assert "Clocks went back by 1 h (daylight saving)" in text


def test_a_tub_that_nothing_was_read_of_has_a_page_too() -> None:
    """No good reading is said; nothing is drawn in its place but the band."""
    series = {**QUIET_SERIES, ("rowan-air", Quantity.TEMPERATURE): list[Point]()}
    text = Reader(night_page(night_of(series))).text
    assert "no good reading" in text
    assert "nothing read" in text


def test_a_house_of_one_tub_needs_no_overview() -> None:
    """One tub is its own overview."""
    assert "All tubs" not in Reader(night_page(night_of(tubs=(OAK,)))).text
    assert "All tubs" in Reader(night_page(night_of(tubs=(OAK, ROWAN)))).text


def test_a_first_run_of_no_length_has_a_page() -> None:
    """A digest made the moment the program first starts: nothing to draw, nothing to fall over."""
    page = Reader(night_page(night_of({}, lasts_s=0.0, heat=())))
    assert page.unclosed == ""
    assert "no good reading" in page.text


def test_the_list_is_by_month_the_newest_first() -> None:
    """Whatever order it is given in; each night with its lowest and highest in the keeper's unit."""
    told = Told("All well", "well", 20.0, "Oak", 25.0, "<Rowan>")
    entries = [Entry(day, told) for day in ("2025-12-31", "2026-01-02", "2026-01-01")] + [Entry("2025-12-30", None)]
    page = Reader(index_page("Shelf", entries, Unit.F, ["2025", "2026"]))
    months = [page.text.index(month) for month in ("January 2026", "December 2025")]
    assert months == sorted(months)
    links = [value for name, value in page.attributes if name == "href" and value.startswith("night-")]
    assert links == [f"night-{day}.html" for day in ("2026-01-02", "2026-01-01", "2025-12-31", "2025-12-30")]
    assert "lowest 68.0 °F Oak highest 77.0 °F <Rowan>" in page.text


def test_what_a_page_tells_of_itself_is_read_back() -> None:
    """The list needs nothing but the beginning of each page, whatever the names hold."""
    night = troubled_night(HOSTILE_NAMES[:2])
    entry = entry_of("2026-01-15", night_page(night)[:2000])
    assert entry.told is not None
    assert entry.told.first_line == night.first_line
    assert entry.told.mood == "on"
    assert entry.told.lowest_tub == HOSTILE_NAMES[0]
    assert entry.told.lowest_c == pytest.approx(18.0, abs=0.01)


@pytest.mark.parametrize(
    "head",
    [
        *("", "<html>", '<meta name="matwarden-night" content="">', '<meta name="matwarden-night" content="{}">'),
        '<meta name="matwarden-night" content="[1,2]">',
        '<meta name="matwarden-night" content="{&#34;first_line&#34;:1,&#34;mood&#34;:2,&#34;lowest_c&#34;:&#34;x&#34;,'
        '&#34;lowest_tub&#34;:3,&#34;highest_c&#34;:[],&#34;highest_tub&#34;:{}}">',
    ],
)
def test_a_page_that_tells_nonsense_of_itself_is_listed_by_its_date(head: str) -> None:
    """Somebody edited it, or it is of another version: it stays in the list."""
    assert entry_of("2026-01-15", head) == Entry("2026-01-15", None)


def test_the_examples_reach_to_the_nights_end() -> None:
    """The silent probe of the troubled night is silent for its last four hours, as the tests above count on."""
    steps = troubled_night().strips.tubs[1].lines[0].steps
    silent = sum(step is None for step in steps) * LENGTH_S / len(steps)
    assert silent == pytest.approx(4 * HOUR_S, abs=60.0 + EVERY_S)
