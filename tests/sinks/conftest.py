"""Fixtures of the sinks' tests."""

from __future__ import annotations

from helpers_mqtt import broker, mosquitto

__all__ = ["broker", "mosquitto"]
