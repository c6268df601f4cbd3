"""The stand-in for libgpiod is held to the real package: what the driver calls must exist there, by the same names."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import pytest

import helpers_gpiod
from helpers_gpiod import FakeGpiod
from matwarden_hardware.gpio import GpioRelay

gpiod = pytest.importorskip("gpiod")


def names(function: Callable[..., Any]) -> list[str]:
    return [name for name in inspect.signature(function).parameters if name != "self"]


@pytest.mark.parametrize(
    ("fake", "real"),
    [
        (FakeGpiod.request_lines, gpiod.request_lines),
        (FakeGpiod.Chip, gpiod.Chip.__init__),
        (helpers_gpiod.Chip.get_line_info, gpiod.Chip.get_line_info),
        (helpers_gpiod.LineRequest.set_value, gpiod.LineRequest.set_value),
        (helpers_gpiod.LineRequest.get_value, gpiod.LineRequest.get_value),
        (helpers_gpiod.LineRequest.release, gpiod.LineRequest.release),
    ],
)
def test_same_parameters(fake: Callable[..., Any], real: Callable[..., Any]) -> None:
    """Each call of the stand-in takes the real one's parameters, in its order; it may know fewer of the optional."""
    known = [name for name in names(real) if name in names(fake)]
    assert known == names(fake)
    rest = [p for name, p in inspect.signature(real).parameters.items() if name not in (*known, "self")]
    assert all(p.default is not inspect.Parameter.empty for p in rest)


def test_same_settings() -> None:
    """The stand-in's line settings are fields of the real ones, with the same defaults."""
    real = gpiod.LineSettings()
    for field, default in vars(helpers_gpiod.LineSettings()).items():
        shown = getattr(real, field)
        assert getattr(shown, "name", shown) == getattr(default, "name", default)


@pytest.mark.parametrize("enum", ["Direction", "Value"])
def test_same_words(enum: str) -> None:
    """Levels and directions have the real names."""
    assert [m.name for m in getattr(helpers_gpiod, enum)] == [m.name for m in getattr(gpiod.line, enum)]


def test_line_info_has_a_consumer() -> None:
    """The real line info tells whether a line is in use and by whom."""
    assert {"used", "consumer"} <= set(gpiod.LineInfo.__annotations__)


def test_the_drivers_calls_fit_the_real_ones() -> None:
    """Every call the driver makes in its life binds to the real function's signature."""
    fake = FakeGpiod("/dev/gpiochip0", 17)
    relay = GpioRelay("/dev/gpiochip0", 17, True, fake)
    relay.drive(True)
    relay.read_back()
    relay.close()
    assert [call[0] for call in fake.calls] == ["request_lines", "set_value", "get_value", "set_value", "release"]
    for call, *arguments in fake.calls[1:]:
        inspect.signature(getattr(gpiod.LineRequest, str(call))).bind("self", *arguments)
