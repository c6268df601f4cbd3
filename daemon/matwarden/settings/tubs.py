"""The tubs: their bands, probes and mats, and the rules that make them safe to run."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from matwarden.settings import rows, words
from matwarden.settings.problems import Findings
from matwarden.settings.scale import Scale, c_from_f
from matwarden.settings.tables import Table
from matwarden.terms import (
    CUT_OUT_CEILING_C,
    AlarmTimes,
    Band,
    Enclosure,
    MatTerms,
    Placement,
    ProbeTerms,
    Role,
    Side,
)

# Common practice among keepers, no source: the ideal range is 72 to 82 F.
BAND_LOW_C = c_from_f(72.0)
BAND_HIGH_C = c_from_f(82.0)
SETPOINT_C = 25.0
LIMITER_C = 28.5
CUT_OUT_C = 30.0
# A tub's temperature outside this is a slip of the pen or of the unit.
PLAUSIBLE_C = (10.0, 40.0)
RESERVED_IDS = ("room", "house")
# Conversion from Fahrenheit leaves the last digit uncertain.
_ROUNDING_K = 1e-9
# Bounds are told to two decimals: who writes the number told has kept the rule.
_TOLD_K = 0.005


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the rules of the tubs share: the unit and where findings go. `scale` is None when the unit is unknown."""

    findings: Findings
    scale: Scale | None

    def temperature_c(
        self, table: Table[rows.Row], key: str, default_c: float, range_c: tuple[float, float] = PLAUSIBLE_C
    ) -> float | None:
        """The temperature under a key; None when it cannot be used, which has then been told."""
        value: float | None = getattr(table.row, key, None)
        if not table.sound(key) or self.scale is None:
            return None
        if value is None:
            return default_c
        celsius = self.scale.c(value)
        low_c, high_c = range_c
        if low_c - _ROUNDING_K <= celsius <= high_c + _ROUNDING_K:
            return celsius
        other = self.scale.other
        advice = "Choose a value in this range."
        if low_c <= other.c(value) <= high_c:
            advice = f"Is temperature_unit right? {other.show(other.c(value))} would be in the range."
        self.findings.problem(
            f"{table.where}: {key}",
            self.scale.show(celsius, 4),
            f"{self.scale.show(low_c)} to {self.scale.show(high_c)}",
            advice,
        )
        return None

    def difference_k(
        self,
        table: Table[rows.Row],
        key: str,
        default_k: float,
        low_k: float,
        high_k: float,
        above_zero: bool = False,
    ) -> float | None:
        """The temperature difference under a key; None when it cannot be used, which has then been told."""
        value: float | None = getattr(table.row, key, None)
        if not table.sound(key) or self.scale is None:
            return None
        if value is None:
            return default_k
        kelvin = self.scale.k(value)
        if low_k - _ROUNDING_K <= kelvin <= high_k + _ROUNDING_K and not (above_zero and kelvin <= 0):
            return kelvin
        start = "more than 0 and at most" if above_zero else f"{self.scale.show_difference(low_k)} to"
        self.findings.problem(
            f"{table.where}: {key}",
            self.scale.show_difference(kelvin, 4),
            f"{start} {self.scale.show_difference(high_k)}, a difference between two temperatures",
            "Choose a value in this range.",
        )
        return None


def unique(findings: Findings, tables: Iterable[Table[rows.Row]], key: str, what: str, advice: str) -> None:
    """Every value under `key` may stand in one table only."""
    first: dict[object, str] = {}
    for table in tables:
        value = getattr(table.row, key, None)
        if not table.sound(key) or value is None:
            continue
        if value in first:
            findings.problem(f"{table.where}: {key}", words.shown(value) + " a second time", what, advice)
        first[value] = table.where


def known_enclosure(findings: Findings, table: Table[rows.Row], ids: list[str]) -> bool:
    """Whether a table's `enclosure` is one of the tubs; told when not."""
    if not table.sound("enclosure"):
        return False
    value: str | None = getattr(table.row, "enclosure", None)
    if value in ids:
        return True
    known = words.choices(ids) if ids else "the id of an [[enclosure]]"
    advice = f"{words.did_you_mean(value, ids)}Correct it, or add an [[enclosure]] with this id."
    findings.problem(f"{table.where}: enclosure", words.shown(value), known, advice)
    return False


def alarm_times(sheet: Sheet, table: Table[rows.AlarmKeys], house: AlarmTimes) -> AlarmTimes:
    """The alarm keys of one table over those of the house; broken ones fall back, the file is refused anyway."""

    def seconds(key: str, default_s: float) -> float:
        minutes: float | None = getattr(table.row, key) if table.sound(key) else None
        return default_s if minutes is None else minutes * 60.0

    deadband_k = sheet.difference_k(table, "deadband", house.deadband_k, 0.0, 3.0)
    return AlarmTimes(
        cold_after_s=seconds("cold_after_min", house.cold_after_s),
        hot_after_s=seconds("hot_after_min", house.hot_after_s),
        blind_after_s=seconds("blind_after_min", house.blind_after_s),
        clear_after_s=seconds("clear_after_min", house.clear_after_s),
        deadband_k=house.deadband_k if deadband_k is None else deadband_k,
    )


HOUSE_ALARMS = AlarmTimes(
    cold_after_s=3600.0, hot_after_s=3600.0, blind_after_s=600.0, clear_after_s=300.0, deadband_k=0.5
)


