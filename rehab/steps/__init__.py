"""The steps of the method, one module each, independent of each other."""
