import pytest

from tests import factory
from tests.front.storm_pages import START


@pytest.fixture
def storm(cast, frozen_day):
    """An hour of rain at one gauge, of which one reading is missing."""
    gauge = factory.make_gauge()
    factory.make_readings(gauge, START, factory.QUARTER, [0.2, 0.3, None, 0.12], found=True)
    return factory.make_storm(START, hours=1, gauges=[gauge])
