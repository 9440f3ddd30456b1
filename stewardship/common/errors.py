"""The refusal that services raise and pages show as a sentence."""


class Refused(Exception):
    """A rule says no. `str(error)` is one clear sentence for the person who asked."""
