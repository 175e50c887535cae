"""Trade words and what they mean, for readers who do not build streets."""

from __future__ import annotations

from typing import Final

WORDS: Final[tuple[tuple[str, str], ...]] = (
    ("Arterial, collector, local street, alley", "Streets from the busiest to the quietest: through streets, streets "
     "that lead to them, streets for those who live there, and lanes behind lots."),
    ("Backlog, left undone", "What the rules call for and nobody has done yet, in dollars."),
    ("Block", "The part of a street between two cross streets: the piece that is surveyed, planned and built at once."),
    ("Condition index", "A mark of 0 to 100 for a block: 100 is new, 0 is failed."),
    ("Curb ramp", "The sloped way from the sidewalk to the street for wheelchairs; some works bring a duty in law to "
                  "build it."),
    ("Diamond grinding", "Planing the surface with diamond saw blades, so that it is even and quiet again."),
    ("Discounted, present worth", "What comes later counts less, at a stated rate a year, so that years can be added "
                                  "up."),
    ("Dollars of the year", "Prices of the year in which the work is done: the rise of prices is in them. Prices of "
     "one year leave it out."),
    ("Estimated, rated", "The condition was judged by an index, a rating or a word; nobody has counted the panels."),
    ("Full-depth repair", "Broken or sunken panels, or parts of them, are sawn out down to the ground and cast anew."),
    ("Joint", "The line between two panels, made on purpose so that the concrete can move; it is sealed against "
              "water."),
    ("Likely cost", "The cost at the middle price and amount of everything; low and high are its range."),
    ("Panel", "One of the rectangles of concrete that a street is made of; also called a slab."),
    ("Partial-depth repair", "Crumbled concrete along joints and cracks is cut out of the upper part of a panel and "
     "filled anew; the panel stays. Joints and cracks are sealed and steps ground level with it."),
    ("Proven bound", "What the search has shown that no list can be better than, for the same money and limits."),
    ("Reconstruction", "All the concrete of a block and what it lies on are taken out and built new."),
    ("Scenario", "One answer to 'what if': an amount of money for each year and a way to choose."),
    ("Sound", "Without damage that calls for repair; a share of the area by its panels."),
    ("Square-yard-years", "A square yard of sound concrete for one year: what a program gains is counted in them."),
    ("Survey", "The day on which somebody looked at a block and counted or rated its damage."),
    ("Worst first", "The plain rule to work on the street in the worst condition first."),
)
