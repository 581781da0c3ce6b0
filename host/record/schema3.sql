-- Version 3 of the file of records: what of a chip decides a lot.

ALTER TABLE lot ADD COLUMN decides TEXT NOT NULL DEFAULT ''; -- 'function', 'levels'; of lots of version 2 '', as 'function'
