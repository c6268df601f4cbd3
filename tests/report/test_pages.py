"""The pages as files: whole or not there, readable by any web server, and the directory itself is the list."""

from __future__ import annotations

import os
import resource
import stat
import sys
from pathlib import Path

import pytest

from matwarden.report.pages import PagesError, write_pages
from night_examples import night_of


def names_in(directory: Path) -> list[str]:
    return sorted(each.name for each in directory.iterdir())


def listed(directory: Path, name: str = "index.html") -> list[str]:
    """Dates of the nights that a list has, in its order."""
    text = (directory / name).read_text(encoding="utf-8")
    return [part[:10] for part in text.split('href="night-')[1:]]


def made_up(directory: Path, *days: str) -> None:
    """Pages of nights gone by, whose content does not matter."""
    for day in days:
        (directory / f"night-{day}.html").write_text("<!doctype html>", encoding="ascii")


def test_a_night_makes_three_files(tmp_path: Path) -> None:
    """Its own page, the list of its year, the index; nothing is left of how they were written."""
    write_pages(tmp_path / "www", night_of())
    assert names_in(tmp_path / "www") == ["index.html", "night-2026-01-15.html", "nights-2026.html"]
    assert listed(tmp_path / "www") == listed(tmp_path / "www", "nights-2026.html") == ["2026-01-15"]


def test_anybody_may_read_them_whatever_the_daemon_keeps_private(tmp_path: Path) -> None:
    """The daemon's umask is for its record; a page is for a web server under another user."""
    before = os.umask(0o077)
    try:
        write_pages(tmp_path / "www", night_of())
    finally:
        os.umask(before)
    modes = {stat.S_IMODE(each.stat().st_mode) for each in (tmp_path / "www").iterdir()}
    assert modes == {0o644}
    assert stat.S_IMODE((tmp_path / "www").stat().st_mode) == 0o755


def test_a_directory_that_was_there_keeps_its_mode(tmp_path: Path) -> None:
    """Who made it had reasons."""
    (tmp_path / "www").mkdir(mode=0o750)
    write_pages(tmp_path / "www", night_of())
    assert stat.S_IMODE((tmp_path / "www").stat().st_mode) == 0o750


def test_the_same_night_again_replaces_its_page(tmp_path: Path) -> None:
    """Made anew, it stands in the list once."""
    write_pages(tmp_path, night_of(house="Old"))
    write_pages(tmp_path, night_of(house="New shelf"))
    assert "New shelf" in (tmp_path / "night-2026-01-15.html").read_text(encoding="utf-8")
    assert listed(tmp_path) == ["2026-01-15"]


def test_a_page_leads_to_the_night_before_it(tmp_path: Path) -> None:
    """The nearest earlier one that has a page, however long ago; never itself, when it is made again."""
    made_up(tmp_path, "2025-12-30", "2026-02-01")
    write_pages(tmp_path, night_of())
    write_pages(tmp_path, night_of())
    assert listed(tmp_path, "night-2026-01-15.html") == ["2025-12-30"]


def test_a_page_somebody_deleted_is_gone_from_the_list(tmp_path: Path) -> None:
    """The directory is the list."""
    for day in ("2026-01-13", "2026-01-14"):
        write_pages(tmp_path, night_of(date=day))
    (tmp_path / "night-2026-01-13.html").unlink()
    write_pages(tmp_path, night_of())
    assert listed(tmp_path) == ["2026-01-15", "2026-01-14"]


def test_what_is_no_night_is_not_listed_and_not_touched(tmp_path: Path) -> None:
    """Other files of the keeper's, and names that only look like a date."""
    made_up(tmp_path, "2026-02-30", "9999-99-99")
    (tmp_path / "shelf.jpg").write_bytes(b"x")
    write_pages(tmp_path, night_of())
    assert listed(tmp_path) == ["2026-01-15"]
    assert (tmp_path / "shelf.jpg").read_bytes() == b"x"


def test_years_of_nights_leave_the_index_short(tmp_path: Path) -> None:
    """Ten years: the index has the newest two months and a link to each year, whose list has its nights."""
    days = [
        f"{year}-{month:02}-{day:02}" for year in range(2016, 2026) for month in range(1, 13) for day in range(1, 29)
    ]
    made_up(tmp_path, *days)
    write_pages(tmp_path, night_of())
    assert listed(tmp_path) == ["2026-01-15", *days[:-62:-1]]
    index = (tmp_path / "index.html").read_text(encoding="utf-8")
    assert [f"nights-{year}.html" in index for year in range(2016, 2027)] == [True] * 11
    assert (tmp_path / "index.html").stat().st_size < 60_000