def band(sheet: Sheet, table: Table[rows.EnclosureRow]) -> Band | None:
    """The band of one tub; None when it cannot be used."""
    low_c = sheet.temperature_c(table, "band_low", BAND_LOW_C)
    high_c = sheet.temperature_c(table, "band_high", BAND_HIGH_C)
    if low_c is None or high_c is None or sheet.scale is None:
        return None
    if low_c < high_c:
        return Band(low_c, high_c)
    sheet.findings.problem(
        f"{table.where}: band_low",
        sheet.scale.show(low_c),
        f"below band_high ({sheet.scale.show(high_c)})",
        "Lower band_low or raise band_high.",
    )
    return None


def probe_terms(
    sheet: Sheet, table: Table[rows.ProbeRow], polling: Table[rows.Polling], max_rate_k: float, ids: list[str]
) -> ProbeTerms | None:
    """One probe; None when it cannot be used."""
    findings, row, where = sheet.findings, table.row, table.where
    offset_k = sheet.difference_k(table, "offset", 0.0, -5.0, 5.0)
    sound = True
    if table.sound("role", "enclosure"):
        if row.role == "room" and row.enclosure is not None:
            findings.problem(
                f"{where}: enclosure",
                words.shown(row.enclosure),
                "none, since its role is room",
                "Take enclosure out, or give the role it has inside the tub.",
            )
            sound = False
        elif row.role != "room" and row.enclosure is None:
            findings.problem(
                f"{where}: enclosure",
                "nothing",
                words.choices(ids) if ids else "the id of an [[enclosure]]",
                "Say in which tub it sits; only a probe of the room has none.",
            )
            sound = False
        elif row.enclosure is not None:
            sound = known_enclosure(findings, table, ids)
    if table.sound("role", "side") and row.role == "room" and row.side is not None:
        findings.problem(f"{where}: side", words.shown(row.side), "none, since its role is room", "Take side out.")
    every_s = row.every_s if table.sound("every_s") and row.every_s is not None else polling.row.every_s
    if row.every_s is not None and table.sound("every_s"):
        _poll_order(findings, where, every_s, polling, own=True)
    if not sound or not table.sound(*type(row).model_fields) or offset_k is None:
        return None
    return ProbeTerms(
        id=row.id,
        role=Role(row.role),
        enclosure=row.enclosure,
        side=Side(row.side) if row.side else None,
        poll_s=every_s,
        deadline_s=polling.row.deadline_s,
        stale_s=polling.row.stale_after_s,
        max_rate_k_per_min=max_rate_k,
        offset_k=offset_k,
    )


def max_rate_k(sheet: Sheet, polling: Table[rows.Polling]) -> float:
    """The fastest change per minute that is believed, after checking the order of the times of polling."""
    if polling.sound("every_s"):
        _poll_order(sheet.findings, "polling", polling.row.every_s, polling, own=False)
    rate_k = sheet.difference_k(polling, "max_rate_per_min", 3.0, 0.0, 30.0, above_zero=True)
    return 3.0 if rate_k is None else rate_k


def _poll_order(findings: Findings, where: str, every_s: float, polling: Table[rows.Polling], own: bool) -> None:
    row = polling.row
    if polling.sound("stale_after_s") and row.stale_after_s < 3 * every_s:
        findings.problem(
            f"{where}: every_s" if own else f"{where}: stale_after_s",
            f"{every_s:g} s" if own else f"{row.stale_after_s:g} s",
            f"at most {row.stale_after_s / 3:g} s, a third of stale_after_s"
            if own
            else f"at least {3 * every_s:g} s, three times every_s",
            "Raise stale_after_s of [polling] or lower every_s: one lost reading must not blind the guard.",
        )
    if polling.sound("deadline_s") and row.deadline_s >= every_s:
        findings.problem(
            f"{where}: every_s" if own else f"{where}: deadline_s",
            f"{every_s:g} s" if own else f"{row.deadline_s:g} s",
            f"more than {row.deadline_s:g} s, the deadline_s" if own else f"less than {every_s:g} s, the every_s",
            "Lower deadline_s or raise every_s: a reading must be over before the next begins.",
        )


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
        if off_c >= limiter_c - _ROUNDING_K:
            self.findings.problem(
                f"{self.where}: limiter",
                self.scale.show(limiter_c, 4),
                f"more than {self.scale.show(off_c)}, where heat goes off (setpoint and half the hysteresis)",
                "Raise limiter or lower setpoint: the wall is always warmer than the air it heats.",
            )

    def limiter_under_cut_out(self, limiter_c: float, cut_out_c: float) -> None:
        if limiter_c >= cut_out_c - _ROUNDING_K:
            self.findings.problem(
                f"{self.where}: limiter",
                self.scale.show(limiter_c, 4),
                f"less than cut_out ({self.scale.show(cut_out_c)})",
                "Lower limiter: it must act, and end by itself, before the software cut-out trips.",
            )

    def under_ceiling(self, cut_out_c: float) -> None:
        if cut_out_c > CUT_OUT_CEILING_C + _ROUNDING_K:
            self.findings.problem(
                f"{self.where}: cut_out",
                self.scale.show(cut_out_c, 4),
                f"at most {self.scale.show(CUT_OUT_CEILING_C)}, a ceiling that no setting can raise",
                "Lower cut_out.",
            )


def enclosure(
    table: Table[rows.EnclosureRow],
    tub_band: Band,
    probes: Mapping[str | None, list[ProbeTerms]],
    mat: MatTerms | None,
    alarms: AlarmTimes,
) -> Enclosure:
    """One tub whose table is sound."""
    row = table.row
    return Enclosure(
        id=row.id,
        name=row.name or row.id.capitalize(),
        band=tub_band,
        probes=tuple(probes.get(row.id, ())),
        mat=mat,
        alarms=alarms,
    )
