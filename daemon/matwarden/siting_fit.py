"""What a commissioned tub would have done in each place. Needs matwarden[analysis]."""

from __future__ import annotations

import numpy as np

from matwarden.analysis.control import Control
from matwarden.analysis.grid import Series
from matwarden.analysis.siting import Place, Standing, in_places
from matwarden.commissioned import Commissioned, latest
from matwarden.core.in_tub import InTub
from matwarden.core.siting import PlaceRead
from matwarden.settings.resolved import Settings
from matwarden.siting import Sited
from matwarden.terms import Enclosure, Role

__all__ = ["in_fitted"]


def in_fitted(settings: Settings, tub: Enclosure, sited: Sited) -> dict[str, InTub]:
    """By place; empty when the tub was never commissioned. It is held to what the settings say now.

    Raises:
        CommissionedError: what is kept of the tub cannot be read.
    """
    kept = latest(settings.store.directory, tub.id)
    if kept is None:
        return {}
    standing = Standing(kept.found, kept.rms_k[1], _control(tub, kept), tub.band, kept.watts_known)
    # The room of a fit is the mean of the room's probes: only a probe that is alone is the same one.
    room = {probe.id for probe in settings.room_probes}
    places = {
        each.id: Place(_series(sited.read[each.id]), other_probe=room != {each.id}) for each in sited.found.places
    }
    return in_places(standing, places, sited.found.spans)


def _control(tub: Enclosure, kept: Commissioned) -> Control:
    mat = tub.mat
    if mat is None:  # it was taken out since
        return kept.control
    return Control(
        mat.setpoint_c,
        mat.hysteresis_k,
        mat.limiter_c,
        mat.cut_out_c,
        mat.differential_k,
        mat.minimum_on_s,
        mat.minimum_off_s,
        by_wall=all(probe.role is not Role.AIR for probe in tub.probes),
    )


def _series(read: PlaceRead) -> Series:
    rows = np.array([(elapsed_s, value_c) for elapsed_s, _, value_c in read.points], dtype=np.float64)
    return Series(rows[:, 0], rows[:, 1])
