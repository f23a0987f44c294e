-- Broods, adults, samples; results, decisions and baths, which are only ever added; edits.

CREATE TABLE broods (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL CHECK (name <> ''),
    source TEXT NOT NULL CHECK (source IN ('egg', 'caterpillar', 'mixed')),
    kept_apart INTEGER CHECK (kept_apart IN (0, 1)),
    place TEXT,
    collected_on TEXT,
    bathed INTEGER CHECK (bathed IN (0, 1)),
    plant TEXT,
    plant_place TEXT,
    plant_washed INTEGER CHECK (plant_washed IN (0, 1)),
    eggs INTEGER CHECK (eggs >= 0),
    hatched INTEGER CHECK (hatched >= 0),
    pupated INTEGER CHECK (pupated >= 0),
    emerged INTEGER CHECK (emerged >= 0),
    notes TEXT,
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX broods_by_name ON broods (name);

CREATE TABLE adults (
    id TEXT NOT NULL PRIMARY KEY,
    identity TEXT NOT NULL CHECK (identity <> ''),
    brood_id TEXT REFERENCES broods (id),
    sex TEXT CHECK (sex IN ('female', 'male')),
    emerged_on TEXT,
    wings TEXT,
    notes TEXT,
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX adults_by_identity ON adults (identity);
CREATE INDEX adults_by_brood ON adults (brood_id);

CREATE TABLE samples (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL CHECK (name <> ''),
    adult_id TEXT REFERENCES adults (id),
    taken_on TEXT,
    notes TEXT,
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX samples_by_name ON samples (name);
CREATE INDEX samples_by_adult ON samples (adult_id);

CREATE TABLE results (
    id TEXT NOT NULL PRIMARY KEY,
    sample_id TEXT NOT NULL REFERENCES samples (id),
    made_at TEXT NOT NULL,
    status TEXT,
    reason TEXT,
    photos INTEGER NOT NULL CHECK (photos >= 0),
    examined_mm2 REAL CHECK (examined_mm2 >= 0),
    spores INTEGER CHECK (spores >= 0),
    spores_low REAL CHECK (spores_low >= 0),
    spores_high REAL CHECK (spores_high >= 0),
    tape_mm2 REAL CHECK (tape_mm2 > 0),
    tape_spores REAL CHECK (tape_spores >= 0),
    tape_low REAL CHECK (tape_low >= 0),
    tape_high REAL CHECK (tape_high >= 0),
    p_class_0 REAL CHECK (p_class_0 BETWEEN 0 AND 1),
    p_class_1 REAL CHECK (p_class_1 BETWEEN 0 AND 1),
    p_class_2 REAL CHECK (p_class_2 BETWEEN 0 AND 1),
    p_class_3 REAL CHECK (p_class_3 BETWEEN 0 AND 1),
    p_class_4 REAL CHECK (p_class_4 BETWEEN 0 AND 1),
    p_class_5 REAL CHECK (p_class_5 BETWEEN 0 AND 1),
    load_class INTEGER CHECK (load_class >= 0),
    decision TEXT,
    more_fields INTEGER CHECK (more_fields >= 0),
    um_per_px REAL CHECK (um_per_px > 0),
    scale_source TEXT,
    version TEXT NOT NULL,
    settings TEXT,
    further TEXT,
    content_sha256 TEXT NOT NULL
) STRICT;
CREATE INDEX results_by_sample ON results (sample_id, made_at);

CREATE TABLE photos (
    id TEXT NOT NULL PRIMARY KEY,
    result_id TEXT NOT NULL REFERENCES results (id),
    photo TEXT NOT NULL,
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    um_per_px REAL CHECK (um_per_px > 0),
    scale_source TEXT
) STRICT;
CREATE INDEX photos_by_result ON photos (result_id);
CREATE INDEX photos_by_hash ON photos (sha256);

CREATE TABLE decisions (
    id TEXT NOT NULL PRIMARY KEY,
    sample_id TEXT NOT NULL REFERENCES samples (id),
    result_id TEXT REFERENCES results (id),
    words TEXT NOT NULL CHECK (words <> ''),
    who TEXT NOT NULL CHECK (who <> ''),
    decided_at TEXT NOT NULL
) STRICT;
CREATE INDEX decisions_by_sample ON decisions (sample_id, decided_at);

CREATE TABLE baths (
    id TEXT NOT NULL PRIMARY KEY,
    brood_id TEXT REFERENCES broods (id),
    bathed_at TEXT,
    label_percent REAL CHECK (label_percent > 0 AND label_percent <= 100),
    percent_by_volume REAL CHECK (percent_by_volume > 0 AND percent_by_volume <= 100),
    product_ml REAL CHECK (product_ml > 0),
    water_ml REAL CHECK (water_ml >= 0),
    planned_s REAL CHECK (planned_s > 0),
    real_s REAL CHECK (real_s >= 0),
    rinsed INTEGER CHECK (rinsed IN (0, 1)),
    notes TEXT,
    added_at TEXT NOT NULL
) STRICT;
CREATE INDEX baths_by_brood ON baths (brood_id);

CREATE TABLE edits (
    id TEXT NOT NULL PRIMARY KEY,
    table_name TEXT NOT NULL,
    row_id TEXT NOT NULL,
    field TEXT NOT NULL,
    old TEXT,
    new TEXT,
    edited_at TEXT NOT NULL,
    who TEXT
) STRICT;
CREATE INDEX edits_by_row ON edits (table_name, row_id, field);

CREATE TRIGGER results_stay BEFORE UPDATE ON results
BEGIN SELECT RAISE(ABORT, 'a result is never overwritten'); END;
CREATE TRIGGER results_remain BEFORE DELETE ON results
BEGIN SELECT RAISE(ABORT, 'a result is never deleted'); END;
CREATE TRIGGER photos_stay BEFORE UPDATE ON photos
BEGIN SELECT RAISE(ABORT, 'a photo of a result is never overwritten'); END;
CREATE TRIGGER photos_remain BEFORE DELETE ON photos
BEGIN SELECT RAISE(ABORT, 'a photo of a result is never deleted'); END;
CREATE TRIGGER decisions_stay BEFORE UPDATE ON decisions
BEGIN SELECT RAISE(ABORT, 'a decision is never overwritten'); END;
CREATE TRIGGER decisions_remain BEFORE DELETE ON decisions
BEGIN SELECT RAISE(ABORT, 'a decision is never deleted'); END;
CREATE TRIGGER baths_stay BEFORE UPDATE ON baths
BEGIN SELECT RAISE(ABORT, 'a bath is never overwritten'); END;
CREATE TRIGGER baths_remain BEFORE DELETE ON baths
BEGIN SELECT RAISE(ABORT, 'a bath is never deleted'); END;
CREATE TRIGGER edits_stay BEFORE UPDATE ON edits
BEGIN SELECT RAISE(ABORT, 'an edit is never overwritten'); END;
CREATE TRIGGER edits_remain BEFORE DELETE ON edits
BEGIN SELECT RAISE(ABORT, 'an edit is never deleted'); END;
