"""Pure computation: no files, clock, database or network."""
