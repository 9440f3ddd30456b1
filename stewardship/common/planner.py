"""Telling PostgreSQL what came in at once. Its planner goes by statistics that it gathers by itself only minutes later, and only of what
is committed; after many thousand new rows it may until then walk whole tables for each of them."""

from django.db import connection, models

#: So many new rows of one table at once are worth a look of a few hundredths of a second. Common practice, no source.
MANY_ROWS = 5_000


def many_came_in(*tables: type[models.Model]) -> None:
    """Let PostgreSQL look at these tables now, within the transaction that filled them. SQLite needs nothing."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for table in tables:
            cursor.execute(f"ANALYZE {connection.ops.quote_name(table._meta.db_table)}")
