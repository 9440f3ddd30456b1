"""The arithmetic of rain and water: numpy arrays in, numpy arrays or dataclasses out.

Nothing here knows Django, a database, a clock or a file. Depths of single readings and storms are
whole micrometres (0.01 in is exactly 254 µm), so sums of a gauge's ticks are exact; everything
derived from them is floating point SI with the unit in its name. Times are whole epoch seconds.
"""
