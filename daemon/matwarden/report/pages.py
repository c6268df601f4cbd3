"""The pages of the nights in a directory that any web server may serve. Nothing here listens.

The directory is the list: the index is made from the pages that are there, so that a page somebody deletes is gone
from it, and a night has no second record that could say something else.
"""

from __future__ import annotations

import os
import re
import stat
from contextlib import suppress
from datetime import date
from pathlib import Path

from matwarden.report.night import Night
from matwarden.report.page_index import Entry, entry_of, name_of

__all__ = ["PagesError", "write_pages"]

_LINK = re.compile(r'<a href="night-(\d{4}-\d\d-\d\d)\.html"', re.ASCII)
_NIGHT = re.compile(r"night-(\d{4}-\d\d-\d\d)\.html", re.ASCII)
# The index holds the newest nights, a page for each year the others: years of nights stay quick to load.
_NEWEST = 62
# What a page says of itself stands in its first lines.
_HEAD_BYTES = 8192


class PagesError(Exception):
    """The pages were not written. The text says why, and what to do."""


def write_pages(directory: Path, night: Night) -> None:
    """Write the page of a night, then the lists: `night-YYYY-MM-DD.html`, `nights-YYYY.html`, `index.html`.

    Each is there whole or not at all, whatever happens meanwhile. What is there of the same name is replaced.

    Raises:
        PagesError: the directory cannot be written, or Jinja2 is not installed.
    """
    try:
        from matwarden.report.page import index_page, night_page
    except ModuleNotFoundError as error:
        raise PagesError(
            f"pages need a library that is not installed ({error.name}): pip install 'matwarden[report]'"
        ) from error
    day = night.digest.date
    try:
        if not directory.is_dir():
            directory.mkdir(parents=True, exist_ok=True)
            # The daemon makes private files; whoever serves the pages must get in.
            directory.chmod(0o755)
        earlier = max((each for each in _dates(directory) if each < day), default=None)
        _put(directory, name_of(day), night_page(night, earlier))
        dates = _dates(directory)
        years = sorted({each[:4] for each in dates})
        entries = {each: _entry(directory, each) for each in dates if each[:4] == day[:4] or each in dates[-_NEWEST:]}
        for year in years:
            in_year = [each for each in dates if each[:4] == year]
            # In the list of a year gone by nothing changes any more, unless somebody took a page away.
            if year == day[:4] or _listed(directory / f"nights-{year}.html") != in_year:
                of_year = [entries.get(each) or _entry(directory, each) for each in in_year]
                _put(directory, f"nights-{year}.html", index_page(night.house, of_year, night.unit, years, year))
        newest = [entries[each] for each in dates[-_NEWEST:]]
        _put(directory, "index.html", index_page(night.house, newest, night.unit, years))
    except OSError as error:
        place = error.filename or directory
        raise PagesError(f"cannot write pages to {directory}: {place}: {error.strerror or error}") from error


def _dates(directory: Path) -> list[str]:
    with os.scandir(directory) as found:
        names = [_NIGHT.fullmatch(each.name) for each in found]
    return sorted(name[1] for name in names if name is not None and _is_date(name[1]))


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _listed(file: Path) -> list[str]:
    try:
        text = file.read_text(encoding="utf-8", errors="replace")
    except OSError:
        return []
    return sorted(set(_LINK.findall(text)))


def _entry(directory: Path, day: str) -> Entry:
    try:
        file = os.open(directory / name_of(day), os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
    except OSError:
        return Entry(day, None)
    try:
        head = os.read(file, _HEAD_BYTES) if stat.S_ISREG(os.fstat(file).st_mode) else b""
    except OSError:
        head = b""
    finally:
        os.close(file)
    return entry_of(day, head.decode(errors="replace"))


def _put(directory: Path, name: str, content: str) -> None:
    new = directory / f".{name}.new"
    # What an interrupted run left, or somebody put there: never written through.
    with suppress(FileNotFoundError):
        new.unlink()
    file = os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC, 0o644)
    try:
        with os.fdopen(file, "wb") as out:
            out.write(content.encode())
            os.fchmod(out.fileno(), 0o644)
            out.flush()
            os.fsync(out.fileno())
        os.replace(new, directory / name)
    except BaseException:
        with suppress(OSError):
            new.unlink()
        raise
    folder = os.open(directory, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(folder)
    finally:
        os.close(folder)
