-- The event log of one job and the sound that its phrases rest on.
-- Rows are only ever added. Views of the job are folded from the log by
-- package record; nothing derived is stored here.

-- 'wayc' in ASCII: what makes this file a waycall job.
PRAGMA application_id = 0x77617963;

CREATE TABLE events (
    id     INTEGER PRIMARY KEY,            -- 1, 2, 3 ... without gaps, in the order of writing
    at     TEXT NOT NULL,                  -- UTC, 2006-01-02T15:04:05.000000000Z
    kind   TEXT NOT NULL,                  -- a record.Kind
    data   TEXT NOT NULL                   -- the other fields of record.Event, as a JSON object
           CHECK (json_valid(data) AND json_type(data) = 'object'),
    sha256 BLOB NOT NULL                   -- of id, at, kind and data, each ended by a zero byte
           CHECK (length(sha256) = 32)
) STRICT;

CREATE TABLE sounds (
    event_id INTEGER PRIMARY KEY REFERENCES events (id), -- the 'heard' event
    format   TEXT NOT NULL CHECK (format IN ('wav', 'flac')),
    rate     INTEGER NOT NULL CHECK (rate > 0),          -- samples a second
    data     BLOB NOT NULL,                              -- the whole file, 16-bit mono
    sha256   BLOB NOT NULL CHECK (length(sha256) = 32)   -- of data
) STRICT;

-- Triggers on INSERT come first because INSERT OR REPLACE removes a row
-- without asking the triggers on DELETE.
CREATE TRIGGER events_in_order BEFORE INSERT ON events
WHEN NEW.id IS NOT (SELECT coalesce(max(id), 0) + 1 FROM events)
BEGIN
    SELECT RAISE(ABORT, 'event ids go up by one');
END;

CREATE TRIGGER events_rest_on_heard BEFORE INSERT ON events
WHEN json_extract(NEW.data, '$.heard_id') IS NOT NULL
 AND NOT EXISTS (SELECT 1 FROM events WHERE id = json_extract(NEW.data, '$.heard_id') AND kind = 'heard')
BEGIN
    SELECT RAISE(ABORT, 'heard_id names no heard event');
END;

CREATE TRIGGER events_stay BEFORE UPDATE ON events
BEGIN
    SELECT RAISE(ABORT, 'the event log is append-only');
END;

CREATE TRIGGER events_are_kept BEFORE DELETE ON events
BEGIN
    SELECT RAISE(ABORT, 'the event log is append-only');
END;

CREATE TRIGGER sounds_belong_to_heard BEFORE INSERT ON sounds
WHEN NOT EXISTS (SELECT 1 FROM events WHERE id = NEW.event_id AND kind = 'heard')
  OR EXISTS (SELECT 1 FROM sounds WHERE event_id = NEW.event_id)
BEGIN
    SELECT RAISE(ABORT, 'a sound belongs to one heard event');
END;

CREATE TRIGGER sounds_stay BEFORE UPDATE ON sounds
BEGIN
    SELECT RAISE(ABORT, 'the event log is append-only');
END;

CREATE TRIGGER sounds_are_kept BEFORE DELETE ON sounds
BEGIN
    SELECT RAISE(ABORT, 'the event log is append-only');
END;
