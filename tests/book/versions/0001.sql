BEGIN TRANSACTION;
CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num));
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE batches (
	run_id INTEGER, 
	replaces_id INTEGER, 
	dyed_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_batches PRIMARY KEY (id), 
	CONSTRAINT fk_batches_run_id FOREIGN KEY(run_id) REFERENCES runs (id), 
	CONSTRAINT fk_batches_replaces_id FOREIGN KEY(replaces_id) REFERENCES batches (id)
);
INSERT INTO "batches" VALUES(1,NULL,'2026-03-28T14:30','first batch, 80 °F day',1,2,'2026-11-25T09:29:08.058Z','Ada',NULL);
CREATE TABLE baths (
	name VARCHAR NOT NULL, 
	dye_id INTEGER NOT NULL, 
	bath_volume_l DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_baths PRIMARY KEY (id), 
	CONSTRAINT uq_baths_name_dye_id UNIQUE (name, dye_id), 
	CONSTRAINT fk_baths_dye_id FOREIGN KEY(dye_id) REFERENCES dyes (id)
);
INSERT INTO "baths" VALUES('Tank 1',1,NULL,NULL,1,1,'2026-11-25T09:29:08.052Z','Ada',NULL);
CREATE TABLE dips (
	batch_id INTEGER NOT NULL, 
	position INTEGER DEFAULT '1' NOT NULL, 
	dye_id INTEGER NOT NULL, 
	bath_id INTEGER, 
	dye_g_per_l DOUBLE, 
	bath_temp_c DOUBLE, 
	dwell_min DOUBLE, 
	ph DOUBLE, 
	masked VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_dips PRIMARY KEY (id), 
	CONSTRAINT fk_dips_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id), 
	CONSTRAINT fk_dips_dye_id FOREIGN KEY(dye_id) REFERENCES dyes (id), 
	CONSTRAINT fk_dips_bath_id FOREIGN KEY(bath_id) REFERENCES baths (id)
);
INSERT INTO "dips" VALUES(1,1,1,1,3.0,40.0,5.0,5.5,NULL,1,2,'2026-11-25T09:29:08.058Z','Ada',NULL);
CREATE TABLE dyes (
	name VARCHAR NOT NULL, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_dyes PRIMARY KEY (id), 
	CONSTRAINT uq_dyes_name UNIQUE (name)
);
INSERT INTO "dyes" VALUES('Harbour blue',NULL,1,1,'2026-11-25T09:29:08.050Z','Ada',NULL);
CREATE TABLE history (
	id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	who VARCHAR NOT NULL, 
	"table" VARCHAR NOT NULL, 
	row_id INTEGER, 
	action VARCHAR NOT NULL, 
	old JSON, 
	new JSON, 
	CONSTRAINT pk_history PRIMARY KEY (id)
);
INSERT INTO "history" VALUES(1,'2026-11-25T09:29:08.095Z','Ada','dips',1,'correct','{"dwell_min": 4.0}','{"dwell_min": 5.0}');
INSERT INTO "history" VALUES(2,'2026-11-25T09:29:08.113Z','Ada','settings',NULL,'setting','{"card_lab": null}','{"card_lab": [48.1, 0.2, -0.4]}');
CREATE TABLE photos (
	batch_id INTEGER, 
	sha256 VARCHAR NOT NULL, 
	name VARCHAR, 
	size_bytes INTEGER NOT NULL, 
	taken_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_photos PRIMARY KEY (id), 
	CONSTRAINT uq_photos_sha256_batch_id UNIQUE (sha256, batch_id), 
	CONSTRAINT fk_photos_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
CREATE TABLE readings (
	batch_id INTEGER, 
	dip_id INTEGER, 
	photo_id INTEGER, 
	source VARCHAR NOT NULL, 
	part_index INTEGER, 
	"L" DOUBLE NOT NULL, 
	a DOUBLE NOT NULL, 
	b DOUBLE NOT NULL, 
	"L_sd" DOUBLE, 
	a_sd DOUBLE, 
	b_sd DOUBLE, 
	"L_spread" DOUBLE, 
	a_spread DOUBLE, 
	b_spread DOUBLE, 
	wet BOOLEAN, 
	sealed BOOLEAN, 
	uniformity DOUBLE, 
	area_mm2 DOUBLE, 
	flags JSON, 
	flaws JSON, 
	outline JSON, 
	card JSON, 
	camera VARCHAR, 
	measured_with JSON, 
	read_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_readings PRIMARY KEY (id), 
	CONSTRAINT fk_readings_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id), 
	CONSTRAINT fk_readings_dip_id FOREIGN KEY(dip_id) REFERENCES dips (id), 
	CONSTRAINT fk_readings_photo_id FOREIGN KEY(photo_id) REFERENCES photos (id)
);
INSERT INTO "readings" VALUES(1,NULL,NULL,'photo',NULL,41.5,3.25,-38.0,0.8,0.9,1.0,0.5,0.6,0.7,NULL,NULL,NULL,NULL,'[]','[]','[]',NULL,NULL,NULL,NULL,NULL,1,1,'2026-11-25T09:29:08.059Z','Ada',NULL);
CREATE TABLE rinses (
	batch_id INTEGER NOT NULL, 
	position INTEGER DEFAULT '1' NOT NULL, 
	rinse_temp_c DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_rinses PRIMARY KEY (id), 
	CONSTRAINT fk_rinses_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
INSERT INTO "rinses" VALUES(1,1,18.0,NULL,1,1,'2026-11-25T09:29:08.059Z','Ada',NULL);
CREATE TABLE runs (
	film_um DOUBLE, 
	film_measured_um DOUBLE, 
	film_sd_um DOUBLE, 
	area_dm2 DOUBLE, 
	current_density_a_per_dm2 DOUBLE, 
	electrolyte_temp_c DOUBLE, 
	alloy VARCHAR, 
	finish VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_runs PRIMARY KEY (id)
);
INSERT INTO "runs" VALUES(12.0,NULL,NULL,NULL,NULL,NULL,'6061',NULL,1,1,'2026-11-25T09:29:08.057Z','Ada',NULL);
CREATE TABLE settings (
	"key" VARCHAR NOT NULL, 
	value JSON, 
	CONSTRAINT pk_settings PRIMARY KEY ("key")
);
INSERT INTO "settings" VALUES('card_lab','[48.1, 0.2, -0.4]');
CREATE INDEX ix_history_table_row_id ON history ("table", row_id);
CREATE INDEX ix_baths_dye_id ON baths (dye_id);
CREATE INDEX ix_batches_run_id ON batches (run_id);
CREATE INDEX ix_batches_replaces_id ON batches (replaces_id);
CREATE INDEX ix_photos_sha256 ON photos (sha256);
CREATE INDEX ix_photos_batch_id ON photos (batch_id);
CREATE INDEX ix_dips_dye_id ON dips (dye_id);
CREATE INDEX ix_dips_bath_id ON dips (bath_id);
CREATE INDEX ix_dips_batch_id ON dips (batch_id);
CREATE INDEX ix_rinses_batch_id ON rinses (batch_id);
CREATE INDEX ix_readings_batch_id ON readings (batch_id);
CREATE INDEX ix_readings_dip_id ON readings (dip_id);
CREATE INDEX ix_readings_photo_id ON readings (photo_id);
COMMIT;
