"""Roles for records that several benches share in PostgreSQL: who may add, and who may read."""

from __future__ import annotations

BENCH, READER = "ohmwright_bench", "ohmwright_reader"
_NEVER_ADDED_TO = ("store", "alembic_version", "tallies", "newest_runs")
"""Tables that no bench writes to: made with the store, or filled by triggers of their owner."""

ROLES_SQL = f"""\
-- Roles for records that several benches share. Run it as the role that owns
-- the tables, once the first store was opened there, and again after each migration:
--     psql --set ON_ERROR_STOP=1 --file roles.sql DATABASE
-- Then for each bench:   CREATE ROLE bench2 LOGIN PASSWORD '...'; GRANT {BENCH} TO bench2;
-- and for who only looks: CREATE ROLE office LOGIN PASSWORD '...'; GRANT {READER} TO office;
-- A bench may add and change nothing; the owner can do anything, so nobody works as the owner.
BEGIN;
DO $$
DECLARE
    made record;
    here text := current_schema();
BEGIN
    FOR made IN SELECT unnest(ARRAY['{BENCH}', '{READER}']) AS name LOOP
        IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = made.name) THEN
            EXECUTE format('CREATE ROLE %I NOLOGIN', made.name);
        END IF;
    END LOOP;
    EXECUTE format('REVOKE CREATE ON SCHEMA %I FROM PUBLIC', here);
    EXECUTE format('GRANT USAGE ON SCHEMA %I TO {BENCH}, {READER}', here);
    EXECUTE format('REVOKE ALL ON ALL TABLES IN SCHEMA %I FROM PUBLIC, {BENCH}, {READER}', here);
    EXECUTE format('GRANT SELECT ON ALL TABLES IN SCHEMA %I TO {BENCH}, {READER}', here);
    EXECUTE 'REVOKE ALL ON FUNCTION lock_ledger() FROM PUBLIC';
    EXECUTE 'GRANT EXECUTE ON FUNCTION lock_ledger() TO {BENCH}';
    FOR made IN SELECT tablename AS name FROM pg_tables WHERE schemaname = here
                AND tablename NOT IN {_NEVER_ADDED_TO} LOOP
        EXECUTE format('GRANT INSERT ON TABLE %I.%I TO {BENCH}', here, made.name);
    END LOOP;
    -- a lease says who works on a run now; it is no evidence
    EXECUTE format('GRANT DELETE ON TABLE %I.leases TO {BENCH}', here);
END $$;
COMMIT;
"""
"""The statements that make both roles and give them their rights; may be run again."""
