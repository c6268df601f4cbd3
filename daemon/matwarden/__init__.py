"""matwarden: watches and guards the warmth of tubs of small tropical leaf-litter animals."""

__version__ = "0.1.0"
