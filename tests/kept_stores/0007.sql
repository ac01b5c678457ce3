BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0007');
CREATE TABLE attempts (
	id INTEGER NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	player_id INTEGER DEFAULT 1 NOT NULL, 
	practice_id INTEGER, 
	made_at DATETIME NOT NULL, 
	struck_at DATETIME, 
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
	set_up JSON, 
	called VARCHAR(20), 
	p_in FLOAT, 
	miss_mm FLOAT, 
	miss_x_mm FLOAT, 
	miss_y_mm FLOAT, 
	along_mm FLOAT, 
	across_mm FLOAT, 
	off_wanted_mm FLOAT, 
	stop_x_mm FLOAT, 
	stop_y_mm FLOAT, 
	wanted_x_mm FLOAT, 
	wanted_y_mm FLOAT, 
	arrival_from VARCHAR(8), 
	left_cut_deg FLOAT, 
	left_side VARCHAR(8), 
	hooked VARCHAR(8), 
	path_to_pocket VARCHAR(20), 
	frozen BOOLEAN, 
	reach VARCHAR(16), 
	potted_meant BOOLEAN, 
	scratch BOOLEAN, 
	zone_empty BOOLEAN, 
	pot_chance FLOAT, 
	pot_chance_given_up FLOAT, 
	shot VARCHAR(64), 
	CONSTRAINT pk_attempts PRIMARY KEY (id), 
	CONSTRAINT fk_attempts_table_id FOREIGN KEY(table_id) REFERENCES tables (id), 
	CONSTRAINT fk_attempts_player_id FOREIGN KEY(player_id) REFERENCES players (id), 
	CONSTRAINT fk_attempts_practice_id FOREIGN KEY(practice_id) REFERENCES practices (id), 
	CONSTRAINT uq_attempts_intent_id UNIQUE (intent_id), 
	CONSTRAINT fk_attempts_intent_id FOREIGN KEY(intent_id) REFERENCES intents (id), 
	CONSTRAINT fk_attempts_before_reading_id FOREIGN KEY(before_reading_id) REFERENCES readings (id), 
	CONSTRAINT fk_attempts_after_reading_id FOREIGN KEY(after_reading_id) REFERENCES readings (id)
);
INSERT INTO "attempts" VALUES(1,1,1,NULL,'2026-11-28 11:49:49.005773',NULL,1,1,2,'{"verdict": "out", "p_in": 0.0, "miss_mm": 1448.9653551290567, "miss_vector_mm": [1420.8363310439977, -284.12096147539853], "along_mm": null, "across_mm": null, "arrival": null, "cue_stop_mm": [2300.0, 200.0], "cut_deg": 146.3431759516347, "side": "left", "hooked": "no", "path_to_pocket": "open", "frozen": false, "reach": "hand", "potted": ["3"], "scratch": false, "pot_chance": 0.0, "pot_chance_given_up": 0.8957456708606908, "zone_empty": false, "warnings": ["no arrival line is known: the miss is not split along and across", "ball 4 cannot be cut to side-right from there: the cut is 146\u00b0"], "arrival_from": null, "arrival_range_deg": null, "outside_zone_mm": {"along_mm": null, "across_mm": null}, "from_wanted_mm": {"distance_mm": 1799.866293690059, "along_mm": null, "across_mm": null}, "wanted_mm": [668.157336231574, 959.3472169348862], "assumed": ["aim_spread_deg", "contact_error_mm", "throw_spread_deg", "firm_speed_mm_s", "bridge_spread_factor", "hand_back_mm", "hand_body_side_mm", "hand_off_side_mm", "bridge_back_mm", "bridge_body_side_mm", "bridge_off_side_mm"]}',NULL,NULL,1.39105143168069253077e+03,3.11901810229535614293e-01,NULL,'draw',NULL,NULL,'{"format": "restmark-player", "version": 1, "handedness": "right", "hand_back_mm": 1125.0, "hand_body_side_mm": 750.0, "hand_off_side_mm": 300.0, "bridge_back_mm": 2000.0, "bridge_body_side_mm": 900.0, "bridge_off_side_mm": 600.0, "shaft_radius_mm": 6.5, "elevation_limit_deg": 15.0, "aim_spread_deg": 0.1, "contact_error_mm": 0.8, "throw_spread_deg": 0.5, "firm_speed_mm_s": 4000.0, "bridge_spread_factor": 1.5, "speed_spread": 0.15, "line_spread_deg": 3.0, "measured": []}','starting values',NULL,'out',0.0,1.44896535512905666109e+03,1.42083633104399768851e+03,-2.84120961475398530627e+02,NULL,NULL,1.79986629369005891017e+03,2300.0,200.0,668.157336231574,9.59347216934886205287e+02,NULL,1.46343175951634691493e+02,'left','no','open',0,'hand',1,0,0,0.0,8.95745670860690790249e-01,'763d0eb66962b94b30bdc9c3b2c7bbf059bfb46808c8fe0dbcb9fb33a97860b9');
CREATE TABLE calibrations (
	id INTEGER NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	camera TEXT DEFAULT 'overhead' NOT NULL, 
	set_at DATETIME NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_calibrations PRIMARY KEY (id), 
	CONSTRAINT fk_calibrations_table_id FOREIGN KEY(table_id) REFERENCES tables (id)
);
INSERT INTO "calibrations" VALUES(1,1,'overhead','2026-11-28 11:49:47.360978','{"format": "restmark-table", "version": 1, "head": "left", "scale_source": "exact", "warnings": [], "notices": [], "budget": null, "table": {"length_mm": 2540.0, "width_mm": 1270.0, "corner_mouth_mm": 114.3, "side_mouth_mm": 127.0, "corner_shelf_mm": 41.3, "side_shelf_mm": 4.8, "corner_cut_deg": 142.0, "side_cut_deg": 104.0, "nose_height_mm": 36.3, "rail_cap_height_mm": 44.0, "sight_offset_mm": 93.7, "rail_width_mm": 140.0, "cushion_width_mm": 50.0}, "camera": {"image_size_px": [640, 360], "fx_px": 530.0, "fy_px": 530.0, "cx_px": 319.5, "cy_px": 179.5, "distortion": [0.0, 0.0, 0.0, 0.0, 0.0], "rvec": [3.141592653589793, 0.0, 0.0], "tvec_mm": [-1270.0, 635.0, 2600.0]}, "parameter_names": [], "parameter_cov": [], "residuals": [], "rail_marks": [], "bed_picture": null, "proof": null}');
CREATE TABLE changes (
	id INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	kind VARCHAR(32) NOT NULL, 
	attempt_id INTEGER, 
	"before" JSON, 
	"after" JSON, 
	undone_at DATETIME, 
	CONSTRAINT pk_changes PRIMARY KEY (id), 
	CONSTRAINT fk_changes_table_id FOREIGN KEY(table_id) REFERENCES tables (id), 
	CONSTRAINT fk_changes_attempt_id FOREIGN KEY(attempt_id) REFERENCES attempts (id)
);
INSERT INTO "changes" VALUES(1,'2026-11-28 11:49:49.804110',1,'note',1,'{"spin": null, "side_spin": null, "rails": null, "in_a_row": null}','{"spin": "draw", "side_spin": null, "rails": null, "in_a_row": null}',NULL);
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
CREATE TABLE events (
	id INTEGER NOT NULL, 
	at DATETIME NOT NULL, 
	table_id INTEGER, 
	kind VARCHAR(32) NOT NULL, 
	ids JSON NOT NULL, 
	CONSTRAINT pk_events PRIMARY KEY (id), 
	CONSTRAINT fk_events_table_id FOREIGN KEY(table_id) REFERENCES tables (id)
);
INSERT INTO "events" VALUES(1,'2026-11-28 11:49:47.420607',1,'calibration','{"calibration_id": 1}');
INSERT INTO "events" VALUES(2,'2026-11-28 11:49:48.093790',1,'reading','{"reading_id": 1, "attempt_id": null}');
INSERT INTO "events" VALUES(3,'2026-11-28 11:49:48.647801',1,'intent','{"intent_id": 1}');
INSERT INTO "events" VALUES(4,'2026-11-28 11:49:49.005773',1,'attempt','{"reading_id": 2, "attempt_id": 1}');
INSERT INTO "events" VALUES(5,'2026-11-28 11:49:49.964965',1,'note','{"attempt_id": 1}');
INSERT INTO "events" VALUES(6,'2026-11-28 11:49:50.103441',1,'reading','{"reading_id": 3, "attempt_id": null}');
INSERT INTO "events" VALUES(7,'2026-11-28 11:49:50.481260',1,'intent','{"intent_id": 3}');
CREATE TABLE guides (
	table_id INTEGER NOT NULL, 
	set_at DATETIME NOT NULL, 
	layout JSON NOT NULL, 
	layout_id INTEGER, 
	tolerance_mm FLOAT NOT NULL, 
	CONSTRAINT pk_guides PRIMARY KEY (table_id), 
	CONSTRAINT fk_guides_table_id FOREIGN KEY(table_id) REFERENCES tables (id), 
	CONSTRAINT fk_guides_layout_id FOREIGN KEY(layout_id) REFERENCES layouts (id)
);
CREATE TABLE intents (
	id INTEGER NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	player_id INTEGER DEFAULT 1 NOT NULL, 
	practice_id INTEGER, 
	set_at DATETIME NOT NULL, 
	before_reading_id INTEGER NOT NULL, 
	state VARCHAR(16) NOT NULL, 
	document JSON NOT NULL, 
	waits_for JSON, 
	given_by VARCHAR(8) DEFAULT 'person' NOT NULL, 
	CONSTRAINT pk_intents PRIMARY KEY (id), 
	CONSTRAINT fk_intents_table_id FOREIGN KEY(table_id) REFERENCES tables (id), 
	CONSTRAINT fk_intents_player_id FOREIGN KEY(player_id) REFERENCES players (id), 
	CONSTRAINT fk_intents_practice_id FOREIGN KEY(practice_id) REFERENCES practices (id), 
	CONSTRAINT fk_intents_before_reading_id FOREIGN KEY(before_reading_id) REFERENCES readings (id)
);
INSERT INTO "intents" VALUES(1,1,1,NULL,'2026-11-28 11:49:48.516798',1,'scored','{"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right", "cut_deg": [5.0, 60.0], "distance_mm": [150.0, 1200.0]}',NULL,'person');
INSERT INTO "intents" VALUES(2,1,1,NULL,'2026-11-28 11:49:50.103441',3,'withdrawn','{"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right", "cut_deg": [5.0, 60.0], "distance_mm": [150.0, 1200.0]}','{"still": "reading 1", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 1500.0, "y_mm": 400.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "3", "x_mm": 2100.0, "y_mm": 900.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}','layout');
INSERT INTO "intents" VALUES(3,1,1,NULL,'2026-11-28 11:49:50.371793',3,'pending','{"pot": "3", "pocket": "foot-left", "next": "4", "next_pocket": "side-right", "cut_deg": [5.0, 60.0], "distance_mm": [150.0, 1200.0]}',NULL,'person');
CREATE TABLE layout_tags (
	layout_id INTEGER NOT NULL, 
	tag VARCHAR(100) NOT NULL, 
	CONSTRAINT pk_layout_tags PRIMARY KEY (layout_id, tag), 
	CONSTRAINT fk_layout_tags_layout_id FOREIGN KEY(layout_id) REFERENCES layouts (id)
);
CREATE TABLE layouts (
	id INTEGER NOT NULL, 
	title TEXT NOT NULL, 
	note TEXT NOT NULL, 
	made_at DATETIME NOT NULL, 
	changed_at DATETIME NOT NULL, 
	struck_at DATETIME, 
	reading_id INTEGER, 
	layout JSON NOT NULL, 
	CONSTRAINT pk_layouts PRIMARY KEY (id), 
	CONSTRAINT fk_layouts_reading_id FOREIGN KEY(reading_id) REFERENCES readings (id)
);
CREATE TABLE plans (
	id INTEGER NOT NULL, 
	title TEXT NOT NULL, 
	made_at DATETIME NOT NULL, 
	changed_at DATETIME NOT NULL, 
	struck_at DATETIME, 
	document JSON NOT NULL, 
	CONSTRAINT pk_plans PRIMARY KEY (id)
);
CREATE TABLE player_settings (
	id INTEGER NOT NULL, 
	player_id INTEGER DEFAULT 1 NOT NULL, 
	set_at DATETIME NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_player_settings PRIMARY KEY (id), 
	CONSTRAINT fk_player_settings_player_id FOREIGN KEY(player_id) REFERENCES players (id)
);
CREATE TABLE players (
	id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	made_at DATETIME NOT NULL, 
	CONSTRAINT pk_players PRIMARY KEY (id)
);
INSERT INTO "players" VALUES(1,'Player 1','2026-11-28 11:49:43.446934');
CREATE TABLE practices (
	id INTEGER NOT NULL, 
	table_id INTEGER NOT NULL, 
	player_id INTEGER NOT NULL, 
	began_at DATETIME NOT NULL, 
	finished_at DATETIME, 
	title TEXT NOT NULL, 
	way JSON NOT NULL, 
	plan_id INTEGER, 
	CONSTRAINT pk_practices PRIMARY KEY (id), 
	CONSTRAINT fk_practices_table_id FOREIGN KEY(table_id) REFERENCES tables (id), 
	CONSTRAINT fk_practices_player_id FOREIGN KEY(player_id) REFERENCES players (id), 
	CONSTRAINT fk_practices_plan_id FOREIGN KEY(plan_id) REFERENCES plans (id)
);
CREATE TABLE readings (
	id INTEGER NOT NULL, 
	still_id INTEGER NOT NULL, 
	calibration_id INTEGER NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	live BOOLEAN DEFAULT 1 NOT NULL, 
	read_at DATETIME NOT NULL, 
	took_ms FLOAT NOT NULL, 
	comparable BOOLEAN NOT NULL, 
	layout JSON NOT NULL, 
	comparison JSON, 
	set_id INTEGER, 
	weights VARCHAR(64), 
	software VARCHAR(64), 
	outcome JSON, 
	CONSTRAINT pk_readings PRIMARY KEY (id), 
	CONSTRAINT fk_readings_still_id FOREIGN KEY(still_id) REFERENCES stills (id), 
	CONSTRAINT fk_readings_calibration_id FOREIGN KEY(calibration_id) REFERENCES calibrations (id), 
	CONSTRAINT fk_readings_table_id FOREIGN KEY(table_id) REFERENCES tables (id), 
	CONSTRAINT fk_readings_set_id FOREIGN KEY(set_id) REFERENCES sets (id)
);
INSERT INTO "readings" VALUES(1,1,1,1,1,'2026-11-28 11:49:48.093790',83.2,1,'{"still": "before.jpg", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 1500.0, "y_mm": 400.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "3", "x_mm": 2100.0, "y_mm": 900.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}',NULL,NULL,NULL,'0.1.0',NULL);
INSERT INTO "readings" VALUES(2,2,1,1,1,'2026-11-28 11:49:49.005773',2.3,1,'{"still": "after.jpg", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 2300.0, "y_mm": 200.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}','{"made": true}',NULL,NULL,'0.1.0','{"event": "shot", "balls": ["cue", "3"], "detail": "ball 3 potted", "doubtful": false, "warnings": [], "nudged": [], "pockets": [{"ball": "3", "pocket": "foot-left", "share": 1.0}], "potted": ["3"], "scratch": false}');
INSERT INTO "readings" VALUES(3,3,1,1,1,'2026-11-28 11:49:50.103441',1.9,1,'{"still": "next.jpg", "surface_mm": [2540.0, 1270.0], "settled": true, "obstructed": false, "balls": [{"id": "cue", "x_mm": 1500.0, "y_mm": 400.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "3", "x_mm": 2100.0, "y_mm": 900.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "4", "x_mm": 900.0, "y_mm": 300.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}, {"id": "9", "x_mm": 300.0, "y_mm": 1000.0, "cov_mm2": [[0.1, 0.02], [0.02, 0.2]], "confidence": 1.0, "doubtful": false}], "hidden_mm": [], "warnings": [], "notices": []}',NULL,NULL,NULL,'0.1.0','{"event": "set_up", "balls": ["cue", "3", "4", "9"], "detail": "set up again as reading 1, the farthest ball 0 mm off", "doubtful": false, "warnings": [], "repeats": "before.jpg", "set_up_off_mm": {"cue": 0.0, "3": 0.0, "4": 0.0, "9": 0.0}, "repeats_reading_id": 1}');
CREATE TABLE receipts (
	"key" TEXT NOT NULL, 
	fingerprint VARCHAR(64) NOT NULL, 
	given_at DATETIME NOT NULL, 
	body JSON NOT NULL, 
	CONSTRAINT pk_receipts PRIMARY KEY ("key")
);
CREATE TABLE sets (
	id INTEGER NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	taught_at DATETIME NOT NULL, 
	document JSON NOT NULL, 
	CONSTRAINT pk_sets PRIMARY KEY (id), 
	CONSTRAINT fk_sets_table_id FOREIGN KEY(table_id) REFERENCES tables (id)
);
CREATE TABLE stills (
	id INTEGER NOT NULL, 
	table_id INTEGER DEFAULT 1 NOT NULL, 
	source VARCHAR(16) DEFAULT 'posted' NOT NULL, 
	received_at DATETIME NOT NULL, 
	name TEXT NOT NULL, 
	media_type TEXT NOT NULL, 
	sha256 VARCHAR(64) NOT NULL, 
	size_bytes INTEGER NOT NULL, 
	CONSTRAINT pk_stills PRIMARY KEY (id), 
	CONSTRAINT fk_stills_table_id FOREIGN KEY(table_id) REFERENCES tables (id)
);
INSERT INTO "stills" VALUES(1,1,'posted','2026-11-28 11:49:48.093790','before.jpg','image/jpeg','540afcbaf1a4eb1777a5da94ffb7f607e9c2a992e2d8534de6e44ec0df99be1e',4945);
INSERT INTO "stills" VALUES(2,1,'posted','2026-11-28 11:49:49.005773','after.jpg','image/jpeg','59e0ed6c56c5df112c0c08ee2fe9919d94f84dd55e9c7e95ef557cd590f33e91',4826);
INSERT INTO "stills" VALUES(3,1,'posted','2026-11-28 11:49:50.103441','next.jpg','image/jpeg','e7fec6b6e8463d5499eeb48bf77a07fbc7e449b399f12132b8de4d7b6be8184e',4947);
CREATE TABLE tables (
	id INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	made_at DATETIME NOT NULL, 
	player_id INTEGER NOT NULL, 
	CONSTRAINT pk_tables PRIMARY KEY (id), 
	CONSTRAINT fk_tables_player_id FOREIGN KEY(player_id) REFERENCES players (id)
);
INSERT INTO "tables" VALUES(1,'Table 1','2026-11-28 11:49:43.446934',1);
CREATE TABLE watches (
	table_id INTEGER NOT NULL, 
	set_at DATETIME NOT NULL, 
	source TEXT NOT NULL, 
	CONSTRAINT pk_watches PRIMARY KEY (table_id), 
	CONSTRAINT fk_watches_table_id FOREIGN KEY(table_id) REFERENCES tables (id)
);
CREATE INDEX ix_player_settings_player_id ON player_settings (player_id);
CREATE INDEX ix_calibrations_table_id ON calibrations (table_id);
CREATE INDEX ix_sets_table_id ON sets (table_id);
CREATE UNIQUE INDEX uq_practices_open ON practices (table_id) WHERE finished_at IS NULL;
CREATE INDEX ix_practices_player_id ON practices (player_id);
CREATE INDEX ix_practices_plan_id ON practices (plan_id);
CREATE INDEX ix_stills_table_id ON stills (table_id);
CREATE INDEX ix_stills_sha256 ON stills (sha256);
CREATE INDEX ix_readings_still_id ON readings (still_id);
CREATE INDEX ix_readings_set_id ON readings (set_id);
CREATE INDEX ix_readings_calibration_id ON readings (calibration_id);
CREATE INDEX ix_readings_table_id ON readings (table_id, live, id);
CREATE INDEX ix_layouts_reading_id ON layouts (reading_id);
CREATE INDEX ix_intents_practice_id ON intents (practice_id);
CREATE UNIQUE INDEX uq_intents_pending ON intents (table_id) WHERE state = 'pending';
CREATE INDEX ix_intents_before_reading_id ON intents (before_reading_id);
CREATE INDEX ix_corrections_reading_id ON corrections (reading_id);
CREATE INDEX ix_layout_tags_tag ON layout_tags (tag);
CREATE INDEX ix_guides_layout_id ON guides (layout_id);
CREATE INDEX ix_attempts_table_id ON attempts (table_id, id);
CREATE INDEX ix_attempts_before_reading_id ON attempts (before_reading_id);
CREATE INDEX ix_attempts_after_reading_id ON attempts (after_reading_id);
CREATE INDEX ix_attempts_practice_id ON attempts (practice_id);
CREATE INDEX ix_attempts_player_id ON attempts (player_id, made_at);
CREATE INDEX ix_changes_attempt_id ON changes (attempt_id);
CREATE INDEX ix_changes_table_id ON changes (table_id, undone_at, id);
COMMIT;
