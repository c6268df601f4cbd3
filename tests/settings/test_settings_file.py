"""What happens to the file as a whole: how it is read, and that every problem is told at once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from helpers_settings import REAL, TWIN, checked, edited, lines
from matwarden.settings import SettingsError, check, load


def told(path: Path) -> str:
    """What is said about a file that cannot be used."""
    with pytest.raises(SettingsError) as caught:
        load(path)
    return str(caught.value)


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    """Seven slips in seven tables give seven messages in one run, in the order of the tables."""
    broken = edited(
        REAL,
        ('zone = "Europe/Amsterdam"', 'zone = "Europe/Oaktown"'),
        ("every_s = 10", "every_s = 0"),
        ("band_high = 28.0", "band_high = 82"),
        ('address = "28-0316a2793f01"', 'address = "none"'),
        ("line = 17", "line = -17"),
        ('host = "localhost"', 'host = "localhost"\nqos = 3'),
        ('at = "08:00"', 'at = "8:00"'),
    )

    assert [line.split(": found")[0] for line in lines(checked(tmp_path, broken))] == [
        "house: zone",
        "polling: every_s",
        "probe oak-wall: address",
        "mat of oak: line",
        "enclosure oak: band_high",
        "mqtt: qos",
        "digest: at",
    ]


def test_slips_in_one_table_hide_no_broken_rule_of_the_same_table(tmp_path: Path) -> None:
    """A mat with a bad placement, a bad line and a limiter over its cut-out is told all three."""
    broken = edited(
        REAL,
        ('placement = "side"', 'placement = "under"'),
        ("limiter = 28.5", "limiter = 30.5"),
        ("line = 17", 'line = "17"'),
    )

    where = {line.split(": found")[0] for line in lines(checked(tmp_path, broken))}

    assert where == {"mat of oak: placement", "mat of oak: limiter", "mat of oak: line"}


def test_a_broken_number_is_not_judged_twice(tmp_path: Path) -> None:
    """A limiter that is no number is told once; no rule compares anything with it."""
    broken = edited(REAL, ("limiter = 28.5", 'limiter = "hot"'))

    assert [line.split(": found")[0] for line in lines(checked(tmp_path, broken))] == ["mat of oak: limiter"]


def test_numbers_of_the_wrong_unit_are_all_told_with_the_hint(tmp_path: Path) -> None:
    """A file of Celsius numbers that says F gets the hint at each temperature, and at no difference."""
    outcome = checked(tmp_path, edited(REAL, ('temperature_unit = "C"', 'temperature_unit = "F"')))

    assert [problem.where for problem in outcome.problems] == [
        "enclosure oak: band_low",
        "enclosure oak: band_high",
        "mat of oak: setpoint",
        "mat of oak: limiter",
        "mat of oak: cut_out",
    ]
    assert all(problem.advice.startswith("Is temperature_unit right?") for problem in outcome.problems)


def test_the_error_names_the_file_and_counts(tmp_path: Path) -> None:
    """The error text begins with the file and the number of problems, then one line each."""
    path = tmp_path / "shelf.toml"
    path.write_text(edited(REAL, ("line = 17", "line = -1"), ("watts = 7", "watts = 0")), encoding="utf-8")

    assert told(path).splitlines() == [
        f"{path}: 2 problems",
        "  mat of oak: watts: found 0; allowed: more than 0 and at most 200 W. Choose a value in this range.",
        "  mat of oak: line: found -1; allowed: from 0 to 511. Choose a value in this range.",
    ]


def test_a_slip_of_toml_tells_line_and_column(tmp_path: Path) -> None:
    """What is not TOML is told with its line and column."""
    path = tmp_path / "shelf.toml"
    path.write_text('[house]\nid = "shelf-1"\nname = Back room\n', encoding="utf-8")

    assert told(path).splitlines()[1] == (
        "  line 3, column 8: found a slip (invalid value); allowed: TOML. Look there and just before: a text "
        "needs quotes, a number a point, a table name its brackets."
    )


def test_a_key_given_twice_is_a_slip_of_toml(tmp_path: Path) -> None:
    """The same key twice in one table is told with its place, and neither value is taken."""
    path = tmp_path / "shelf.toml"
    path.write_text(edited(REAL, ("line = 17", "line = 17\nline = 27")), encoding="utf-8")

    assert "(cannot overwrite a value)" in told(path)


def test_a_file_that_ends_too_soon_is_told(tmp_path: Path) -> None:
    """A text without its closing quotes at the end of the file is told as such."""
    path = tmp_path / "shelf.toml"
    path.write_text('[house]\nid = """shelf', encoding="utf-8")

    assert "the end of the file: found a slip" in told(path)


