"""Files to checked tables: reading, assumptions and the invented demo city."""
