from datetime import date

import pytest

from stewardship.care.models import Visit
from tests import factory
from tests.cast import Cast, make_cast


@pytest.fixture
def cast(db) -> Cast:
    """The usual cast; both sites were looked at on 1 July, so that no look is due by calendar."""
    cast = make_cast()
    for site in (cast.site, cast.other_site):
        factory.make_visit(site, date(2026, 7, 1))
    return cast


@pytest.fixture
def unseen(cast) -> Cast:
    """Nobody has looked at either site since it was built."""
    Visit.objects.all().delete()
    return cast
