"""The screens, in the order of the work."""
