"""Two daemons on one record would switch the same mats."""

from __future__ import annotations

from helpers_kindled import Kindled
from helpers_process import command, eventually


def test_the_second_ends_and_the_first_goes_on(kindled: Kindled) -> None:
    """The second says which process is in its way and ends with code 4; the first notices nothing."""
    first = kindled.living
    first.until_answering()
    settings = first.directory / "second.toml"
    text = first.settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("relays.txt", "second.txt").replace("control.sock", "second.sock"))
    second = command("run", "-s", settings)
    assert second.code == 4
    assert f"another matwarden (process {first.process.pid}) is using" in second.err
    assert "Traceback" not in second.err
    cycles = first.status()["cycles"]
    eventually(lambda: first.status()["cycles"] > cycles, "the first to go on")
