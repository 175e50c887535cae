"""Ride: how the mean step at the joints and the roughness grow with age, given what was measured.

A block's readings are its family's straight line of age, moved by a level and a rate of its own, by a wander and by
an error that readings share the less the further apart they are (crews, seasons, values carried to the next visit).
Steps grow so in inches, roughness in its logarithm, by a share each year.  Blocks scatter unevenly, so readings
follow a t distribution: a wild block says less about its family and gets a wider interval of its own.  All of this
has a closed form: given its readings, a later one of the same block is again a t distribution.

The form was chosen on jointed sections of known age (source ``ltpp-rigid``), parted by section.
"""

from rehab.steps.ride.fitting import fit, since_work
from rehab.steps.ride.model import MEASURES, Growth, Measure, Predicted, growth, predict
from rehab.steps.ride.network import after_grinding, forecast

__all__ = ["MEASURES", "Growth", "Measure", "Predicted", "after_grinding", "fit", "forecast", "growth", "predict",
           "since_work"]
