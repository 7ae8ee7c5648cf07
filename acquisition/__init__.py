"""Hears the gauge and keeps what was heard; knows nothing of the stages after it."""