def test_every_year_that_the_index_links_to_has_its_list(tmp_path: Path) -> None:
    """Also one from before, whose list was lost, or from which somebody took a page away."""
    made_up(tmp_path, "2025-12-30", "2025-12-31")
    write_pages(tmp_path, night_of())
    assert listed(tmp_path, "nights-2025.html") == ["2025-12-31", "2025-12-30"]
    (tmp_path / "night-2025-12-30.html").unlink()
    write_pages(tmp_path, night_of())
    assert listed(tmp_path, "nights-2025.html") == ["2025-12-31"]


def test_the_list_of_a_year_gone_by_is_not_written_again(tmp_path: Path) -> None:
    """Ten years of nights must not cost ten lists every night."""
    made_up(tmp_path, "2025-12-31")
    write_pages(tmp_path, night_of())
    before = (tmp_path / "nights-2025.html").stat().st_ino
    write_pages(tmp_path, night_of(date="2026-01-16"))
    assert (tmp_path / "nights-2025.html").stat().st_ino == before


def test_a_write_that_fails_leaves_the_old_page(tmp_path: Path) -> None:
    """Here the name it would be written by is taken by a directory."""
    write_pages(tmp_path, night_of(house="Old"))
    (tmp_path / ".night-2026-01-15.html.new").mkdir()
    with pytest.raises(PagesError, match=r"cannot write pages to .*night-2026-01-15\.html\.new"):
        write_pages(tmp_path, night_of(house="New"))
    assert "Old" in (tmp_path / "night-2026-01-15.html").read_text(encoding="utf-8")


def test_a_page_that_does_not_fit_leaves_the_old_one(tmp_path: Path) -> None:
    """No file may grow past 20 kB (setrlimit(2), RLIMIT_FSIZE): the write breaks off midway, the old page stays."""
    write_pages(tmp_path, night_of(house="Old"))
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, before[1]))
    try:
        with pytest.raises(PagesError, match="File too large"):
            write_pages(tmp_path, night_of(house="New"))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    old = (tmp_path / "night-2026-01-15.html").read_text(encoding="utf-8")
    assert "Old" in old
    assert old.rstrip().endswith("</html>")
    assert names_in(tmp_path) == ["index.html", "night-2026-01-15.html", "nights-2026.html"]


def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    """Links in a directory that others may write to replace nothing elsewhere: the link goes, its target stays."""
    target = tmp_path / "precious"
    target.write_text("mine", encoding="ascii")
    www = tmp_path / "www"
    www.mkdir()
    for name in (".night-2026-01-15.html.new", "night-2026-01-15.html", "index.html"):
        (www / name).symlink_to(target)
    write_pages(www, night_of())
    assert target.read_text(encoding="ascii") == "mine"
    assert not (www / "night-2026-01-15.html").is_symlink()


def test_a_pipe_among_the_pages_holds_nobody_up(tmp_path: Path) -> None:
    """Something else by the name of a night is listed by its date and never waited for."""
    os.mkfifo(tmp_path / "night-2026-01-14.html")
    write_pages(tmp_path, night_of())
    assert listed(tmp_path) == ["2026-01-15", "2026-01-14"]


def test_what_was_left_of_an_interrupted_run_is_replaced(tmp_path: Path) -> None:
    """Half a page under the name it is written by harms nothing and does not stay."""
    (tmp_path / ".index.html.new").write_text("half", encoding="ascii")
    write_pages(tmp_path, night_of())
    assert ".index.html.new" not in names_in(tmp_path)


def test_a_place_that_cannot_be_is_said_in_words(tmp_path: Path) -> None:
    """Which place, and why."""
    (tmp_path / "file").write_text("", encoding="ascii")
    with pytest.raises(PagesError, match=r"cannot write pages to .*/file/www: .*Not a directory"):
        write_pages(tmp_path / "file" / "www", night_of())


def test_without_the_library_it_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Jinja2 is an extra: what is missing, and the command."""
    monkeypatch.setitem(sys.modules, "jinja2", None)
    monkeypatch.delitem(sys.modules, "matwarden.report.page", raising=False)
    with pytest.raises(PagesError, match=r"pip install 'matwarden\[report\]'"):
        write_pages(tmp_path, night_of())
    assert names_in(tmp_path) == []
