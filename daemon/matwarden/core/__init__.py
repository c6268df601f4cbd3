"""Decisions. Pure: no clock, no file, no socket, no thread, no logging. Time is an argument."""
