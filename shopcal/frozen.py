"""Tables whose rows are written once: the database refuses to change or remove them."""

from __future__ import annotations

from shopcal.database import Guard


def frozen(table: str, says: str) -> tuple[Guard, ...]:
    """Guards that refuse every UPDATE and DELETE of ``table``, with these words.

    Both arguments are constants of the calling module, never input.
    """
    return tuple(
        Guard(
            name=f"{table}_no_{act.lower()}",
            table=table,
            sqlite=(
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table}\n"
                f"BEGIN SELECT RAISE(ABORT, '{says}'); END"
            ),
            postgresql=(
                f"CREATE OR REPLACE FUNCTION {table}_refuses() RETURNS trigger"
                f" LANGUAGE plpgsql AS $$\nBEGIN\n"
                f"    RAISE EXCEPTION '{says}' USING ERRCODE = 'integrity_constraint_violation';\n"
                f"END $$;\n"
                f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table}"
                f" FOR EACH ROW EXECUTE FUNCTION {table}_refuses()"
            ),
        )
        for act in ("UPDATE", "DELETE")
    )
