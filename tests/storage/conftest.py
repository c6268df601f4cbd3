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
    subprocess.run(["umount", "-l", str(path)], check=True)


@pytest.fixture
def small_ext4(tmp_path: Path) -> Iterator[Path]:
    """A file system of six megabytes, of the kind that a Raspberry Pi has: in blocks of 4096 bytes."""
    image, path = tmp_path / "image", tmp_path / "ext4"
    path.mkdir()
    image.write_bytes(bytes(6 * 1024 * 1024))
    try:
        subprocess.run(["mkfs.ext4", "-q", "-b", "4096", str(image)], check=True, capture_output=True)
        subprocess.run(["mount", "-o", "loop", str(image), str(path)], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("needs mkfs.ext4 and the right to mount a file")
    yield path
    subprocess.run(["umount", "-l", str(path)], check=True)
