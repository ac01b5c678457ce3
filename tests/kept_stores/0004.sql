BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0004');
CREATE TABLE "attempts" (
	id INTEGER NOT NULL, 
	made_at DATETIME NOT NULL, 
	intent_id INTEGER NOT NULL, 
	before_reading_id INTEGER NOT NULL, 
	after_reading_id INTEGER NOT NULL, 
	verdict JSON NOT NULL, 
	offset_along_mm FLOAT, 
	offset_across_mm FLOAT, 
	travel_mm FLOAT, 
	cut_deg FLOAT, 
	rails INTEGER, 
	spin VARCHAR(16), 
	side_spin VARCHAR(16), 
	in_a_row INTEGER, 
	player JSON NOT NULL, 
	player_source VARCHAR(16) NOT NULL, 
	CONSTRAINT pk_attempts PRIMARY KEY (id), 
	CONSTRAINT uq_attempts_intent_id UNIQUE (intent_id), 
	CONSTRAINT fk_attempts_intent_id FOREIGN KEY(intent_id) REFERENCES intents (id), 
	CONSTRAINT fk_attempts_before_reading_id FOREIGN KEY(before_reading_id) REFERENCES readings (id), 
	CONSTRAINT fk_attempts_after_reading_id FOREIGN KEY(after_reading_id) REFERENCES readings (id)
);
INSERT INTO "attempts" VALUES(1,'2026-09-01 19:30:00.000000',1,1,2,'{"verdict": "out", "p_in": 0.0, "miss_mm": 1448.9653551290567, "miss_vector_mm": [1420.8363310439977, -284.12096147539853], "along_mm": null, "across_mm": null, "arrival": null, "cue_stop_mm": [2300.0, 200.0], "cut_deg": 146.3431759516347, "side": "left", "hooked": "no", "path_to_pocket": "open", "frozen": false, "reach": "hand", "potted": ["3"], "scratch": false, "pot_chance": 0.0, "pot_chance_given_up": 0.8957456708606908, "zone_empty": false, "warnings": ["no arrival line is known: the miss is not split along and across", "ball 4 cannot be cut to side-right from there: the cut is 146\u00b0"], "arrival_from": null, "arrival_range_deg": null, "outside_zone_mm": {"along_mm": null, "across_mm": null}, "from_wanted_mm": {"distance_mm": 1799.866293690059, "along_mm": null, "across_mm": null}, "wanted_mm": [668.157336231574, 959.3472169348862], "assumed": ["aim_spread_deg", "contact_error_mm", "throw_spread_deg", "firm_speed_mm_s", "bridge_spread_factor", "hand_back_mm", "hand_body_side_mm", "hand_off_side_mm", "bridge_back_mm", "bridge_body_side_mm", "bridge_off_side_mm"]}',NULL,NULL,800.0,NULL,NULL,'draw',NULL,NULL,'{"format": "restmark-player", "version": 1, "hand_back_mm": 900.0}','given');
CREATE TABLE calibrations (
	id INTEGER NOT NULL, 
	set_at DATETIME NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_calibrations PRIMARY KEY (id)
);
INSERT INTO "calibrations" VALUES(1,'2026-09-01 19:30:00.000000','{"format": "restmark-table", "version": 1, "head": "left", "scale_source": "exact", "warnings": [], "notices": [], "budget": null, "table": {"length_mm": 2540.0, "width_mm": 1270.0, "corner_mouth_mm": 114.3, "side_mouth_mm": 127.0, "corner_shelf_mm": 41.3, "side_shelf_mm": 4.8, "corner_cut_deg": 142.0, "side_cut_deg": 104.0, "nose_height_mm": 36.3, "rail_cap_height_mm": 44.0, "sight_offset_mm": 93.7, "rail_width_mm": 140.0, "cushion_width_mm": 50.0}, "camera": {"image_size_px": [640, 360], "fx_px": 530.0, "fy_px": 530.0, "cx_px": 319.5, "cy_px": 179.5, "distortion": [0.0, 0.0, 0.0, 0.0, 0.0], "rvec": [3.141592653589793, 0.0, 0.0], "tvec_mm": [-1270.0, 635.0, 2600.0]}, "parameter_names": [], "parameter_cov": [], "residuals": [], "rail_marks": [], "bed_picture": null, "proof": null}');
CREATE TABLE corrections (
	id INTEGER NOT NULL, 
	made_at DATETIME NOT NULL, 
	reading_id INTEGER NOT NULL, 
	set_id INTEGER, 
	names JSON NOT NULL, 
	layout_before JSON NOT NULL, 
	CONSTRAINT pk_corrections PRIMARY KEY (id), 
	CONSTRAINT fk_corrections_reading_id FOREIGN KEY(reading_id) REFERENCES readings (id), 
	CONSTRAINT fk_corrections_set_id FOREIGN KEY(set_id) REFERENCES sets (id)
);
INSERT INTO "corrections" VALUES(1,'2026-09-01 19:30:00.000000',3,1,'[]','{"still": "", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 1500.0, "y_mm": 400.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "3", "x_mm": 2100.0, "y_mm": 900.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}');
CREATE TABLE intents (
	id INTEGER NOT NULL, 
	set_at DATETIME NOT NULL, 
	before_reading_id INTEGER NOT NULL, 
	state VARCHAR(16) NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_intents PRIMARY KEY (id), 
	CONSTRAINT fk_intents_before_reading_id FOREIGN KEY(before_reading_id) REFERENCES readings (id)
);
INSERT INTO "intents" VALUES(1,'2026-09-01 19:30:00.000000',1,'scored','{"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right", "cut_deg": [5, 60], "distance_mm": [150, 1200]}');
INSERT INTO "intents" VALUES(2,'2026-09-01 19:30:00.000000',3,'pending','{"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right", "cut_deg": [5, 60], "distance_mm": [150, 1200]}');
CREATE TABLE players (
	id INTEGER NOT NULL, 
	set_at DATETIME NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_players PRIMARY KEY (id)
);
INSERT INTO "players" VALUES(1,'2026-09-01 19:30:00.000000','{"format": "restmark-player", "version": 1, "hand_back_mm": 900.0}');
CREATE TABLE readings (
	id INTEGER NOT NULL, 
	still_id INTEGER NOT NULL, 
	calibration_id INTEGER NOT NULL, 
	read_at DATETIME NOT NULL, 
	took_ms FLOAT NOT NULL, 
	comparable BOOLEAN NOT NULL, 
	layout JSON NOT NULL, 
	comparison JSON, 
	CONSTRAINT pk_readings PRIMARY KEY (id), 
	CONSTRAINT fk_readings_still_id FOREIGN KEY(still_id) REFERENCES stills (id), 
	CONSTRAINT fk_readings_calibration_id FOREIGN KEY(calibration_id) REFERENCES calibrations (id)
);
INSERT INTO "readings" VALUES(1,1,1,'2026-09-01 19:30:00.000000',12.5,1,'{"still": "0.jpg", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 1500.0, "y_mm": 400.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "3", "x_mm": 2100.0, "y_mm": 900.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}',NULL);
INSERT INTO "readings" VALUES(2,2,1,'2026-09-01 19:30:00.000000',12.5,1,'{"still": "1.jpg", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 2300.0, "y_mm": 200.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}',NULL);
INSERT INTO "readings" VALUES(3,3,1,'2026-09-01 20:30:00.000000',12.5,1,'{"still": "2.jpg", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 1500.0, "y_mm": 400.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "3", "x_mm": 2100.0, "y_mm": 900.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}',NULL);
CREATE TABLE receipts (
	"key" TEXT NOT NULL, 
	fingerprint VARCHAR(64) NOT NULL, 
	given_at DATETIME NOT NULL, 
	body JSON NOT NULL, 
	CONSTRAINT pk_receipts PRIMARY KEY ("key")
);
INSERT INTO "receipts" VALUES('a','b','2026-09-01 19:30:00.000000','{}');
CREATE TABLE sets (
	id INTEGER NOT NULL, 
	taught_at DATETIME NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_sets PRIMARY KEY (id)
);
INSERT INTO "sets" VALUES(1,'2026-09-01 19:30:00.000000','{"looks": []}');
CREATE TABLE stills (
	id INTEGER NOT NULL, 
	received_at DATETIME NOT NULL, 
	name TEXT NOT NULL, 
	media_type TEXT NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	size_bytes INTEGER NOT NULL, 
	CONSTRAINT pk_stills PRIMARY KEY (id)
);
INSERT INTO "stills" VALUES(1,'2026-09-01 19:30:00.000000','0.jpg','image/jpeg','0000000000000000000000000000000000000000000000000000000000000000',4);
INSERT INTO "stills" VALUES(2,'2026-09-01 19:30:00.000000','1.jpg','image/jpeg','0000000000000000000000000000000000000000000000000000000000000000',4);
INSERT INTO "stills" VALUES(3,'2026-09-01 20:30:00.000000','2.jpg','image/jpeg','0000000000000000000000000000000000000000000000000000000000000000',4);
CREATE INDEX ix_stills_sha256 ON stills (sha256);
CREATE INDEX ix_readings_still_id ON readings (still_id);
CREATE INDEX ix_readings_calibration_id ON readings (calibration_id);
CREATE INDEX ix_intents_before_reading_id ON intents (before_reading_id);
CREATE UNIQUE INDEX uq_intents_pending ON intents (state) WHERE state = 'pending';
CREATE INDEX ix_corrections_reading_id ON corrections (reading_id);
CREATE INDEX ix_attempts_before_reading_id ON attempts (before_reading_id);
CREATE INDEX ix_attempts_after_reading_id ON attempts (after_reading_id);
COMMIT;
