"""Whether a gauge can be trusted: what is known of each day, what looks wrong, how it stands against its neighbours. No Django."""
