"""Storms found in the readings, and what each was at every site. Run inside the caller's transaction, with the gauges locked."""