def test_an_empty_file_is_told_what_it_needs(tmp_path: Path) -> None:
    """An empty file is told its three necessary tables."""
    assert [problem.where for problem in checked(tmp_path, "").problems] == ["house", "enclosure", "probe"]


def test_no_file(tmp_path: Path) -> None:
    """A file that is not there is told with its path and what to do."""
    path = tmp_path / "shelf.toml"

    assert told(path) == (
        f"{path}: 1 problem\n  the file: found nothing by this name; allowed: a settings file. "
        "Correct the path, or copy the example there."
    )


def test_a_directory(tmp_path: Path) -> None:
    """A directory in place of a file is told."""
    assert "the file: found a directory; allowed: a settings file. Name the file inside it." in told(tmp_path)


def test_a_file_that_may_not_be_read(tmp_path: Path) -> None:
    """A file without read permission is told; for root, who may read all, a broken symbolic link loop is."""
    path = tmp_path / "shelf.toml"
    if os.geteuid() == 0:
        path.symlink_to(path)
        assert "the file: found an error (Too many levels of symbolic links)" in told(path)
    else:
        path.write_text(REAL, encoding="utf-8")
        path.chmod(0)
        assert "the file: found a file this user may not read" in told(path)


def test_a_file_in_another_encoding(tmp_path: Path) -> None:
    """A degree sign saved as Latin-1 is told with its line and byte."""
    path = tmp_path / "shelf.toml"
    path.write_bytes('[house]\n# 22.2 °C\nid = "shelf-1"\n'.encode("latin-1"))

    assert told(path).splitlines()[1] == ("  line 2: found byte 0xb0; allowed: UTF-8 text. Save the file as UTF-8.")


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    """A file that an editor began with a byte order mark is read all the same."""
    path = tmp_path / "shelf.toml"
    path.write_bytes(b"\xef\xbb\xbf" + REAL.encode())

    assert load(path).house_id == "shelf-1"


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    """A file of more than a million bytes is not parsed."""
    path = tmp_path / "shelf.toml"
    path.write_bytes(b"#" * 1_000_001)

    assert "more than a million bytes" in told(path)


def test_lists_nested_without_end_are_refused(tmp_path: Path) -> None:
    """A file that would exhaust the parser's stack is told like any other."""
    path = tmp_path / "shelf.toml"
    path.write_text("a = " + "[" * 100_000, encoding="utf-8")

    assert "the file: found something no settings file needs" in told(path)


def test_the_order_of_tables_does_not_matter(tmp_path: Path) -> None:
    """Mats before probes before tubs give the same settings as the usual order, list orders apart."""
    head, *rest = REAL.split("\n\n")
    usual = checked(tmp_path, REAL).settings
    turned = checked(tmp_path, "\n\n".join([*reversed(rest), head])).settings

    assert usual is not None
    assert turned is not None
    assert sorted(e.id for e in usual.enclosures) == sorted(e.id for e in turned.enclosures)
    assert {e.id: e.mat for e in usual.enclosures} == {e.id: e.mat for e in turned.enclosures}
    assert (usual.probe_drivers, usual.relay_drivers, usual.mqtt) == (
        turned.probe_drivers,
        turned.relay_drivers,
        turned.mqtt,
    )


def test_relative_paths_start_at_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every path is absolute, and a relative one starts where the settings file is, wherever we are."""
    (tmp_path / "sub").mkdir()
    path = tmp_path / "sub" / "shelf.toml"
    path.write_text(REAL, encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    settings = load(Path("sub/../sub/shelf.toml"))

    assert settings.store.directory == tmp_path / "sub" / "data"
    assert settings.push is not None
    assert settings.push.targets[0].url == f"file:{tmp_path}/sub/pushes.txt"
    assert settings.source == path


def test_a_sound_file_has_no_problem_and_no_warning(tmp_path: Path) -> None:
    """The two base files of these tests are sound."""
    for text in (REAL, TWIN):
        outcome = checked(tmp_path, text)
        assert (outcome.problems, outcome.warnings) == ((), ())


def test_check_never_raises_for_a_missing_file(tmp_path: Path) -> None:
    """A check of a missing file is an outcome, not an exception."""
    assert check(tmp_path / "none.toml").settings is None
