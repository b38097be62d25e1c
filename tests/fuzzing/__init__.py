"""Coverage-guided search for inputs that break a reader: `targets` says what is fed with what, `run` does it."""
