"""What the arithmetic refuses."""


class InputError(ValueError):
    """Numbers that cannot be rain, water or a basin.

    The message is one short English sentence naming the quantity and what is wrong with it. Forms
    and imports check people's entries before they come here and speak the reader's language; this
    is the last line, so that a fault is never turned into a plausible figure.
    """
