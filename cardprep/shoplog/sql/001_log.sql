-- The shop log of one bench. Records and checkpoints are only ever added.
-- Lines, texts and signatures are kept byte for byte, so that this file can be
-- read and checked without cardprep.

CREATE TABLE log (
    bench TEXT NOT NULL
) STRICT;

CREATE TABLE record (
    sequence INTEGER PRIMARY KEY,
    line BLOB NOT NULL,
    leaf_hash BLOB NOT NULL
) STRICT;

CREATE TABLE index_entry (
    sequence INTEGER NOT NULL,
    field TEXT NOT NULL,
    value TEXT NOT NULL,
    PRIMARY KEY (sequence, field, value)
) STRICT, WITHOUT ROWID;

CREATE INDEX index_entry_by_value ON index_entry (field, value, sequence);

CREATE TABLE checkpoint (
    size INTEGER PRIMARY KEY,
    text BLOB NOT NULL,
    signature TEXT NOT NULL
) STRICT;

CREATE TRIGGER record_stays BEFORE UPDATE ON record BEGIN
    SELECT RAISE(ABORT, 'records are only added');
END;

CREATE TRIGGER record_is_kept BEFORE DELETE ON record BEGIN
    SELECT RAISE(ABORT, 'records are only added');
END;

CREATE TRIGGER checkpoint_stays BEFORE UPDATE ON checkpoint BEGIN
    SELECT RAISE(ABORT, 'checkpoints are only added');
END;

CREATE TRIGGER checkpoint_is_kept BEFORE DELETE ON checkpoint BEGIN
    SELECT RAISE(ABORT, 'checkpoints are only added');
END;
