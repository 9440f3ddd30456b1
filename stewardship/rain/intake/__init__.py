"""Readings come in: files understood and taken in, readings typed or pushed; each lot in one transaction."""
