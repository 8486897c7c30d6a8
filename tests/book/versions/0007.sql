BEGIN TRANSACTION;
CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL, CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num));
INSERT INTO "alembic_version" VALUES('0007');
CREATE TABLE batches (
	run_id INTEGER, 
	replaces_id INTEGER, 
	order_id INTEGER, 
	jig VARCHAR, 
	jig_stripped_at VARCHAR, 
	dyed_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_batches PRIMARY KEY (id), 
	CONSTRAINT fk_batches_run_id FOREIGN KEY(run_id) REFERENCES runs (id), 
	CONSTRAINT fk_batches_replaces_id FOREIGN KEY(replaces_id) REFERENCES batches (id), 
	CONSTRAINT fk_batches_order_id FOREIGN KEY(order_id) REFERENCES orders (id)
);
INSERT INTO "batches" VALUES(1,NULL,1,'jig 2',NULL,'2026-03-28T14:30','first batch, 80 °F day',1,3,'2026-11-25T09:32:55.037Z','Ada',NULL);
CREATE TABLE bath_events (
	bath_id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	bath_volume_l DOUBLE, 
	dye_g_per_l DOUBLE, 
	ph DOUBLE, 
	bath_temp_c DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_bath_events PRIMARY KEY (id), 
	CONSTRAINT fk_bath_events_bath_id FOREIGN KEY(bath_id) REFERENCES baths (id)
);
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
INSERT INTO "baths" VALUES('Tank 1',1,NULL,NULL,1,1,'2026-11-25T09:32:54.989Z','Ada',NULL);
CREATE TABLE coupons (
	name VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	batch_id INTEGER, 
	steps JSON, 
	made_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_coupons PRIMARY KEY (id), 
	CONSTRAINT fk_coupons_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
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
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, wait_min DOUBLE, dye_lot VARCHAR, 
	CONSTRAINT pk_dips PRIMARY KEY (id), 
	CONSTRAINT fk_dips_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id), 
	CONSTRAINT fk_dips_dye_id FOREIGN KEY(dye_id) REFERENCES dyes (id), 
	CONSTRAINT fk_dips_bath_id FOREIGN KEY(bath_id) REFERENCES baths (id)
);
INSERT INTO "dips" VALUES(1,1,1,1,3.0,40.0,5.0,5.5,NULL,NULL,1,2,'2026-11-25T09:32:55.037Z','Ada',NULL,2.5,NULL);
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
INSERT INTO "dyes" VALUES('Harbour blue',NULL,1,1,'2026-11-25T09:32:54.980Z','Ada',NULL);
CREATE TABLE electrolyte_events (
	electrolyte_id INTEGER NOT NULL, 
	at VARCHAR NOT NULL, 
	kind VARCHAR NOT NULL, 
	bath_volume_l DOUBLE, 
	electrolyte_g_per_l DOUBLE, 
	dissolved_al_g_per_l DOUBLE, 
	chloride_mg_per_l DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_electrolyte_events PRIMARY KEY (id), 
	CONSTRAINT fk_electrolyte_events_electrolyte_id FOREIGN KEY(electrolyte_id) REFERENCES electrolytes (id)
);
CREATE TABLE electrolytes (
	name VARCHAR NOT NULL, 
	bath_volume_l DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_electrolytes PRIMARY KEY (id), 
	CONSTRAINT uq_electrolytes_name UNIQUE (name)
);
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
INSERT INTO "history" VALUES(1,'2026-11-25T09:32:55.060Z','Ada','dips',1,'correct','{"dwell_min": 4.0}','{"dwell_min": 5.0}');
INSERT INTO "history" VALUES(2,'2026-11-25T09:32:55.081Z','Ada','settings',NULL,'setting','{"card_lab": null}','{"card_lab": [48.1, 0.2, -0.4]}');
INSERT INTO "history" VALUES(3,'2026-11-25T09:32:55.097Z','Ada','batches',1,'correct','{"order_id": null, "jig": null}','{"order_id": 1, "jig": "jig 2"}');
INSERT INTO "history" VALUES(4,'2026-11-30T14:32:11.688Z','Ada','setups',1,'correct','{"twin_lab": null}','{"twin_lab": [80.4, -0.3, -0.9]}');
CREATE TABLE lots (
	product VARCHAR NOT NULL, 
	lot VARCHAR NOT NULL, 
	opened_on VARCHAR NOT NULL, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_lots PRIMARY KEY (id)
);
CREATE TABLE order_items (
	order_id INTEGER NOT NULL, 
	name VARCHAR NOT NULL, 
	pieces INTEGER, 
	area_dm2 DOUBLE, 
	alloy VARCHAR, 
	finish VARCHAR, 
	target_id INTEGER, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_order_items PRIMARY KEY (id), 
	CONSTRAINT fk_order_items_order_id FOREIGN KEY(order_id) REFERENCES orders (id), 
	CONSTRAINT fk_order_items_target_id FOREIGN KEY(target_id) REFERENCES targets (id)
);
CREATE TABLE orders (
	name VARCHAR NOT NULL, 
	customer VARCHAR, 
	words VARCHAR, 
	price DOUBLE, 
	currency VARCHAR, 
	due_on VARCHAR, 
	skin_contact BOOLEAN, 
	done_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_orders PRIMARY KEY (id), 
	CONSTRAINT uq_orders_name UNIQUE (name)
);
INSERT INTO "orders" VALUES('26-014','the ferry','like the old railing',NULL,NULL,NULL,0,NULL,NULL,1,1,'2026-11-25T09:32:55.088Z','Ada',NULL);
CREATE TABLE parts (
	batch_id INTEGER NOT NULL, 
	order_item_id INTEGER, 
	name VARCHAR, 
	jig_place VARCHAR, 
	pieces INTEGER, 
	area_dm2 DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, position INTEGER DEFAULT '1' NOT NULL, contact_marks VARCHAR, 
	CONSTRAINT pk_parts PRIMARY KEY (id), 
	CONSTRAINT fk_parts_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id), 
	CONSTRAINT fk_parts_order_item_id FOREIGN KEY(order_item_id) REFERENCES order_items (id)
);
INSERT INTO "parts" VALUES(1,NULL,NULL,'row 2, left',4,NULL,NULL,1,1,'2026-11-25T09:32:55.104Z','Ada',NULL,1,NULL);
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
CREATE TABLE preparations (
	run_id INTEGER NOT NULL, 
	position INTEGER DEFAULT '1' NOT NULL, 
	kind VARCHAR NOT NULL, 
	dwell_min DOUBLE, 
	bath_temp_c DOUBLE, 
	passed BOOLEAN, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_preparations PRIMARY KEY (id), 
	CONSTRAINT fk_preparations_run_id FOREIGN KEY(run_id) REFERENCES runs (id)
);
CREATE TABLE readings (
	batch_id INTEGER, 
	dip_id INTEGER, 
	part_id INTEGER, 
	coupon_id INTEGER, 
	sample_id INTEGER, 
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
	spectrum JSON, 
	read_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, error_parts JSON, setup_key VARCHAR, shape_key VARCHAR, finish VARCHAR, geometry VARCHAR, 
	CONSTRAINT pk_readings PRIMARY KEY (id), 
	CONSTRAINT fk_readings_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id), 
	CONSTRAINT fk_readings_dip_id FOREIGN KEY(dip_id) REFERENCES dips (id), 
	CONSTRAINT fk_readings_part_id FOREIGN KEY(part_id) REFERENCES parts (id), 
	CONSTRAINT fk_readings_coupon_id FOREIGN KEY(coupon_id) REFERENCES coupons (id), 
	CONSTRAINT fk_readings_sample_id FOREIGN KEY(sample_id) REFERENCES samples (id), 
	CONSTRAINT fk_readings_photo_id FOREIGN KEY(photo_id) REFERENCES photos (id)
);
INSERT INTO "readings" VALUES(1,NULL,NULL,NULL,NULL,NULL,'photo',NULL,41.5,3.25,-38.0,0.8,0.9,1.0,0.5,0.6,0.7,NULL,NULL,NULL,NULL,'[]','[]','[]',NULL,NULL,NULL,NULL,NULL,NULL,1,1,'2026-11-25T09:32:55.038Z','Ada',NULL,'{"camera": [[0.32, 0.0, 0.0], [0.0, 0.405, 0.0], [0.0, 0.0, 0.5]], "shape": [[0.16, 0.0, 0.0], [0.0, 0.2025, 0.0], [0.0, 0.0, 0.25]], "photo": [[0.08, 0.0, 0.0], [0.0, 0.10125, 0.0], [0.0, 0.0, 0.125]], "own": [[0.08, 0.0, 0.0], [0.0, 0.10125, 0.0], [0.0, 0.0, 0.125]]}','5d41402abc4b','flat','bead blasted',NULL);
CREATE TABLE rinses (
	batch_id INTEGER NOT NULL, 
	position INTEGER DEFAULT '1' NOT NULL, 
	kind VARCHAR, 
	rinse_temp_c DOUBLE, 
	dwell_min DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_rinses PRIMARY KEY (id), 
	CONSTRAINT fk_rinses_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
INSERT INTO "rinses" VALUES(1,1,NULL,18.0,NULL,NULL,1,1,'2026-11-25T09:32:55.038Z','Ada',NULL);
CREATE TABLE runs (
	film_um DOUBLE, 
	film_from_charge_um DOUBLE, 
	film_measured_um DOUBLE, 
	film_sd_um DOUBLE, 
	area_dm2 DOUBLE, 
	current_density_a_per_dm2 DOUBLE, 
	current_a DOUBLE, 
	voltage_v DOUBLE, 
	charge_ah DOUBLE, 
	anodise_min DOUBLE, 
	electrolyte_id INTEGER, 
	electrolyte_temp_c DOUBLE, 
	agitation VARCHAR, 
	cathode VARCHAR, 
	alloy VARCHAR, 
	finish VARCHAR, 
	trace JSON, 
	started_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_runs PRIMARY KEY (id), 
	CONSTRAINT fk_runs_electrolyte_id FOREIGN KEY(electrolyte_id) REFERENCES electrolytes (id)
);
INSERT INTO "runs" VALUES(12.0,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,'6061',NULL,NULL,NULL,NULL,1,1,'2026-11-25T09:32:54.990Z','Ada',NULL);
CREATE TABLE samples (
	order_id INTEGER, 
	name VARCHAR NOT NULL, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_samples PRIMARY KEY (id), 
	CONSTRAINT fk_samples_order_id FOREIGN KEY(order_id) REFERENCES orders (id)
);
CREATE TABLE seals (
	batch_id INTEGER NOT NULL, 
	position INTEGER DEFAULT '1' NOT NULL, 
	kind VARCHAR, 
	seal_temp_c DOUBLE, 
	dwell_min DOUBLE, 
	ph DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, seal_stain DOUBLE, 
	CONSTRAINT pk_seals PRIMARY KEY (id), 
	CONSTRAINT fk_seals_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
INSERT INTO "seals" VALUES(1,1,'hot_water',97.0,30.0,NULL,NULL,1,1,'2026-11-25T09:32:55.122Z','Ada',NULL,NULL);
CREATE TABLE settings (
	"key" VARCHAR NOT NULL, 
	value JSON, 
	CONSTRAINT pk_settings PRIMARY KEY ("key")
);
INSERT INTO "settings" VALUES('card_lab','[48.1, 0.2, -0.4]');
CREATE TABLE "setups" (
	"key" VARCHAR NOT NULL, 
	name VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	twin_lab JSON, 
	CONSTRAINT pk_setups PRIMARY KEY (id), 
	CONSTRAINT uq_setups_key UNIQUE ("key")
);
INSERT INTO "setups" VALUES('5d41402abc4b','window bench',NULL,1,2,'2026-11-25T09:32:55.037Z','Ada',NULL,'[80.4, -0.3, -0.9]');
CREATE TABLE "targets" (
	order_id INTEGER, 
	sample_id INTEGER, 
	name VARCHAR NOT NULL, 
	"L" DOUBLE NOT NULL, 
	a DOUBLE NOT NULL, 
	b DOUBLE NOT NULL, 
	tolerance_de00 DOUBLE, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	batch_id INTEGER, 
	CONSTRAINT pk_targets PRIMARY KEY (id), 
	CONSTRAINT fk_targets_order_id FOREIGN KEY(order_id) REFERENCES orders (id), 
	CONSTRAINT fk_targets_sample_id FOREIGN KEY(sample_id) REFERENCES samples (id), 
	CONSTRAINT fk_targets_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
INSERT INTO "targets" VALUES(1,NULL,'railing blue',41.0,3.0,-38.0,1.5,NULL,1,1,'2026-11-25T09:32:55.132Z','Ada',NULL,NULL);
CREATE TABLE tests (
	batch_id INTEGER NOT NULL, 
	kind VARCHAR NOT NULL, 
	method VARCHAR, 
	result VARCHAR, 
	rating DOUBLE, 
	passed BOOLEAN, 
	tested_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_tests PRIMARY KEY (id), 
	CONSTRAINT fk_tests_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id)
);
CREATE TABLE verdicts (
	batch_id INTEGER NOT NULL, 
	target_id INTEGER, 
	reading_id INTEGER, 
	verdict VARCHAR NOT NULL, 
	delta_e00 DOUBLE, 
	decided_at VARCHAR, 
	note VARCHAR, 
	id INTEGER NOT NULL, 
	version INTEGER DEFAULT '1' NOT NULL, 
	added_at VARCHAR NOT NULL, 
	added_by VARCHAR NOT NULL, 
	deleted_at VARCHAR, 
	CONSTRAINT pk_verdicts PRIMARY KEY (id), 
	CONSTRAINT fk_verdicts_batch_id FOREIGN KEY(batch_id) REFERENCES batches (id), 
	CONSTRAINT fk_verdicts_target_id FOREIGN KEY(target_id) REFERENCES targets (id), 
	CONSTRAINT fk_verdicts_reading_id FOREIGN KEY(reading_id) REFERENCES readings (id)
);
CREATE INDEX ix_history_table_row_id ON history ("table", row_id);
CREATE INDEX ix_electrolyte_events_electrolyte_id ON electrolyte_events (electrolyte_id);
CREATE INDEX ix_runs_electrolyte_id ON runs (electrolyte_id);
CREATE INDEX ix_baths_dye_id ON baths (dye_id);
CREATE INDEX ix_samples_order_id ON samples (order_id);
CREATE INDEX ix_preparations_run_id ON preparations (run_id);
CREATE INDEX ix_bath_events_bath_id ON bath_events (bath_id);
CREATE INDEX ix_batches_run_id ON batches (run_id);
CREATE INDEX ix_batches_replaces_id ON batches (replaces_id);
CREATE INDEX ix_batches_order_id ON batches (order_id);
CREATE INDEX ix_photos_sha256 ON photos (sha256);
CREATE INDEX ix_photos_batch_id ON photos (batch_id);
CREATE INDEX ix_dips_bath_id ON dips (bath_id);
CREATE INDEX ix_dips_dye_id ON dips (dye_id);
CREATE INDEX ix_dips_batch_id ON dips (batch_id);
CREATE INDEX ix_rinses_batch_id ON rinses (batch_id);
CREATE INDEX ix_seals_batch_id ON seals (batch_id);
CREATE INDEX ix_order_items_order_id ON order_items (order_id);
CREATE INDEX ix_order_items_target_id ON order_items (target_id);
CREATE INDEX ix_tests_batch_id ON tests (batch_id);
CREATE INDEX ix_coupons_batch_id ON coupons (batch_id);
CREATE INDEX ix_parts_order_item_id ON parts (order_item_id);
CREATE INDEX ix_parts_batch_id ON parts (batch_id);
CREATE INDEX ix_readings_part_id ON readings (part_id);
CREATE INDEX ix_readings_coupon_id ON readings (coupon_id);
CREATE INDEX ix_readings_photo_id ON readings (photo_id);
CREATE INDEX ix_readings_dip_id ON readings (dip_id);
CREATE INDEX ix_readings_batch_id ON readings (batch_id);
CREATE INDEX ix_readings_sample_id ON readings (sample_id);
CREATE INDEX ix_verdicts_reading_id ON verdicts (reading_id);
CREATE INDEX ix_verdicts_target_id ON verdicts (target_id);
CREATE INDEX ix_verdicts_batch_id ON verdicts (batch_id);
CREATE INDEX ix_readings_setup_key ON readings (setup_key);
CREATE INDEX ix_targets_sample_id ON targets (sample_id);
CREATE INDEX ix_targets_order_id ON targets (order_id);
CREATE INDEX ix_targets_batch_id ON targets (batch_id);
CREATE INDEX ix_lots_product ON lots (product);
COMMIT;
