"""What a commissioned tub would have done in each place. Needs matwarden[analysis]."""

from __future__ import annotations

import numpy as np

from matwarden.analysis.grid import Series
from matwarden.analysis.siting import Place, Standing, in_places
from matwarden.commissioned import latest
from matwarden.commissioning import control_of
from matwarden.core.in_tub import InTub
from matwarden.core.siting import PlaceRead
from matwarden.settings.resolved import Settings
from matwarden.siting import Sited
from matwarden.terms import Enclosure

__all__ = ["in_fitted"]


def in_fitted(settings: Settings, tub: Enclosure, sited: Sited) -> dict[str, InTub]:
    """By place; empty when the tub was never commissioned. It is held to what the settings say now.

    Raises:
        CommissionedError: what is kept of the tub cannot be read.
    """
    kept = latest(settings.store.directory, tub.id)
    if kept is None:
        return {}
    # A mat may have been taken out since.
    control = kept.control if tub.mat is None else control_of(tub, tub.mat)
    standing = Standing(kept.found, kept.rms_k[1], control, tub.band, kept.watts_known)
    # The room of a fit is the mean of the room's probes: only a probe that is alone is the same one.
    room = {probe.id for probe in settings.room_probes}
    places = {
        each.id: Place(_series(sited.read[each.id]), other_probe=room != {each.id}) for each in sited.found.places
    }
    return in_places(standing, places, sited.found.spans)


def _series(read: PlaceRead) -> Series:
    rows = np.array([(elapsed_s, value_c) for elapsed_s, _, value_c in read.points], dtype=np.float64)
    return Series(rows[:, 0], rows[:, 1])
