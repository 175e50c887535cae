"""The database: projects, scenarios, the city's values and seasons, published programs, and who changed what.

Plain functions that take the engine of :func:`connect`; each is one transaction.  Times are UTC; ``when`` is now
unless it is given.
"""

from rehab.store.archive import archive, restore
from rehab.store.city import city_values, city_values_table, save_city_values
from rehab.store.database import connect
from rehab.store.errors import Stale, StoreError
from rehab.store.project import Project, load_project, projects, save_project
from rehab.store.publication import Published, load_published, publish, published
from rehab.store.scenario import Saved, load_scenario, save_scenario, scenario_history, scenarios
from rehab.store.season import load_season, save_season
from rehab.store.trail import audit

__all__ = ["Project", "Published", "Saved", "Stale", "StoreError", "archive", "audit", "city_values",
           "city_values_table", "connect", "load_project", "load_published", "load_scenario", "load_season", "projects",
           "publish", "published", "restore", "save_city_values", "save_project", "save_scenario", "save_season",
           "scenario_history", "scenarios"]
