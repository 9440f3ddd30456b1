"""The arithmetic stands alone."""

import pkgutil
import subprocess
import sys

import stewardship.hydrology


def test_the_arithmetic_loads_neither_django_nor_celery():
    modules = [
        f"stewardship.hydrology.{module.name}"
        for module in pkgutil.walk_packages(stewardship.hydrology.__path__)
    ]
    assert len(modules) >= 7
    script = (
        "import sys; before = set(sys.modules)\n"  # what a machine's own Python loads for everybody
        "import importlib\n"
        f"for name in {modules!r}: importlib.import_module(name)\n"
        "print(*sorted({name.partition('.')[0] for name in set(sys.modules) - before}))"
    )
    loaded = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    ).stdout.split()
    assert {"numpy", "shapely"} <= set(loaded)
    own = {"numpy", "shapely", "cython_runtime", "stewardship", "__main__"}
    outside = set(loaded) - set(sys.stdlib_module_names) - own
    assert not {name for name in outside if not name.startswith("_")}
