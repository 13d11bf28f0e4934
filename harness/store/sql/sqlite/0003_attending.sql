-- Whoever confirms a step that opened the case says that they stay for the first pass after it.

ALTER TABLE requests ADD COLUMN attending INTEGER NOT NULL DEFAULT 0 CHECK (attending IN (0, 1));
