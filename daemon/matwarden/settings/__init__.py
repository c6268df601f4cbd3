"""The settings: one TOML file, judged as a whole, turned into frozen values in SI units."""

from matwarden.settings.loading import Outcome, check, judge, load
from matwarden.settings.problems import Problem, SettingsError
from matwarden.settings.resolved import Settings

__all__ = ["Outcome", "Problem", "Settings", "SettingsError", "check", "judge", "load"]
