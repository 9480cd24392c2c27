"""The tables and views of the ledger that keep what came of scans and prints; README.md describes the views.

In a view that groups, SQLite takes the plain columns from the row that has the maximum (its documentation of SELECT).
Jobs that were finished before these tables were made wait in `unrecorded` until their reports have been looked for.
"""

HISTORY = """
CREATE TABLE scans (
    job INTEGER PRIMARY KEY REFERENCES jobs (id),
    part TEXT NOT NULL,
    attempt INTEGER NOT NULL,
    finished_at TEXT NOT NULL,
    verdict TEXT NOT NULL CHECK (verdict IN ('PASS', 'FAIL', 'UNDECIDED')),
    description TEXT NOT NULL,
    scan_name TEXT NOT NULL,
    sha256 TEXT NOT NULL,
    scale REAL NOT NULL,
    u_scale REAL NOT NULL,
    scale_applied INTEGER NOT NULL,
    coat_mm REAL NOT NULL,
    u_coat_mm REAL NOT NULL,
    coat_applied INTEGER NOT NULL,
    filled_share REAL NOT NULL,
    filament TEXT NOT NULL,
    printer TEXT NOT NULL,
    shrink_xy REAL NOT NULL,
    shrink_z REAL NOT NULL,
    mass_g REAL NOT NULL,
    cost REAL NOT NULL,
    currency TEXT NOT NULL,
    picture TEXT NOT NULL
) STRICT;
CREATE INDEX scans_by_part ON scans (part, job);
CREATE TABLE sizes (
    job INTEGER NOT NULL REFERENCES scans (job),
    number INTEGER NOT NULL,
    name TEXT NOT NULL,
    kind TEXT NOT NULL,
    verdict TEXT NOT NULL,
    reading_mm REAL,
    nominal_mm REAL,
    least_mm REAL,
    greatest_mm REAL,
    measured_mm REAL,
    u_measured_mm REAL,
    corrected_mm REAL,
    expanded_uncertainty_mm REAL,
    coverage_factor REAL,
    printed_mm REAL,
    model_mm REAL,
    u_model_mm REAL,
    rise REAL,
    walls INTEGER,
    upright_hole INTEGER,
    PRIMARY KEY (job, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE prints (
    number INTEGER PRIMARY KEY AUTOINCREMENT,
    token TEXT NOT NULL UNIQUE,
    part TEXT NOT NULL,
    job INTEGER NOT NULL REFERENCES scans (job),
    filament TEXT NOT NULL,
    printer TEXT NOT NULL,
    condition TEXT CHECK (condition IN ('dry', 'conditioned')),
    entered_at TEXT NOT NULL,
    undone_at TEXT
) STRICT;
CREATE TABLE print_sizes (
    print INTEGER NOT NULL REFERENCES prints (number),
    number INTEGER NOT NULL,
    name TEXT NOT NULL,
    kind TEXT NOT NULL,
    model_mm REAL NOT NULL,
    u_model_mm REAL NOT NULL,
    expected_mm REAL NOT NULL,
    rise REAL NOT NULL,
    walls INTEGER NOT NULL,
    upright_hole INTEGER NOT NULL,
    read_mm REAL NOT NULL,
    u_mm REAL NOT NULL,
    PRIMARY KEY (print, number)
) STRICT, WITHOUT ROWID;
CREATE TABLE unrecorded (job INTEGER PRIMARY KEY) STRICT;
INSERT INTO unrecorded
    SELECT id FROM jobs WHERE state = 'done' AND verdict IN ('PASS', 'FAIL', 'UNDECIDED');
CREATE VIEW part_history AS
    SELECT part, count(*) AS scans, max(job) AS last_job, verdict AS last_verdict, finished_at AS last_finished_at,
        (SELECT count(*) FROM prints WHERE prints.part = scans.part AND undone_at IS NULL) AS prints
    FROM scans GROUP BY part;
CREATE VIEW size_history AS
    SELECT scans.part, sizes.job, scans.finished_at, sizes.name, sizes.kind, sizes.verdict,
        coalesce(sizes.nominal_mm, sizes.reading_mm) AS wanted_mm, sizes.least_mm, sizes.greatest_mm,
        sizes.measured_mm, sizes.corrected_mm, sizes.expanded_uncertainty_mm, sizes.printed_mm
    FROM sizes JOIN scans ON scans.job = sizes.job;
CREATE VIEW scanner_history AS
    SELECT max(job) AS job, part, finished_at, scale, u_scale, coat_mm, u_coat_mm
    FROM scans GROUP BY sha256 ORDER BY max(job);
CREATE VIEW print_history AS
    SELECT prints.number AS print, prints.part, prints.job, prints.filament, prints.printer, prints.condition,
        prints.entered_at, print_sizes.name, print_sizes.kind, print_sizes.model_mm, print_sizes.expected_mm,
        print_sizes.read_mm, print_sizes.u_mm,
        100.0 * (1.0 - print_sizes.read_mm / print_sizes.model_mm) AS less_percent
    FROM print_sizes JOIN prints ON prints.number = print_sizes.print WHERE prints.undone_at IS NULL
"""
