"""Every row of the table of alarms, as it is read; 40 characters of a locked phone: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest

from alarm_texts import HOUSES, NAMES, TERMINAL, all_texts, texts_of
from matwarden.core.alarm_table import ALARMS, HOUSE_ALARMS
from matwarden.core.alarm_words import TITLE_LENGTH
from matwarden.core.alarms import AlarmSpec
from matwarden.terms import Priority

KEPT = Path(__file__).with_name("alarm_texts.txt")


def test_the_texts_are_those_that_were_looked_at() -> None:
    """The committed file is what the program says; `make alarms` writes it anew, to be read through."""
    assert KEPT.read_text(encoding="utf-8") == all_texts()


def test_the_file_fits_a_terminal() -> None:
    """Nothing in it is wider than 80 columns."""
    assert [line for line in all_texts().splitlines() if len(line) > TERMINAL] == []


@pytest.mark.parametrize("spec", ALARMS, ids=lambda spec: spec.condition)
def test_every_row_tells_the_tub_first_and_what_to_do_last(spec: AlarmSpec) -> None:
    """Title and body begin with the tub, no word of a short tub's title is cut, and a call ends with the response."""
    tub, probe, unit = NAMES[0]
    whose = HOUSES[0] if spec in HOUSE_ALARMS else tub
    for moment, told, sentence in texts_of(spec, whose, probe, unit):
        assert sentence.startswith(whose)
        if told is None:
            continue
        assert told.title.startswith(f"{whose}: ")
        assert len(told.title) <= TITLE_LENGTH
        assert "…" not in told.title
        assert told.body.startswith(sentence)
        assert moment == "return" or told.body.endswith(spec.response)


@pytest.mark.parametrize("spec", ALARMS, ids=lambda spec: spec.condition)
def test_of_a_long_name_the_title_cuts_only_the_name(spec: AlarmSpec) -> None:
    """What the matter is stays whole: the one cut is before the colon."""
    tub, probe, unit = NAMES[1]
    whose = HOUSES[1] if spec in HOUSE_ALARMS else tub
    for _, told, _ in texts_of(spec, whose, probe, unit):
        assert told is None or "…" not in told.title.partition(": ")[2]


@pytest.mark.parametrize("spec", [each for each in ALARMS if each.priority is Priority.HIGH], ids=lambda s: s.condition)
def test_a_later_call_says_that_it_still_stands_and_for_how_long_nobody_has_seen_it(spec: AlarmSpec) -> None:
    """The second and third call of a high alarm are told apart from the first by their titles and bodies."""
    (_, first, _), (_, again, _), (_, second, _), _ = texts_of(spec, *NAMES[0])
    assert first is not None
    assert again is not None
    assert second is not None
    assert "still" in again.title
    assert "Not acknowledged for 15 min." in again.body
    assert "Not acknowledged for 30 min." in second.body
    assert "acknowledged" not in first.body
