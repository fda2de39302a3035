package recordings

// application marks a shop file in bytes 68 to 71 of its header, as SQLite's file format,
// section 1.2.15, provides: "vibe".
const application = 0x76696265

// steps bring a shop file from one version of its schema to the next, the first from
// nothing to 1. The version is SQLite's user_version. A step that was published is never
// changed; what is new comes in a further one. The comments stay in the file: any SQLite
// tool shows them with the tables.
var steps = []string{`
CREATE TABLE session (            -- one run of the lathe, live or from a file
  id       INTEGER PRIMARY KEY AUTOINCREMENT, -- its number; never used again
  started  TEXT NOT NULL,         -- RFC 3339, UTC
  label    TEXT NOT NULL,         -- what the turner calls the work, or empty
  lathe    TEXT NOT NULL,         -- its name, or empty
  wood     TEXT NOT NULL,         -- of the blank, or empty
  empty    INTEGER NOT NULL,      -- 1: nothing was mounted, a run of the lathe alone
  setup    TEXT NOT NULL          -- JSON: lathe, blank, task and the rest as said before the run
) STRICT;
CREATE TABLE progress (           -- how far each session has come; written with every chunk
  session  INTEGER PRIMARY KEY REFERENCES session ON DELETE CASCADE,
  ended    INTEGER NOT NULL,      -- 1: ended in order; 0: running, or broken off
  parts    INTEGER NOT NULL,      -- chunks written
  summary  TEXT NOT NULL          -- JSON: length, samples, shake over time and against speed
) STRICT;
CREATE TABLE chunk (              -- the samples of about a second
  id       INTEGER PRIMARY KEY,   -- session × 2^24 + part, part being 0, 1, 2 … within the session
  from_s   REAL NOT NULL,         -- time of the first sample, s since the source opened
  to_s     REAL NOT NULL,         -- time of the last
  samples  INTEGER NOT NULL,
  lost     INTEGER NOT NULL,      -- samples known to be missing before or within it
  range_m_s2 REAL,                -- largest value the sensor can show, if known
  notes    TEXT,                  -- JSON list: what the source found out
  setup    TEXT,                  -- with part 0: that of the session once more, beside its samples in a damaged file
  data     BLOB NOT NULL          -- times and axes, coded as package recordings says
) STRICT;
CREATE TABLE reading (            -- four a second; NULL is not known
  session  INTEGER NOT NULL REFERENCES session ON DELETE CASCADE,
  n        INTEGER NOT NULL,      -- 0, 1, 2 … within the session
  t_s      REAL NOT NULL,         -- middle of its window, s since the source opened
  span_s   REAL,                  -- length of the window
  ok       INTEGER NOT NULL,      -- 1: the numbers may be used; 0: an estimate at best
  speed_rpm REAL, speed_se_rpm REAL, -- of the spindle; se is the standard error
  shake_mm_s REAL, shake_se_mm_s REAL, -- once per turn, rms, in the worst direction
  travel_um REAL,                 -- of the same motion, peak to peak
  total_mm_s REAL,                -- all vibration together, rms
  feel     TEXT,                  -- calm, lively, rough, violent
  faults   TEXT NOT NULL,         -- codes with blanks between
  PRIMARY KEY (session, n)
) STRICT, WITHOUT ROWID;
CREATE TABLE advice (             -- as said; each holds until the next
  session  INTEGER NOT NULL REFERENCES session ON DELETE CASCADE,
  n        INTEGER NOT NULL,      -- of the reading with which it came
  t_s      REAL NOT NULL,         -- end of that reading's window
  action   TEXT NOT NULL,         -- wait, hold, raise, lower, stop
  speed_rpm REAL,                 -- where to go or stay
  say      TEXT NOT NULL,         -- the line that was shown
  why      TEXT NOT NULL,         -- JSON: reasons, ceilings and speeds to avoid, with sources
  PRIMARY KEY (session, n)
) STRICT, WITHOUT ROWID;
CREATE TABLE mark (               -- what the person said while it ran
  session  INTEGER NOT NULL REFERENCES session ON DELETE CASCADE,
  n        INTEGER NOT NULL,
  t_s      REAL NOT NULL,
  kind     TEXT NOT NULL,         -- note, comfortable, too-much, setup …
  text     TEXT NOT NULL,
  PRIMARY KEY (session, n)
) STRICT, WITHOUT ROWID;
CREATE TABLE lathe (              -- the lathes of this shop
  name     TEXT PRIMARY KEY,
  said     TEXT NOT NULL          -- JSON: its speeds, mass and sizes
) STRICT, WITHOUT ROWID;
`}
