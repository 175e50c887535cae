"""Cost streams to present worth and equivalent uniform annual cost of each strategy.

``stream`` turns the works of a life cycle into events, ``worth`` brings them to the first year at one rate or
several, ``breakeven`` asks how long a strategy must last, ``delay`` what a closed street costs its users.
"""

from rehab.steps.lifecycle.breakeven import CASES, BreakEven, break_even, sentence
from rehab.steps.lifecycle.delay import delay_counted, delay_usd
from rehab.steps.lifecycle.stream import (
    GRINDING,
    REMAINING,
    Activity,
    Course,
    Event,
    Terms,
    events,
    follow_ups,
    own_events,
    terms,
)
from rehab.steps.lifecycle.worth import compare, order_changes, present_worth

__all__ = [
    "CASES", "GRINDING", "REMAINING", "Activity", "BreakEven", "Course", "Event", "Terms", "break_even", "compare",
    "delay_counted", "delay_usd", "events", "follow_ups", "order_changes", "own_events", "present_worth", "sentence",
    "terms",
]
