"""What became of the commissioned tubs, for the digest: from a child process that it does not wait for long.

Nothing here can fail a digest: without matwarden[analysis], without a commissioned tub, with a child that dies or takes
too long there is only less to tell. The analysis is never loaded into the program that makes the digest.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import pickle
import subprocess
import sys
from typing import Any

from matwarden.commissioned_holds import COMMISSIONED
from matwarden.settings.resolved import Settings

__all__ = ["drifts_of"]

# A tub takes a second on a quick machine, and half a minute on the smallest board.
LIMIT_S = 180.0


def drifts_of(settings: Settings, until_wall_s: float, limit_s: float = LIMIT_S) -> tuple[list[dict[str, Any]], str]:
    """Each commissioned tub that anything can be said of, and a note in words where something went wrong, or none.

    Args:
        until_wall_s: up to when the record is looked at, in UTC seconds. limit_s: what is not done by then is left out.
    """
    there = settings.store.directory / COMMISSIONED
    if not there.is_dir() or any(importlib.util.find_spec(name) is None for name in ("numpy", "scipy")):
        return [], ""
    try:
        child = subprocess.Popen(
            [sys.executable, "-P", "-m", "matwarden.drift_child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
        )
    except OSError as error:
        return [], f"tubs are not compared with their commissioning: no program can be started: {error.strerror}"
    with child:
        why = ""
        try:
            answer, complaint = child.communicate(pickle.dumps((settings, until_wall_s)), timeout=limit_s)
        except subprocess.TimeoutExpired:
            child.kill()
            answer, complaint = child.communicate()
            why = f"not all done within {limit_s:.0f} s"
    if not why and child.returncode:
        told = complaint.decode(errors="replace").strip().splitlines()
        why = f"its program ended with code {child.returncode}: {told[-1] if told else 'no word'}"
    found = []
    for line in answer.splitlines():
        # The last one may be cut off.
        with contextlib.suppress(ValueError):
            found.append(json.loads(line))
    errors = [f"{each['name']}: {each['error']}" for each in found if "error" in each]
    if why:
        errors.append(why)
    note = f"tubs compared with their commissioning: {'; '.join(errors)}" if errors else ""
    return [each for each in found if "error" not in each], note
