#include "postgres_schema.hpp"

namespace trimwright {

const char* const postgres_schema = R"(
CREATE SCHEMA trimwright;
SET LOCAL search_path = trimwright;
CREATE SEQUENCE record_number;
CREATE TABLE record (
  number bigint PRIMARY KEY,
  previous bytea NOT NULL,
  digest bytea NOT NULL,
  inputs bytea NOT NULL,
  rotor text COLLATE "C" NOT NULL,
  serial text COLLATE "C" NOT NULL,
  station text COLLATE "C" NOT NULL,
  date text COLLATE "C" NOT NULL,
  person text COLLATE "C" NOT NULL,
  verdict text COLLATE "C" NOT NULL,
  level double precision NOT NULL,
  filed_at text COLLATE "C" NOT NULL,
  filed_by text COLLATE "C" NOT NULL,
  software text COLLATE "C" NOT NULL,
  corrects bigint REFERENCES record,
  reason text COLLATE "C" NOT NULL,
  content text COLLATE "C" NOT NULL,
  origin bytea,
  UNIQUE (station, previous)
);
ALTER TABLE record ALTER content SET COMPRESSION pglz;
CREATE INDEX record_by_serial ON record (lower(serial));
CREATE INDEX record_by_date ON record (date);
CREATE UNIQUE INDEX record_once ON record (inputs, coalesce(corrects, 0));
CREATE UNIQUE INDEX record_by_corrects ON record (corrects) WHERE corrects IS NOT NULL;
CREATE UNIQUE INDEX record_by_origin ON record (origin) WHERE origin IS NOT NULL;
CREATE INDEX record_by_station ON record (station, number);
CREATE TABLE leaf (place bigint PRIMARY KEY, number bigint NOT NULL UNIQUE REFERENCES record);
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS
  'BEGIN RAISE EXCEPTION ''a record is never changed or removed: file a correction''; END';
CREATE TRIGGER record_is_never_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON record
  EXECUTE FUNCTION refuse_change();
CREATE TRIGGER leaf_is_never_changed BEFORE UPDATE OR DELETE OR TRUNCATE ON leaf
  EXECUTE FUNCTION refuse_change();
DO $$ BEGIN
  CREATE ROLE trimwright_station NOLOGIN;
EXCEPTION WHEN duplicate_object THEN NULL; END $$;
GRANT USAGE ON SCHEMA trimwright TO trimwright_station;
GRANT SELECT, INSERT ON record, leaf TO trimwright_station;
GRANT USAGE ON SEQUENCE record_number TO trimwright_station;
)";

const char* const postgres_schema_now = R"(
WITH here AS (SELECT oid, relname, relkind FROM pg_class
              WHERE relnamespace = (SELECT oid FROM pg_namespace WHERE nspname = 'trimwright'))
SELECT CASE relkind WHEN 'r' THEN 'table' WHEN 'v' THEN 'view' WHEN 'S' THEN 'sequence' ELSE 'relation' END
       || ' ' || relname, coalesce((SELECT string_agg(attname || ' ' || format_type(atttypid, atttypmod)
       || CASE WHEN attnotnull OR relkind = 'S' THEN '' ELSE ' or null' END
       || CASE WHEN atthasdef THEN ' default' ELSE '' END, ', ' ORDER BY attnum)
       FROM pg_attribute WHERE attrelid = here.oid AND attnum > 0 AND NOT attisdropped), '')
       FROM here WHERE relkind NOT IN ('i', 't')
UNION ALL SELECT 'index ' || relname, regexp_replace(pg_get_indexdef(oid), 'trimwright\.', '', 'g') FROM here
       WHERE relkind = 'i'
UNION ALL SELECT 'constraint ' || conname, regexp_replace(pg_get_constraintdef(c.oid), 'trimwright\.', '', 'g')
       FROM here JOIN pg_constraint c ON conrelid = here.oid WHERE contype NOT IN ('n', 'p', 'u')
UNION ALL SELECT 'trigger ' || tgname, tgtype || ' ' || tgenabled::text FROM here
       JOIN pg_trigger ON tgrelid = here.oid WHERE NOT tgisinternal
UNION ALL SELECT 'rule ' || rulename, ev_enabled::text FROM here JOIN pg_rewrite ON ev_class = here.oid
       WHERE rulename <> '_RETURN'
UNION ALL SELECT 'policy ' || polname, polcmd::text FROM here JOIN pg_policy ON polrelid = here.oid
ORDER BY 1
)";

Schema postgres_schema_expected() {
  return {
      {"constraint leaf_number_fkey", "FOREIGN KEY (number) REFERENCES record(number)"},
      {"constraint record_corrects_fkey", "FOREIGN KEY (corrects) REFERENCES record(number)"},
      {"index leaf_number_key", "CREATE UNIQUE INDEX leaf_number_key ON leaf USING btree (number)"},
      {"index leaf_pkey", "CREATE UNIQUE INDEX leaf_pkey ON leaf USING btree (place)"},
      {"index record_by_date", "CREATE INDEX record_by_date ON record USING btree (date)"},
      {"index record_by_corrects",
       "CREATE UNIQUE INDEX record_by_corrects ON record USING btree (corrects) WHERE (corrects IS NOT "
       "NULL)"},
      {"index record_by_origin",
       "CREATE UNIQUE INDEX record_by_origin ON record USING btree (origin) WHERE (origin IS NOT NULL)"},
      {"index record_by_serial", "CREATE INDEX record_by_serial ON record USING btree (lower(serial))"},
      {"index record_by_station", "CREATE INDEX record_by_station ON record USING btree (station, number)"},
      {"index record_once",
       "CREATE UNIQUE INDEX record_once ON record USING btree (inputs, COALESCE(corrects, (0)::bigint))"},
      {"index record_pkey", "CREATE UNIQUE INDEX record_pkey ON record USING btree (number)"},
      {"index record_station_previous_key",
       "CREATE UNIQUE INDEX record_station_previous_key ON record USING btree (station, previous)"},
      {"sequence record_number", "last_value bigint, log_cnt bigint, is_called boolean"},
      {"table leaf", "place bigint, number bigint"},
      {"table record",
       "number bigint, previous bytea, digest bytea, inputs bytea, rotor text, serial text, station text, "
       "date text, person text, verdict text, level double precision, filed_at text, filed_by text, software "
       "text, corrects bigint or null, reason text, content text, origin bytea or null"},
      {"trigger leaf_is_never_changed", "58 O"},
      {"trigger record_is_never_changed", "58 O"}};
}

}  // namespace trimwright
