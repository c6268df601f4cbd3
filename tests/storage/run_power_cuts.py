"""`make powercuts`: a thousand power cuts, a thousand kills, and what they came to. Exit code 0: nothing was lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

_CUTS_N = 1000
_KILLS_N = 1000


def main(directory: Path, seed: int) -> int:
    """Run both campaigns, print their counts."""
    from storage.disk import Fate
    from storage.power_cuts import build_recorder, cut_power, cut_replacing, tell_story

    recorder = build_recorder(directory)
    if recorder is None:
        print("power cuts: needs a C compiler, on 64-bit Linux with the GNU C library", file=sys.stderr)
        return 1
    campaign = cut_power(tell_story(recorder, directory / "story"), _CUTS_N, directory, seed)
    print(f"power cuts, simulated on recorded calls, seed {seed}: {campaign.cuts_n}")
    for fate in Fate:
        print(f"  {campaign.fates[fate]:5} in which of what was not synced {fate.value}")
    print(f"  {campaign.unsynced_n:5} with something not synced in the record's files")
    print(f"  {campaign.cost_readings_n:5} cost readings of the last batch, {campaign.lost_readings} at the most")
    print(f"  {len(campaign.wrong):5} findings: records that did not open, or had lost what was kept")
    replaced = cut_replacing(recorder, directory / "replacing", seed)
    print(f"power cuts while a damaged record is replaced: {replaced.cuts_n}, findings: {len(replaced.wrong)}")
    script = Path(__file__).with_name("kills.py")
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(each for each in sys.path if each)}
    command = [sys.executable, str(script), str(directory), str(_KILLS_N), str(seed)]
    kills = json.loads(subprocess.run(command, env=env, stdout=subprocess.PIPE, check=True, text=True).stdout)
    print(f"kills: {kills['kills']}, {kills['while it recorded']} while it recorded; findings: {len(kills['wrong'])}")
    wrong = [*campaign.wrong, *replaced.wrong, *kills["wrong"]]
    for text in wrong[:50]:
        print(f"  {text}")
    return 1 if wrong else 0


if __name__ == "__main__":
    # As a script it stands in tests/storage; its parts are found from tests, as pytest finds them.
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    with tempfile.TemporaryDirectory() as scratch:
        raise SystemExit(main(Path(scratch), int(sys.argv[1]) if len(sys.argv) > 1 else 20260116))
