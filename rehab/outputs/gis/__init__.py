"""The plan for a geographic information system: repairs placed on the earth, a GeoPackage, and the styles in it."""
