"""A recorder of file calls, and a small disk that can be filled. Both need what not every machine has."""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from storage.power_cuts import build_recorder


@pytest.fixture(scope="session")
def recorder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The preloaded library that writes down what a program does to its files."""
    library = build_recorder(tmp_path_factory.mktemp("recorder"))
    if library is None:
        pytest.skip("needs a C compiler, on 64-bit Linux with the GNU C library")
    return library


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of two megabytes."""
    path = tmp_path / "disk"
    path.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(path)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("needs the right to mount a file system in memory")
    yield path
    subprocess.run(["umount", str(path)], check=True)
