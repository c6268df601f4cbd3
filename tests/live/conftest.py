"""Fixtures of the live check's tests."""

from __future__ import annotations

from helpers_mqtt import mosquitto

__all__ = ["mosquitto"]
