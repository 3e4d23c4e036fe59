"""On a busy machine a drawn example may take long, and a draw that fails must fail again: laws are drawn anew by
`make test-deep` alone, and no example is timed."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

from property.quick_and_many import DEEP

settings.register_profile(
    "any machine", deadline=None, derandomize=not DEEP, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("any machine")
