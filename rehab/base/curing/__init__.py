"""Fresh concrete: its strength by age and maturity (``strength``), what air and wind do to it (``weather``)."""
