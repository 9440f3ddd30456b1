"""The gate in the database: no row of sites_site becomes built without a signed agreement in force on that day.

The services say why in a sentence; these triggers stand behind them for every other path: admin, shell, bulk update, raw SQL,
fixtures. The same condition as `instruments.may_build`. What was signed stays where it is: a signature is not moved to another
party or document, a party that has signed not to another agreement or capacity, and the bytes that were signed are not changed.
That a signature is not deleted is the model's matter (`Signature.delete`): emptying a test database deletes every row.

They are taken down before migrations and put up again after them (apps.py), because SQLite drops a table's triggers when a
migration rebuilds it, and refuses to rename a table that a trigger names.
"""

from django.db.backends.base.base import BaseDatabaseWrapper

from stewardship.agreements.instruments import INSTRUMENTS

TABLES = {
    "sites_site",
    "agreements_agreement",
    "agreements_agreement_sites",
    "agreements_party",
    "agreements_signature",
    "agreements_document",
}
REFUSAL = "site_built_needs_a_signed_agreement"
STAYS = "what_was_signed_stays"

# {ground} comes from instruments.py; everything else is fixed text.
_SIGNED = """
EXISTS (
    SELECT 1 FROM agreements_agreement a
    JOIN agreements_agreement_sites covers ON covers.agreement_id = a.id
    WHERE covers.site_id = NEW.id
      AND a.state = 'in_force'
      AND a.begins_on <= NEW.built_on
      AND (a.ends_on IS NULL OR a.ends_on > NEW.built_on)
      AND EXISTS (
        SELECT 1 FROM agreements_party p
        JOIN agreements_signature s ON s.party_id = p.id
        WHERE p.agreement_id = a.id AND p.must_sign AND ({ground}))
      AND NOT EXISTS (
        SELECT 1 FROM agreements_party p
        LEFT JOIN agreements_signature s ON s.party_id = p.id
        WHERE p.agreement_id = a.id AND p.must_sign AND s.id IS NULL)
)
"""


#: Name of the trigger, table, columns that may not change, and when.
_STAYING = (
    ("signature_stays", "agreements_signature", ("party_id", "document_id"), "TRUE"),
    (
        "signed_party_stays",
        "agreements_party",
        ("agreement_id", "capacity"),
        "EXISTS (SELECT 1 FROM agreements_signature s WHERE s.party_id = OLD.id)",
    ),
    (
        "signed_document_stays",
        "agreements_document",
        ("content", "sha256"),
        "EXISTS (SELECT 1 FROM agreements_signature s WHERE s.document_id = OLD.id OR s.scan_id = OLD.id)",
    ),
)


def _ground() -> str:
    return " OR ".join(
        "(a.instrument = '{}' AND p.capacity IN ({}))".format(
            rules.kind, ", ".join(f"'{capacity}'" for capacity in rules.ground)
        )
        for rules in INSTRUMENTS.values()
        if rules.ground
    )


def _up(vendor: str) -> list[str]:
    signed = _SIGNED.format(ground=_ground())
    if vendor == "sqlite":
        return [
            f"""CREATE TRIGGER {name} BEFORE {event} ON sites_site
            WHEN NEW.stage = 'built' {moved} AND NOT {signed}
            BEGIN SELECT RAISE(ABORT, '{REFUSAL}'); END"""
            for name, event, moved in (
                ("site_gate_insert", "INSERT", ""),
                ("site_gate_update", "UPDATE OF stage", "AND OLD.stage <> 'built'"),
            )
        ] + [
            f"""CREATE TRIGGER {name} BEFORE UPDATE OF {", ".join(columns)} ON {table}
            WHEN ({_changed(columns)}) AND {when}
            BEGIN SELECT RAISE(ABORT, '{STAYS}'); END"""
            for name, table, columns, when in _STAYING
        ]
    return [
        f"""CREATE FUNCTION site_gate() RETURNS trigger LANGUAGE plpgsql AS $gate$
        BEGIN
            IF TG_OP = 'UPDATE' AND OLD.stage = 'built' THEN RETURN NEW; END IF;
            IF NOT {signed} THEN
                RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'check_violation';
            END IF;
            RETURN NEW;
        END $gate$""",
        """CREATE TRIGGER site_gate BEFORE INSERT OR UPDATE OF stage ON sites_site
        FOR EACH ROW WHEN (NEW.stage = 'built') EXECUTE FUNCTION site_gate()""",
    ] + [
        statement
        for name, table, columns, when in _STAYING
        for statement in (
            f"""CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $stays$
            BEGIN
                IF {when} THEN
                    RAISE EXCEPTION '{STAYS}' USING ERRCODE = 'check_violation';
                END IF;
                RETURN NEW;
            END $stays$""",
            f"""CREATE TRIGGER {name} BEFORE UPDATE OF {", ".join(columns)} ON {table}
            FOR EACH ROW WHEN ({_changed(columns)}) EXECUTE FUNCTION {name}()""",
        )
    ]


def _changed(columns: tuple[str, ...]) -> str:
    return " OR ".join(f"NEW.{column} <> OLD.{column}" for column in columns)


_DOWN = {
    "sqlite": [
        "DROP TRIGGER IF EXISTS site_gate_insert",
        "DROP TRIGGER IF EXISTS site_gate_update",
        *(f"DROP TRIGGER IF EXISTS {name}" for name, *_rest in _STAYING),
    ],
    "postgresql": [
        "DROP FUNCTION IF EXISTS site_gate() CASCADE",
        *(f"DROP FUNCTION IF EXISTS {name}() CASCADE" for name, *_rest in _STAYING),
    ],
}


def take_down(connection: BaseDatabaseWrapper) -> None:
    with connection.cursor() as cursor:
        for statement in _DOWN[connection.vendor]:
            cursor.execute(statement)


def put_up(connection: BaseDatabaseWrapper) -> None:
    """Set the triggers, once all tables stand; before that there is nothing to guard."""
    take_down(connection)
    if not set(connection.introspection.table_names()) >= TABLES:
        return
    with connection.cursor() as cursor:
        for statement in _up(connection.vendor):
            cursor.execute(statement)
