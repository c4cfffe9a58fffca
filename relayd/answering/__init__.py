"""Acknowledging from afar: codes that prove who answers which message, their limits, and the words."""
