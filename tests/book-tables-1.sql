-- A book as the first version of its tables had it, with two invented cases. It never changes: old books look like this.
BEGIN TRANSACTION;
CREATE TABLE book (
	place INTEGER NOT NULL, 
	schema INTEGER NOT NULL, 
	made TEXT NOT NULL, 
	PRIMARY KEY (place)
);
INSERT INTO "book" VALUES(1,1,'2026-11-25T17:34:53.496574+00:00');
CREATE TABLE carburettors (
	uid TEXT NOT NULL, 
	name TEXT NOT NULL, 
	engine TEXT NOT NULL, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	FOREIGN KEY(engine) REFERENCES engines (uid)
);
CREATE TABLE case_findings (
	"case" TEXT NOT NULL, 
	finding TEXT NOT NULL, 
	answer TEXT NOT NULL, 
	reading TEXT, 
	value FLOAT, 
	PRIMARY KEY ("case", finding), 
	FOREIGN KEY("case") REFERENCES cases (uid) ON DELETE CASCADE
)
 WITHOUT ROWID

;
INSERT INTO "case_findings" VALUES('5a5bff56325947a2c36a','idle','hunts',NULL,NULL);
INSERT INTO "case_findings" VALUES('5a5bff56325947a2c36a','machine','helicopter',NULL,NULL);
INSERT INTO "case_findings" VALUES('741be22cb096f736dc3a','idle','steady',NULL,NULL);
INSERT INTO "case_findings" VALUES('741be22cb096f736dc3a','machine','helicopter',NULL,NULL);
CREATE TABLE cases (
	uid TEXT NOT NULL, 
	name TEXT NOT NULL, 
	machine TEXT, 
	kind TEXT, 
	opened TEXT NOT NULL, 
	closed TEXT NOT NULL, 
	how TEXT NOT NULL, 
	confirmed TEXT NOT NULL, 
	minutes FLOAT, 
	words TEXT NOT NULL, 
	packs TEXT NOT NULL, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	FOREIGN KEY(machine) REFERENCES machines (uid)
);
INSERT INTO "cases" VALUES('5a5bff56325947a2c36a','2026-05-01-1','f0542ef5635db2dc946f','helicopter','2026-05-01T10:00:00+02:00','2026-05-01T10:00:00+02:00','found','retest',30.0,'it hunts','base 1.0.0','2026-05-01T08:00:00.000000+00:00');
INSERT INTO "cases" VALUES('741be22cb096f736dc3a','2026-05-01-2','f0542ef5635db2dc946f','helicopter','2026-05-01T10:00:00+02:00','2026-05-01T10:00:00+02:00','found','retest',30.0,'it hunts','base 1.0.0','2026-05-01T08:00:00.000000+00:00');
CREATE TABLE causes_found (
	"case" TEXT NOT NULL, 
	place INTEGER NOT NULL, 
	cause TEXT NOT NULL, 
	PRIMARY KEY ("case", place), 
	FOREIGN KEY("case") REFERENCES cases (uid) ON DELETE CASCADE
);
INSERT INTO "causes_found" VALUES('5a5bff56325947a2c36a',1,'bolts-loose');
INSERT INTO "causes_found" VALUES('741be22cb096f736dc3a',1,'plug-dead');
CREATE TABLE corrections (
	uid TEXT NOT NULL, 
	of_table TEXT NOT NULL, 
	of_uid TEXT NOT NULL, 
	of_column TEXT NOT NULL, 
	was TEXT, 
	became TEXT, 
	at TEXT NOT NULL, 
	PRIMARY KEY (uid)
);
CREATE TABLE engines (
	uid TEXT NOT NULL, 
	name TEXT NOT NULL, 
	machine TEXT NOT NULL, 
	cubic_centimetres FLOAT, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	FOREIGN KEY(machine) REFERENCES machines (uid)
);
CREATE TABLE fixes (
	"case" TEXT NOT NULL, 
	place INTEGER NOT NULL, 
	cause TEXT NOT NULL, 
	result TEXT NOT NULL, 
	at TEXT NOT NULL, 
	PRIMARY KEY ("case", place), 
	FOREIGN KEY("case") REFERENCES cases (uid) ON DELETE CASCADE
);
INSERT INTO "fixes" VALUES('5a5bff56325947a2c36a',1,'bolts-loose','gone','2026-05-01T10:00:00+02:00');
INSERT INTO "fixes" VALUES('741be22cb096f736dc3a',1,'plug-dead','gone','2026-05-01T10:00:00+02:00');
CREATE TABLE machines (
	uid TEXT NOT NULL, 
	name TEXT NOT NULL, 
	kind TEXT, 
	owner TEXT, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	UNIQUE (name), 
	FOREIGN KEY(owner) REFERENCES owners (uid)
);
INSERT INTO "machines" VALUES('f0542ef5635db2dc946f','Grey','helicopter',NULL,'2026-04-01T08:00:00.000000+00:00');
CREATE TABLE notes (
	uid TEXT NOT NULL, 
	machine TEXT, 
	"case" TEXT, 
	at TEXT NOT NULL, 
	text TEXT NOT NULL, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	FOREIGN KEY(machine) REFERENCES machines (uid), 
	FOREIGN KEY("case") REFERENCES cases (uid)
);
CREATE TABLE owners (
	uid TEXT NOT NULL, 
	call_sign TEXT NOT NULL, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	UNIQUE (call_sign)
);
CREATE TABLE proofs (
	"case" TEXT NOT NULL, 
	place INTEGER NOT NULL, 
	cause TEXT NOT NULL, 
	says TEXT NOT NULL, 
	at TEXT NOT NULL, 
	PRIMARY KEY ("case", place), 
	FOREIGN KEY("case") REFERENCES cases (uid) ON DELETE CASCADE
);
INSERT INTO "proofs" VALUES('5a5bff56325947a2c36a',1,'bolts-loose','a steady idle','2026-05-01T10:00:00+02:00');
INSERT INTO "proofs" VALUES('741be22cb096f736dc3a',1,'plug-dead','a steady idle','2026-05-01T10:00:00+02:00');
CREATE TABLE recording_results (
	recording TEXT NOT NULL, 
	name TEXT NOT NULL, 
	value FLOAT NOT NULL, 
	unit TEXT NOT NULL, 
	PRIMARY KEY (recording, name), 
	FOREIGN KEY(recording) REFERENCES recordings (uid) ON DELETE CASCADE
);
CREATE TABLE recordings (
	uid TEXT NOT NULL, 
	machine TEXT, 
	"case" TEXT, 
	at TEXT NOT NULL, 
	file TEXT NOT NULL, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	FOREIGN KEY(machine) REFERENCES machines (uid), 
	FOREIGN KEY("case") REFERENCES cases (uid)
);
CREATE TABLE removed (
	uid TEXT NOT NULL, 
	at TEXT NOT NULL, 
	PRIMARY KEY (uid)
);
CREATE TABLE settings (
	uid TEXT NOT NULL, 
	machine TEXT NOT NULL, 
	carburettor TEXT, 
	"case" TEXT, 
	at TEXT NOT NULL, 
	h_sixteenths INTEGER, 
	l_sixteenths INTEGER, 
	hours FLOAT, 
	temperature_c FLOAT, 
	pressure_hpa FLOAT, 
	humidity_percent FLOAT, 
	field_height_m FLOAT, 
	air_density FLOAT, 
	density_altitude_m FLOAT, 
	head_temperature_c FLOAT, 
	remark TEXT, 
	changed TEXT NOT NULL, 
	PRIMARY KEY (uid), 
	FOREIGN KEY(machine) REFERENCES machines (uid), 
	FOREIGN KEY(carburettor) REFERENCES carburettors (uid), 
	FOREIGN KEY("case") REFERENCES cases (uid)
);
CREATE INDEX corrections_by_row ON corrections (of_uid);
CREATE INDEX machines_by_owner ON machines (owner);
CREATE INDEX cases_by_closing ON cases (closed);
CREATE INDEX cases_by_machine ON cases (machine, closed);
CREATE INDEX cases_by_name ON cases (name);
CREATE INDEX findings_by_answer ON case_findings (finding, answer);
CREATE INDEX causes_found_by_cause ON causes_found (cause);
CREATE INDEX recordings_by_machine ON recordings (machine);
CREATE INDEX notes_by_machine ON notes (machine);
CREATE INDEX notes_by_case ON notes ("case");
CREATE INDEX settings_by_machine ON settings (machine, at);
COMMIT;
