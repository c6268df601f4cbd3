"""A second daemon on relay lines that the first one holds: the lines are a stand-in, see tests/process/bench."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from helpers_bench import CHIP, Bench
from helpers_process import eventually, settings_file
from matwarden.lock_holder import LOCK, holder

_LINE = 17
_TEXT = f"""\
[house]
id = "shelf"
temperature_unit = "C"
zone = "Europe/Amsterdam"
[store]
directory = "data"
[control]
socket = "control.sock"
[[enclosure]]
id = "oak"
[[probe]]
id = "oak-wall"
role = "wall"
enclosure = "oak"
driver = "one-wire"
address = "28-0123456789ab"
[[mat]]
enclosure = "oak"
placement = "side"
driver = "gpio"
chip = "{CHIP}"
line = {_LINE}
active = "high"
"""


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


@pytest.fixture
def first(bench: Bench, tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    process = bench.run(settings_file(tmp_path, _TEXT))
    try:
        eventually((tmp_path / "control.sock").exists, "the first's socket")
        yield process
    finally:
        process.kill()
        process.wait()


def test_on_the_same_record_the_other_one_is_named(
    bench: Bench, first: subprocess.Popen[bytes], tmp_path: Path
) -> None:
    """Code 4 and the process in its way, as the README says; the first's line and lock are as they were."""
    levels_n = len(bench.levels(_LINE))
    second = bench.matwarden("run", "-s", tmp_path / "shelf.toml")
    assert second.code == 4
    assert f"another matwarden (process {first.pid}) runs with these settings" in second.err
    assert "Traceback" not in second.err
    assert first.poll() is None
    assert len(bench.levels(_LINE)) == levels_n
    assert holder(tmp_path / "data" / LOCK) == first.pid


def test_on_a_record_of_its_own_the_line_is_named(bench: Bench, first: subprocess.Popen[bytes], tmp_path: Path) -> None:
    """Code 3, which line, who holds it and what to do; the first's line is as it was."""
    levels_n = len(bench.levels(_LINE))
    (tmp_path / "other").mkdir()
    second = bench.matwarden("run", "-s", settings_file(tmp_path / "other", _TEXT))
    assert second.code == 3
    assert f'relay on {CHIP} line {_LINE}: it is held by another program, which calls itself "matwarden"; stop' in (
        second.err
    )
    assert "Traceback" not in second.err
    assert first.poll() is None
    assert len(bench.levels(_LINE)) == levels_n
