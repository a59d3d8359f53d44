"""A few people in all states, made once for the tests of what is fitted on them."""
from functools import lru_cache

from experiments.readings.fitted.fit import Seen, seen
from experiments.readings.people.population import cases_of


@lru_cache(maxsize=1)
def some_cases() -> tuple[Seen, ...]:
    """Six people who were not fitted on, in nine states: two seconds."""
    return tuple(seen(case) for seed in range(1003, 1009) for case in cases_of(seed))
