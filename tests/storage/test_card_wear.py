"""What recording writes to the card, and that writing less forgets no heat that a cut-out has to count."""

from __future__ import annotations

from pathlib import Path

from helpers_station import House, house
from helpers_store import at, open_sink, readings, remember, started, verdict
from matwarden.events import Remember
from matwarden.terms import Reason

_TREES = ("oak", "alder", "hazel", "rowan", "birch", "elm", "ash", "lime", "beech", "yew")


def _written() -> int:
    """What this process has written so far, by the kernel's count."""
    return int(Path("/proc/self/io").read_text().split("wchar: ")[1].split()[0])


def test_a_day_of_forty_series_writes_less_than_thirty_megabytes(tmp_path: Path) -> None:
    """A twelfth of a day of 40 series every 10 s, each of ten mats switched every 6 min (our own budget).

    The bytes are the kernel's own count of this process, proc(5), wchar.
    """
    sink = open_sink(tmp_path, 300.0)
    sink.accept([started(at(0))])
    before = _written()
    for cycle in range(720):
        now = at(cycle * 10.0)
        sink.accept([readings(now, *([20.0 + cycle % 50 / 10] * 20), humidity_pct=60.0)])
        if cycle % 4 == 0:
            name = _TREES[cycle // 4 % 10]
            heat = verdict(now, name, cycle % 80 < 40, Reason.BELOW_SETPOINT, cycle)
            kept: dict[str, object] = {
                "tripped": False,
                "allowed": cycle % 80 < 40,
                "operations": cycle,
                "heated_wall_s": now.wall_s,
            }
            sink.accept([heat, remember(now, f"guard/{name}", kept, False)])
    assert 12 * (_written() - before) < 30_000_000
    sink.close()


def test_cycling_mats_do_not_cost_a_commit_each(tmp_path: Path) -> None:
    """In six ordinary hours heat is switched often, and what must be on the disk at once comes only with the first."""
    shelf = House(house(tmp_path))
    shelf.pass_time(6 * 3600.0)
    shelf.close()
    kept = shelf.told(Remember)
    guard = [event for event in kept if event.key == "guard/oak"]
    assert len(guard) > 20
    assert 1 <= sum(event.urgent for event in guard) <= 3


def test_heat_is_never_forgotten_by_a_power_cut(tmp_path: Path) -> None:
    """Whenever the power goes while heat is allowed, the record knows of heat that the cut-out's memory still covers.

    On the disk are urgent states, and all others that were told at least a commit (300 s) and a poll before.
    """
    shelf = House(house(tmp_path, room="mean = 21.0\nswing = 6.0"))
    shelf.pass_time(24 * 3600.0)
    shelf.close()
    memory_s = 1800.0  # the settings' default
    kept = [event for event in shelf.told(Remember) if event.key == "guard/oak"]
    switched = [(s, level) for s, level in shelf.relays["oak"].switched if level]
    assert len(switched) > 20
    for on_s, _ in switched:
        for cut_s in (on_s + 1.0, on_s + 100.0, on_s + 299.0):
            on_disk = [e for e in kept if e.at.mono_s <= cut_s and (e.urgent or e.at.mono_s <= cut_s - 310.0)]
            state = on_disk[-1].value
            heated_wall_s = state["heated_wall_s"] or 0.0
            assert state["allowed"] or kept[0].at.wall_s + cut_s - kept[0].at.mono_s - heated_wall_s <= memory_s
