-- The log becomes a chain: the sum of each event now covers the sum of the event
-- before it and, of a heard event, the sum of its sound. So events cannot be taken
-- out, put in, or put in another order, and no sound can be exchanged, without
-- every later sum being wrong. chainLog in migrate.go checks the old sums and
-- writes the new ones in the same transaction.
--
-- From here on events.sha256 is the SHA-256 of, in this order:
--     the sha256 of the event before (32 zero bytes before the first),
--     id, at, kind and data, each ended by a zero byte,
--     sound, where there is one.

-- Of a heard event: the sha256 of its row in sounds, kept here so that the chain
-- can be followed without reading the sound.
ALTER TABLE events ADD COLUMN sound BLOB CHECK (length(sound) = 32);

CREATE TRIGGER events_heard_have_sound BEFORE INSERT ON events
WHEN (NEW.kind = 'heard') IS NOT (NEW.sound IS NOT NULL)
BEGIN
    SELECT RAISE(ABORT, 'a heard event has a sound, and no other has');
END;

CREATE TRIGGER sounds_are_those_heard BEFORE INSERT ON sounds
WHEN NEW.sha256 IS NOT (SELECT sound FROM events WHERE id = NEW.event_id)
BEGIN
    SELECT RAISE(ABORT, 'the sum of a sound is in its event');
END;
