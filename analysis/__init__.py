"""Pure functions from frozen values to frozen values: from a log to a leak estimate, a ranking and advice."""
