"""Profiles of hypothesis: the same examples in every ordinary run, fresh ones when soaking."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

from tests.effort import SOAK

settings.register_profile(
    "every-run",
    deadline=None,
    derandomize=not SOAK,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("every-run")
