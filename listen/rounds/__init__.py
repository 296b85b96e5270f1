"""One round's clips and readings, from files to one result: the bench where signal and judge meet."""
