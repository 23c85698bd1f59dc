CREATE TABLE labbook (application INTEGER NOT NULL, schema INTEGER NOT NULL);
CREATE TABLE original (sha256 TEXT COLLATE "C" PRIMARY KEY, data BYTEA NOT NULL);
CREATE TABLE entry (
	id        BIGINT PRIMARY KEY,
	kind      TEXT COLLATE "C" NOT NULL,
	key       TEXT COLLATE "C" NOT NULL,
	lot       TEXT COLLATE "C" NOT NULL,
	product   TEXT COLLATE "C" NOT NULL,
	made      TEXT NOT NULL,
	operator  TEXT NOT NULL,
	program   TEXT NOT NULL,
	source    TEXT COLLATE "C" NOT NULL,
	corrects  BIGINT NOT NULL,
	withdrawn BOOLEAN NOT NULL,
	reason    TEXT NOT NULL,
	sha256    TEXT NOT NULL,
	payload   BYTEA NOT NULL
);
CREATE INDEX entry_key ON entry (kind, key);
CREATE FUNCTION labbook_refuses() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'rows of a lab book are never changed or deleted'; END $$;
CREATE TRIGGER entry_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION labbook_refuses();
CREATE TRIGGER original_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON original FOR EACH STATEMENT EXECUTE FUNCTION labbook_refuses();
INSERT INTO entry (id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256, payload) VALUES (1, 'lot', 'A', 'A', '', '2026-01-15T09:00:00Z', 'op', 'test', 's', 0, false, '', '4cbc25329c88830852805a338f3d7b2de160d871fcc497e7fcf99fc59430b4e6', '\x31');
INSERT INTO entry (id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256, payload) VALUES (2, 'lot', 'B', 'B', '', '2026-01-15T09:00:00Z', 'op', 'test', 's', 0, false, '', 'df91a77f2b25eead6ed0c8779bfff6314cc0949da242b9d18af608c6c87c4b58', '\x32');
INSERT INTO entry (id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256, payload) VALUES (3, 'lot', 'A', 'A', '', '2026-01-15T09:00:00Z', 'op', 'test', 's', 1, false, 'misread', '723d475f50220ebad98bbd2fae5a2ed4a8df281e04080339747544a750ba26f1', '\x3162');
INSERT INTO labbook (application, schema) VALUES (1718382453, 1);
