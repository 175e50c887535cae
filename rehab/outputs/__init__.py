"""Tables to pictures and files."""
