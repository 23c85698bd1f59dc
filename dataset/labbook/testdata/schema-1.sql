CREATE TABLE entry (
	id        INTEGER PRIMARY KEY,
	kind      TEXT NOT NULL,
	key       TEXT NOT NULL,
	lot       TEXT NOT NULL,
	product   TEXT NOT NULL,
	made      TEXT NOT NULL,
	operator  TEXT NOT NULL,
	program   TEXT NOT NULL,
	source    TEXT NOT NULL,
	corrects  INTEGER NOT NULL,
	withdrawn INTEGER NOT NULL,
	reason    TEXT NOT NULL,
	sha256    TEXT NOT NULL,
	payload   BLOB NOT NULL
);
CREATE INDEX entry_key ON entry (kind, key);
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'rows of a lab book are never changed'); END;
CREATE TRIGGER entry_remains BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'rows of a lab book are never deleted'); END;
INSERT INTO entry (id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256, payload) VALUES (1, 'lot', 'A', 'A', '', '2026-01-15T09:00:00Z', 'op', 'test', 's', 0, 0, '', '4cbc25329c88830852805a338f3d7b2de160d871fcc497e7fcf99fc59430b4e6', x'31');
INSERT INTO entry (id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256, payload) VALUES (2, 'lot', 'B', 'B', '', '2026-01-15T09:00:00Z', 'op', 'test', 's', 0, 0, '', 'df91a77f2b25eead6ed0c8779bfff6314cc0949da242b9d18af608c6c87c4b58', x'32');
INSERT INTO entry (id, kind, key, lot, product, made, operator, program, source, corrects, withdrawn, reason, sha256, payload) VALUES (3, 'lot', 'A', 'A', '', '2026-01-15T09:00:00Z', 'op', 'test', 's', 1, 0, 'misread', '723d475f50220ebad98bbd2fae5a2ed4a8df281e04080339747544a750ba26f1', x'3162');
PRAGMA application_id = 1718382453;
PRAGMA user_version = 1;
