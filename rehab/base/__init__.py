"""The ground floor: errors, units, money, survival, tables and settings."""
