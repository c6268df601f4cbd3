"""Drivers for probes and relays, and the simulated shelf that stands in for them. Knows nothing of the daemon."""
