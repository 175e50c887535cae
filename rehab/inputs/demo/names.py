"""Street names of the invented city: one theme on each side of the river and of the railway.

Streets along the river are named after trades north of it and after river plants south of it; the avenues
across it are minerals west of the railway and field crops east of it, all in alphabetical order away from
river and railway.  The lists are invented for this project.
"""

from __future__ import annotations

from typing import Final

TRADES: Final = (
    "Basketmaker", "Bellfounder", "Bookbinder", "Brazier", "Candlewright", "Chandler", "Cooper", "Cordwainer",
    "Currier", "Cutler", "Draper", "Dyer", "Farrier", "Fletcher", "Fuller", "Glazier", "Glover", "Hatter",
    "Joiner", "Lacemaker", "Lorimer", "Mercer", "Nailer", "Netmaker", "Plumewright", "Potter", "Roper",
    "Saddler", "Sailmaker", "Sawyer", "Tanner", "Thatcher", "Tinsmith", "Wainwright", "Weaver", "Wheelwright",
)
RIVER_PLANTS: Final = (
    "Alder", "Arrowhead", "Bogbean", "Bulrush", "Burreed", "Buttonbush", "Calamus", "Cattail", "Cress",
    "Duckweed", "Frogbit", "Horsetail", "Jewelweed", "Loosestrife", "Mallow", "Mannagrass", "Meadowsweet",
    "Osier", "Pickerelweed", "Pondweed", "Reed", "Rush", "Sallow", "Sedge", "Smartweed", "Spikerush", "Sundew",
    "Sweetflag", "Tamarack", "Watercress", "Waterlily", "Watermint", "Wildrice", "Willow", "Woundwort", "Yellowcress",
)
MINERALS: Final = (
    "Agate", "Azurite", "Barite", "Beryl", "Borax", "Calcite", "Celestine", "Chert", "Cinnabar", "Dolomite",
    "Feldspar", "Flint", "Fluorite", "Galena", "Garnet", "Gneiss", "Gypsum", "Halite", "Hornblende", "Jasper",
    "Kyanite", "Limonite", "Magnetite", "Mica", "Olivine", "Onyx", "Opal", "Pumice", "Pyrite", "Quartz",
    "Schist", "Siderite", "Talc", "Topaz", "Tourmaline", "Zircon",
)
CROPS: Final = (
    "Amaranth", "Barley", "Buckwheat", "Chickpea", "Clover", "Durum", "Einkorn", "Emmer", "Fennel", "Flax",
    "Fonio", "Hops", "Lentil", "Linseed", "Lucerne", "Lupine", "Maize", "Millet", "Mustard", "Oat", "Rapeseed",
    "Rye", "Safflower", "Sainfoin", "Sesame", "Sheaf", "Sorghum", "Soybean", "Spelt", "Sunflower", "Teff",
    "Timothy", "Triticale", "Turnip", "Vetch", "Wheat",
)
#: when a theme is used up the names come again, farther out, with the next of these before them
FARTHER: Final = ("", "Upper", "Outer", "Far", "New", "Little", "Long", "Great", "High", "Farther", "Last")


def in_theme(theme: tuple[str, ...], position: int) -> str:
    """The name at ``position`` (0 nearest to the river or railway) of a theme of any length.

    Raises :class:`ValueError` beyond the last name, about 400 streets out.
    """
    again, place = divmod(position, len(theme))
    if again >= len(FARTHER):
        raise ValueError(f"the theme has {len(theme) * len(FARTHER)} names, not {position + 1}")
    return f"{FARTHER[again]} {theme[place]}".strip()


def along_river(row: int, river: int) -> str:
    """Name, without its type, of the street in lattice row ``row``; the river runs above row ``river``."""
    if row == 0:
        return "Landing"
    if row in (river, river + 1):
        return "South Levee" if row == river else "North Levee"
    if row < river:
        return in_theme(RIVER_PLANTS, river - 1 - row)
    return in_theme(TRADES, row - river - 2 - (row > 0))


def across_river(column: int, railway: int) -> str:
    """Name, without its type, of the avenue in lattice column ``column``; the railway runs right of ``railway``."""
    if column == 0:
        return "Ferrymen"
    if column in (railway, railway + 1):
        return "West Siding" if column == railway else "East Siding"
    if column > railway:
        return in_theme(CROPS, column - railway - 2)
    return in_theme(MINERALS, railway - 1 - column - (column < 0))
