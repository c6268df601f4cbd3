"""The mats: their limits, and the order in which their temperatures must lie to be safe."""

from __future__ import annotations

from dataclasses import dataclass

from matwarden.settings import rows
from matwarden.settings.problems import Findings
from matwarden.settings.scale import Scale
from matwarden.settings.sheet import ROUNDING_K, Sheet
from matwarden.settings.tables import Table
from matwarden.terms import CUT_OUT_CEILING_C, Band, MatTerms, Placement

# The middle of the ideal range, 77 F: common practice among keepers, no source.
SETPOINT_C = 25.0
# At the wall: about 83.5 F, what harms (85 F) less a probe's half kelvin and the overshoot; common practice, no source.
LIMITER_C = 28.5
# 86 F: what a working limiter never lets the wall come to, and a kelvin under the ceiling.
CUT_OUT_C = 30.0
# Bounds are told to two decimals: who writes the number told has kept the rule.
_TOLD_K = 0.005


def mat_terms(
    sheet: Sheet, table: Table[rows.MatRow], tub_band: Band | None, roles: frozenset[str] | None
) -> MatTerms | None:
    """One mat with the order of its temperatures checked; None when it cannot be used.

    Args:
        roles: what the probes of its tub tell about; None when that is not known for sure.
    """
    row, scale = table.row, sheet.scale
    setpoint_c = sheet.temperature_c(table, "setpoint", SETPOINT_C)
    hysteresis_k = sheet.difference_k(table, "hysteresis", 1.0, 0.0, 5.0, above_zero=True)
    limiter_c = sheet.temperature_c(table, "limiter", LIMITER_C)
    cut_out_c = sheet.temperature_c(table, "cut_out", CUT_OUT_C)
    differential_k = sheet.difference_k(table, "differential", 1.0, 0.0, 5.0, above_zero=True)
    if scale is None:
        return None
    order = Order(sheet.findings, scale, table.where, "air" if roles is None or "air" in roles else "wall")
    if setpoint_c is not None and hysteresis_k is not None:
        if tub_band is not None:
            order.in_band(setpoint_c, hysteresis_k, tub_band)
        if limiter_c is not None:
            order.under_limiter(setpoint_c, hysteresis_k, limiter_c)
    if limiter_c is not None and cut_out_c is not None:
        order.limiter_under_cut_out(limiter_c, cut_out_c)
    if cut_out_c is not None:
        order.under_ceiling(cut_out_c)
    if (
        setpoint_c is None
        or hysteresis_k is None
        or limiter_c is None
        or cut_out_c is None
        or differential_k is None
        or not table.sound(*type(row).model_fields)
    ):
        return None
    return MatTerms(
        placement=Placement(row.placement),
        watts_w=row.watts,
        setpoint_c=setpoint_c,
        hysteresis_k=hysteresis_k,
        limiter_c=limiter_c,
        cut_out_c=cut_out_c,
        differential_k=differential_k,
        minimum_on_s=row.minimum_on_s,
        minimum_off_s=row.minimum_off_s,
        memory_s=row.memory_min * 60.0,
        prove_n=row.prove_readings,
        rated_operations=row.rated_operations,
    )


@dataclass(frozen=True, slots=True)
class Order:
    """The order in which a mat's temperatures must lie, lowest first: band, setpoint, limiter, cut-out, ceiling."""

    findings: Findings
    scale: Scale
    where: str
    governed_by: str

    def in_band(self, setpoint_c: float, hysteresis_k: float, tub_band: Band) -> None:
        show, half_k = self.scale.show, hysteresis_k / 2
        width = self.scale.show_difference(hysteresis_k)
        if setpoint_c - half_k < tub_band.low_c - _TOLD_K:
            self._out_of_band(
                f"{show(setpoint_c, 4)}, with hysteresis {width}: heat comes on at {show(setpoint_c - half_k)}",
                f"{show(tub_band.low_c + half_k)} or more, so that heat comes on inside the band",
                f"Raise setpoint, or lower band_low ({show(tub_band.low_c)}) or hysteresis.",
            )
        if setpoint_c + half_k > tub_band.high_c + _TOLD_K:
            self._out_of_band(
                f"{show(setpoint_c, 4)}, with hysteresis {width}: heat goes off at {show(setpoint_c + half_k)}",
                f"{show(tub_band.high_c - half_k)} or less, so that heat goes off inside the band",
                f"Lower setpoint, or raise band_high ({show(tub_band.high_c)}) or lower hysteresis.",
            )

    def _out_of_band(self, found: str, allowed: str, advice: str) -> None:
        if self.governed_by == "air":
            self.findings.problem(f"{self.where}: setpoint", found, allowed, advice)
        else:
            # The wall may well be warmer than the band of the air, so this is for the keeper to judge.
            self.findings.warn(
                f"{self.where}: setpoint: {found} at the wall, since there is no air probe; the band is that of the "
                f"tub. Expected {allowed}. {advice}"
            )

    def under_limiter(self, setpoint_c: float, hysteresis_k: float, limiter_c: float) -> None:
        off_c = setpoint_c + hysteresis_k / 2
        if off_c >= limiter_c - ROUNDING_K:
            self.findings.problem(
                f"{self.where}: limiter",
                self.scale.show(limiter_c, 4),
                f"more than {self.scale.show(off_c)}, where heat goes off (setpoint and half the hysteresis)",
                "Raise limiter or lower setpoint: the wall is always warmer than the air it heats.",
            )

    def limiter_under_cut_out(self, limiter_c: float, cut_out_c: float) -> None:
        if limiter_c >= cut_out_c - ROUNDING_K:
            self.findings.problem(
                f"{self.where}: limiter",
                self.scale.show(limiter_c, 4),
                f"less than cut_out ({self.scale.show(cut_out_c)})",
                "Lower limiter: it must act, and end by itself, before the software cut-out trips.",
            )

    def under_ceiling(self, cut_out_c: float) -> None:
        if cut_out_c > CUT_OUT_CEILING_C + ROUNDING_K:
            self.findings.problem(
                f"{self.where}: cut_out",
                self.scale.show(cut_out_c, 4),
                f"at most {self.scale.show(CUT_OUT_CEILING_C)}, a ceiling that no setting can raise",
                "Lower cut_out.",
            )
