"""The model of a disk that loses its power: that it loses what a disk may lose, and nothing that a disk must keep."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from storage.disk import SECTOR, Call, Disk, Fate, calls_of
from storage.power_cuts import tell_story


def _made(*calls: Call) -> Disk:
    disk = Disk()
    for call in (Call("C", "a", 0, b""), Call("D", "", 0, b""), *calls):
        disk.take(call)
    return disk


def _left(disk: Disk, directory: Path, fate: Fate, seed: int) -> dict[str, bytes]:
    directory.mkdir()
    disk.leave(directory, fate, random.Random(seed))
    return {path.name: path.read_bytes() for path in directory.iterdir()}


@pytest.mark.parametrize("fate", Fate)
def test_what_was_synced_is_there(tmp_path: Path, fate: Fate) -> None:
    """Whatever becomes of later writes to other sectors, a synced one has its content.

    Source: fsync(2), "flushes all modified in-core data ... so that all changed information can be retrieved even if
    the system crashes"; fsync of the directory for its entry, same page.
    """
    disk = _made(Call("W", "a", 0, b"x" * SECTOR), Call("S", "a", 0, b""), Call("W", "a", SECTOR, b"y" * 2000))
    for seed in range(20):
        assert _left(disk, tmp_path / str(seed), fate, seed)["a"][:SECTOR] == b"x" * SECTOR


def test_what_was_not_synced_may_arrive_in_any_order(tmp_path: Path) -> None:
    """Of three sectors written one after the other each of the eight combinations is left by some cut."""
    writes = [Call("W", "a", n * SECTOR, bytes([n + 1]) * SECTOR) for n in range(3)]
    disk = _made(Call("T", "a", 3 * SECTOR, b""), Call("S", "a", 0, b""), *writes)
    found = {tuple(_left(disk, tmp_path / str(seed), Fate.ANY, seed)["a"][::SECTOR]) for seed in range(200)}
    assert len(found) == 8
    assert (0, 0, 3) in found


def test_no_sector_is_half_written(tmp_path: Path) -> None:
    """A sector is of one version: sqlite.org/atomiccommit.html, section 2.0, assumes no more than that of a disk."""
    versions = [bytes([n]) * SECTOR for n in range(4)]
    writes = [Call("W", "a", 0, version) for version in versions[1:]]
    disk = _made(Call("W", "a", 0, versions[0]), Call("S", "a", 0, b""), *writes)
    for seed in range(60):
        assert _left(disk, tmp_path / str(seed), Fate.ANY, seed)["a"] in versions


def test_a_name_is_certain_only_after_the_directory_was_synced(tmp_path: Path) -> None:
    """A file may be gone, or bear its old name, with all its content; and once the directory is synced it may not."""
    disk = _made(Call("W", "a", 0, b"x"), Call("S", "a", 0, b""), Call("R", "a", 0, b"b"))
    names = {tuple(_left(disk, tmp_path / str(seed), Fate.ANY, seed)) for seed in range(40)}
    assert names == {("a",), ("b",)}
    disk.take(Call("D", "", 0, b""))
    assert _left(disk, tmp_path / "after", Fate.NONE, 0) == {"b": b"x"}


def test_the_recorded_calls_are_all_there_were(recorder: Path, tmp_path: Path) -> None:
    """The calls written down, done once more on the model, give byte for byte the files that the kernel has."""
    disk = Disk()
    for call in tell_story(recorder, tmp_path):
        disk.take(call)
    there = {path.name: path.read_bytes() for path in (tmp_path / "shelf").iterdir()}
    assert there["matwarden.db"][:15] == b"SQLite format 3"
    assert _left(disk, tmp_path / "again", Fate.ALL, 0) == there


def test_a_record_cut_off_in_a_call_ends_before_it(tmp_path: Path) -> None:
    """A recorder that was killed with its program leaves whole calls."""
    whole = b"W" + (1).to_bytes(2, "little") + (0).to_bytes(8, "little") + (3).to_bytes(8, "little") + b"a" + b"xyz"
    (tmp_path / "calls").write_bytes(whole + whole[:-1])
    assert list(calls_of(tmp_path / "calls")) == [Call("W", "a", 0, b"xyz")]
